"""What a learner did wrong, in one sentence each: pure facts in, faults out.

Judged by what he could hear: `heard_s` is the time of the stream that was in his ears when he pressed the key.
The limits are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from hearmark.events import Mode
from hearmark.radio.guard import BESIDE_HZ, OFF_HZ
from hearmark.radio.port import Dials
from hearmark.simulate.session import Role

Kind = Literal[
    "on his frequency", "split off", "over the answered", "over him", "dial moved", "late", "outside the window",
    "did not listen", "no report", "unasked report", "asked to wait", "sent at all",
]  # fmt: skip
KINDS: tuple[Kind, ...] = (
    "on his frequency", "split off", "over the answered", "over him", "dial moved", "late", "outside the window",
    "did not listen", "no report", "unasked report", "asked to wait", "sent at all",
)  # fmt: skip
ON_HIM_HZ: dict[Mode, float] = {"cw": 300.0, "usb": 2700.0, "lsb": 2700.0}
"""Nearer than this a signal covers him."""
NOTICE_S = 0.7
"""Nobody stops sooner than this after he begins."""
HASTY_S = 0.35
"""Beginning so little before he has ended is custom."""
LATE_S = 2.0
"""A first call that begins later than this after he stopped is late if he has chosen by the time it is through."""
PAUSE_S = 1.2
"""A second call in one turn without listening this long in between is no "one call, then listen"."""
Sends = Literal["call", "report"]


@dataclass(frozen=True, slots=True)
class DxOver:
    """One over of the DX. `to_us`: he is dealing with our station."""

    start_s: float
    stop_s: float
    role: Role
    to_us: bool
    text: str
    part: bool = False
    """He asks for the rest of a call that he has in part: the call is wanted again, not a report."""


@dataclass(frozen=True, slots=True)
class Press:
    """One press of a key. `start_s` to `stop_s`: on the air."""

    what: Sends
    heard_s: float
    start_s: float
    stop_s: float
    dials: Dials


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault, when, and what to do."""

    time_s: float
    kind: Kind
    say: str


@dataclass(frozen=True, slots=True)
class Setting:
    """What does not change in a lesson. `may_call` False: a lesson in which nobody asked for a call."""

    mode: Mode
    dx_hz: float
    window_low_hz: float
    window_high_hz: float
    may_call: bool = True


def of_press(setting: Setting, press: Press, before: Press | None, overs: Sequence[DxOver]) -> list[Fault]:
    """Faults of one press; `before`: the press before it, `overs`: those of the DX that had begun to be heard."""
    found = [*_places(setting, press), *_moment(press, before, overs)]
    if not setting.may_call:
        found.append(Fault(press.heard_s, "sent at all", "Nothing is to be sent in this lesson: only listen and mark."))
    return found


def of_over(
    setting: Setting, over: DxOver, last: Press | None, overs: Sequence[DxOver], receive_hz: float
) -> list[Fault]:
    """What an over of the DX shows: our call was late, our report is missing, or we are not there to hear him.

    `receive_hz`: where the receiver hears as he begins.
    """
    found: list[Fault] = []
    off_hz = receive_hz - setting.dx_hz
    if over.to_us and over.role == "answer" and abs(off_hz) > OFF_HZ["cw" if setting.mode == "cw" else "voice"]:
        say = f"He answered you while your receiver stood {off_hz / 1e3:+.2f} kHz from him: be back before he sends."
        found.append(Fault(over.start_s, "dial moved", say))
    asked = next((one for one in reversed(overs) if one.role in ("cq", "confirm")), None)
    if over.role == "answer" and not over.to_us and last is not None and last.what == "call" and asked is not None:
        waited_s = last.heard_s - asked.stop_s
        if waited_s > LATE_S and last.stop_s > over.start_s:
            say = f"Late: you called {waited_s:.1f} s after he had stopped, and he had chosen before you were through."
            found.append(Fault(last.heard_s, "late", say))
    answer = overs[-1] if overs else None
    if (
        over.to_us
        and over.role == "again"
        and answer is not None
        and answer.to_us
        and answer.role in ("answer", "again")
    ):
        replied = last is not None and last.what == "report" and last.start_s > answer.start_s + 0.3
        if not replied and not answer.part:
            say = "He sent your call and heard nothing: give the report as soon as he has ended."
            found.append(Fault(over.start_s, "no report", say))
    return found


