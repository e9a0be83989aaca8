"""What a page of practice is told: the lessons, the state of one, and the picture behind it."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass
from typing import Any

from hearmark.practice.band import reach_hz
from hearmark.practice.lesson import Aid, Lesson, modes
from hearmark.practice.play import FINDS, OWN_CALL, Practice
from hearmark.web.pace import Pace

SHOWN_FAULTS = 40


@dataclass(frozen=True, slots=True)
class Chosen:
    """What the page offers first; empty: the first lesson as it stands."""

    name: str = ""
    mode: str = ""
    seed: int | None = None


def paragraphs(text: str) -> list[str]:
    """The text of a lesson, parted at blank lines."""
    return [" ".join(part.split()) for part in text.strip().split("\n\n") if part.strip()]


def levels_message(lessons: dict[str, Lesson], call: str, voice: bool, chosen: Chosen, alone: bool) -> dict[str, Any]:
    """All that can be chosen. `voice`: whether there is a synthesiser; `alone`: there is no other page to go to."""
    listed = [
        {
            "name": name,
            "title": one.title,
            "text": paragraphs(one.text),
            "modes": [mode for mode in modes(one) if voice or mode == "cw"],
            "goal": one.goal,
            "callers": one.callers,
            "receivers": one.receivers,
            "aids": list(one.aids),
            "minutes": one.minutes,
            "seed": one.seed,
        }
        for name, one in lessons.items()
    ]
    return {
        "type": "levels",
        "levels": listed,
        "call": call or OWN_CALL,
        "voice": voice,
        "alone": alone,
        "chosen": {"name": chosen.name, "mode": chosen.mode, "seed": chosen.seed},
    }


def lesson_message(
    practice: Practice, name: str, aids: Set[Aid], sheet: dict[str, Any] | None, sound: bool, quiet: bool,
    heard_s: float, trouble: str,
) -> dict[str, Any]:  # fmt: skip
    """How a lesson stands, all but the clock."""
    dials, sending = practice.desk.dials, practice.sending if sheet is None else None
    said = next((over for over in reversed(practice.overs) if over.stop_s <= heard_s), None)
    return {
        "type": "practice",
        "stage": "lesson" if sheet is None else "over",
        "name": name,
        "title": practice.lesson.title,
        "text": paragraphs(practice.lesson.text),
        "goal": practice.lesson.goal,
        "finds_wanted": FINDS,
        "mode": practice.mode,
        "seed": practice.seed,
        "call": practice.call,
        "limit_s": practice.scenario.duration_s,
        "dx_hz": practice.scenario.dx_hz,
        "receivers": practice.lesson.receivers,
        "state": practice.state,
        "radio": {
            "dial_hz": dials.dial_hz,
            "other_hz": dials.other_hz,
            "receive_hz": practice.desk.receive_hz,
            "transmit_hz": practice.desk.transmit_hz,
            "split": dials.split,
            "locked": dials.locked,
            "rit_hz": dials.rit_hz,
            "peeking": practice.desk.peeking,
        },
        "sending": None
        if sending is None or sheet is not None
        else {"what": sending.what, "text": practice.text_of(sending.what)},
        "aids": {aid: aid in aids for aid in ("words", "marks", "ear")},
        "words": said.text if said is not None and "words" in aids else "",
        "calls": sum(press.what == "call" for press in practice.presses),
        "finds": [
            {
                "time_s": round(one.time_s, 2),
                "right": one.right,
                "off_hz": one.off_hz,
                "frequency_hz": one.frequency_hz,
                "call": one.call,
            }
            for one in practice.finds[-20:]
        ],
        "found": len(practice.found),
        "faults": [
            {"time_s": round(one.time_s, 2), "kind": one.kind, "say": one.say}
            for one in practice.faults[-SHOWN_FAULTS:]
        ],
        "fault_count": len(practice.faults),
        "sound": sound,
        "quiet": quiet,
        "sheet": sheet,
        "trouble": trouble,
    }


def status(practice: Practice | None, heard_s: float, over: bool, pace: Pace) -> dict[str, Any]:
    """The clock, in the form of every page's status."""
    state = "waiting" if practice is None else "ended" if over else "paused" if pace.paused else "running"
    return {
        "type": "status",
        "now_s": round(heard_s, 3),
        "state": state,
        "failure": "",
        "behind_s": round(pace.behind_s, 2),
        "slipped_s": round(pace.slipped_s, 2),
        "dropped": {},
        "sound": False,
        "sound_trouble": "",
        "duck": False,
        "spot_hz": 0.0 if practice is None else practice.desk.dials.other_hz,
    }


def snapshot(
    practice: Practice | None, aids: Set[Aid], events: list[dict[str, Any]], now: dict[str, Any]
) -> dict[str, Any]:
    """The picture's beginning. Without ear and marks it shows no window: where he listens is to be heard."""
    shown = {"title": "Practice", "dx_hz": 0.0, "mode": "cw", "window_low_hz": 0.0, "window_high_hz": 1.0}
    transmit_hz = None
    if practice is not None:
        here = practice.scenario
        low_hz, high_hz = reach_hz(here)
        if aids & {"ear", "marks"}:
            low_hz, high_hz = here.window_low_hz, here.window_high_hz
        shown = {
            "title": practice.lesson.title,
            "dx_hz": here.dx_hz,
            "mode": practice.mode,
            "window_low_hz": low_hz,
            "window_high_hz": high_hz,
        }
        transmit_hz = practice.desk.transmit_hz
    return {
        "type": "snapshot",
        **shown,
        "transmit_hz": transmit_hz,
        "pausable": True,
        "status": now,
        "radio": None,
        "events": events,
    }
