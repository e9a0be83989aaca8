"""What others would have needed in the same pile-up: the perfect tail-ender, and the program itself.

Both are played anew on the same scenario: the same people, the same rules, our station as strong.
"""

from __future__ import annotations

from collections.abc import Callable

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Advice, KeyState, Mode, RadioState
from hearmark.practice.lesson import Lesson
from hearmark.practice.play import Practice
from hearmark.study.crowd import Crowd
from hearmark.study.station import OwnStation
from hearmark.study.tactics import tactic

REACTION_S = 0.4
"""From the end of his over to the call, of a quick hand."""
LISTENS_S = 2.0


def perfect_tail_ender(lesson: Lesson, mode: Mode, seed: int, call: str) -> float | None:
    """Seconds until the contact of one who always knows where the last one was answered, and calls there.

    The operator of the studies (`study.station`) with that tactic: he makes no mistake and keeps the order. Until
    somebody was answered he calls where chance puts him. None: not worked in the time of the lesson.
    """
    probe = Practice(_calling(lesson), mode, seed, call, samples=False)
    pileup, here = probe.pileup, probe.scenario
    pileup.advance(0.0)
    crowd = Crowd(mode, here.window_low_hz, here.window_high_hz, pileup.stations)
    how = tactic("tail-end", pileup, crowd, 0.0, seed)
    return OwnStation(pileup, how, crowd, lesson.own_snr_db, seed, here.duration_s).run().worked_at_s


def program(
    lesson: Lesson, mode: Mode, seed: int, call: str, stop: Callable[[], bool] = lambda: False,
    progress: Callable[[float], None] = lambda _: None,
) -> float | None:  # fmt: skip
    """Seconds until the contact of one who does what the program says: it hears the whole window, as on a real band.

    The shipped engine hears the samples; its advice says where, its cue when. Whether he himself was answered the
    operator hears, not the program. None: not worked in the time of the lesson, or stopped.
    """
    practice = Practice(_calling(lesson), mode, seed, call)
    practice.desk.split(True)
    here = practice.scenario
    engine = Engine(EngineConfig(here.dx_hz, mode, here.window_low_hz, here.window_high_hz))
    advice: Advice | None = None
    keyed = False
    while practice.state == "running" and not stop():
        block = practice.next_block()
        events = []
        on_air = practice.sending is not None
        if on_air != keyed:
            keyed = on_air
            events += engine.feed(KeyState(block.start_s, keyed))
        events += engine.feed(block)
        advice = next((one for one in reversed(events) if isinstance(one, Advice)), advice)
        progress(practice.now_s / here.duration_s)
        if advice is not None and advice.transmit_hz is not None and practice.sending is None:
            if abs(advice.transmit_hz - practice.desk.transmit_hz) > 5.0:
                practice.desk.put("transmit", advice.transmit_hz)
                dials = practice.desk.dials
                engine.feed(RadioState(block.stop_s, dials.receive_hz, dials.transmit_hz, dials.split, mode))
            if advice.cue in ("call", "you") or _answered(practice):
                _keep_order(practice, advice.transmit_hz)
    return practice.worked_at_s


def _calling(lesson: Lesson) -> Lesson:
    """The same pile-up, as one in which a contact is wanted."""
    return lesson.model_copy(update={"goal": "contact"})


def _answered(practice: Practice) -> bool:
    return bool(practice.overs) and practice.overs[-1].to_us and practice.overs[-1].role in ("answer", "again")


def _keep_order(practice: Practice, where_hz: float) -> None:
    """Call once after he has asked, again after having listened, report when answered: all of it when he is silent."""
    if practice.sending is not None or not practice.overs or practice.state != "running":
        return
    last, now_s = practice.overs[-1], practice.now_s
    if now_s < last.stop_s + REACTION_S:
        return
    pressed_s = practice.presses[-1].stop_s if practice.presses else -1e9
    since_over = pressed_s < last.stop_s
    if _answered(practice):
        if since_over:
            practice.press("call" if last.part else "report")
    elif last.role in ("cq", "confirm") and (since_over or now_s > pressed_s + LISTENS_S):
        practice.desk.put("transmit", where_hz)
        practice.press("call")