def _places(setting: Setting, press: Press) -> list[Fault]:
    dials, at_s = press.dials, press.heard_s
    transmit_hz, receive_hz = float(dials.transmit_hz or 0.0), float(dials.receive_hz or 0.0)
    away_hz = abs(transmit_hz - setting.dx_hz)
    found: list[Fault] = []
    if away_hz < ON_HIM_HZ[setting.mode] and not dials.split:
        say = "Split was off, and your call went out on his frequency: switch split on before you call."
        found.append(Fault(at_s, "split off", say))
        found.append(Fault(at_s, "on his frequency", "You called on his frequency: nobody could hear him meanwhile."))
    elif away_hz < ON_HIM_HZ[setting.mode]:
        say = f"You called on his frequency: your transmit dial stood {away_hz:.0f} Hz from him."
        found.append(Fault(at_s, "on his frequency", say))
    elif not dials.split:
        say = "Split was off: your call went out where your receive dial stood."
        found.append(Fault(at_s, "split off", say))
    beside_hz = BESIDE_HZ["cw" if setting.mode == "cw" else "voice"]
    low_hz, high_hz = setting.window_low_hz - beside_hz, setting.window_high_hz + beside_hz
    if not low_hz <= transmit_hz <= high_hz and away_hz >= ON_HIM_HZ[setting.mode]:
        off_khz, low_khz, high_khz = (
            (hz - setting.dx_hz) / 1e3 for hz in (transmit_hz, setting.window_low_hz, setting.window_high_hz)
        )
        say = f"You called {off_khz:+.2f} kHz from him; he listens from {low_khz:+.1f} to {high_khz:+.1f} kHz."
        found.append(Fault(at_s, "outside the window", say))
    off_hz = receive_hz - setting.dx_hz
    if abs(off_hz) > OFF_HZ["cw" if setting.mode == "cw" else "voice"]:
        say = f"Your receive dial stood {off_hz / 1e3:+.2f} kHz from him: you would not have heard him answer."
        found.append(Fault(at_s, "dial moved", say))
    return found


def _moment(press: Press, before: Press | None, overs: Sequence[DxOver]) -> list[Fault]:
    at_s = press.heard_s
    known = [over for over in overs if over.start_s <= at_s - NOTICE_S]
    last = known[-1] if known else None
    if last is None:
        return [Fault(at_s, "did not listen", "You sent before you had heard him: listen first.")]
    if last.stop_s > at_s + HASTY_S:
        if last.to_us and last.role in ("answer", "again"):
            return []
        return [Fault(at_s, "over him", "You sent while he was sending: when he sends, your key is up.")]
    ended = last.stop_s - HASTY_S
    if last.role in ("answer", "again") and not last.to_us:
        say = "You called over the station that he had answered: wait until he has thanked it."
        return [Fault(at_s, "over the answered", say)]
    if press.what == "report" and not last.to_us:
        return [Fault(at_s, "unasked report", "You gave a report, but he had not sent your call: listen for it first.")]
    if last.role == "other":
        return [Fault(at_s, "asked to wait", "He had asked all to wait: call when he asks again.")]
    if press.what == "call" and before is not None and before.what == "call" and before.start_s >= ended:
        pause_s = press.start_s - before.stop_s
        if pause_s < PAUSE_S and not last.to_us:
            say = f"You called again after {max(pause_s, 0.0):.1f} s: one call, then listen."
            return [Fault(at_s, "did not listen", say)]
    return []
