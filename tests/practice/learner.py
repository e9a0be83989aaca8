"""A learner who does what the lesson says, step by step, without samples."""

from __future__ import annotations

from hearmark.practice.lesson import Lesson, lesson_from
from hearmark.practice.play import Practice

STEP_S = 0.05
QUIET = {
    "title": "Two in a quiet room",
    "text": "Listen.\n\nThen call.",
    "window": "up 2",
    "callers": 2,
    "sloppiness": 0.0,
    "channel": "flat",
    "own_snr_db": 25,
    "minutes": 5,
    "seed": 3,
    "split_on": True,
}


def quiet(**changes: object) -> Lesson:
    """A small lesson in which little is left to chance."""
    return lesson_from({**QUIET, **changes}, "quiet.toml")


def begun(lesson: Lesson, **given: object) -> Practice:
    """A lesson without samples, split on, the transmit dial where he listens."""
    practice = Practice(lesson, samples=False, **given)  # type: ignore[arg-type]
    practice.desk.put("transmit", practice.pileup.receive_hz)
    return practice


def go(practice: Practice, seconds: float) -> None:
    """Time passes."""
    until_s = practice.now_s + seconds
    while practice.now_s < until_s:
        practice.advance(practice.now_s + STEP_S)


def until_asked(practice: Practice, limit_s: float = 120.0) -> None:
    """Until half a second after he has asked all."""
    wait(practice, lambda: asked(practice) and practice.now_s > practice.overs[-1].stop_s + 0.5, limit_s)


def asked(practice: Practice) -> bool:
    return bool(practice.overs) and practice.overs[-1].role in ("cq", "confirm")


def until_another(practice: Practice, limit_s: float = 120.0) -> None:
    """Until he has answered somebody else and stopped."""

    def answered() -> bool:
        last = practice.overs[-1] if practice.overs else None
        return last is not None and last.role == "answer" and not last.to_us and practice.now_s > last.stop_s + 0.2

    wait(practice, answered, limit_s)


def wait(practice: Practice, come: object, limit_s: float = 120.0) -> None:
    """Time passes until `come()` holds."""
    until_s = practice.now_s + limit_s
    while not come():  # type: ignore[operator]
        if practice.now_s > until_s:
            raise AssertionError(f"This did not come in {limit_s:g} s of the lesson.")
        practice.advance(practice.now_s + STEP_S)


def work(practice: Practice, limit_s: float = 280.0) -> None:
    """Does it right until the contact: one call when asked, the report when answered."""
    until_s = practice.now_s + limit_s
    while practice.state == "running" and practice.now_s < until_s:
        practice.advance(practice.now_s + STEP_S)
        last = practice.overs[-1] if practice.overs else None
        if last is None or practice.sending is not None or practice.now_s < last.stop_s + 0.4:
            continue
        pressed_s = practice.presses[-1].stop_s if practice.presses else -1.0
        if last.to_us and last.role in ("answer", "again") and pressed_s < last.stop_s:
            practice.press("call" if last.part else "report")
        elif asked(practice) and pressed_s < last.stop_s:
            practice.desk.put("transmit", practice.pileup.receive_hz + 30.0)
            practice.press("call")
