"""In which order to set a radio, so that no key-down between two commands can fall on the DX.

Pure: a model of the radio takes each command, and an order is good if a key-down after every one of its commands, from
the first on, falls clear of the DX. Transmit frequency first, split second, receive last is the usual outcome; what the
radio stands on at the start decides the rest.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace
from typing import Any, Literal

from hearmark.errors import HearmarkError
from hearmark.events import Plan, PlanMode
from hearmark.radio.port import Abilities, Dials

CLEAR_HZ: dict[str, float] = {"cw": 300.0, "voice": 2_700.0}
"""A signal closer than this to the DX would cover him."""
SAME_HZ = 5.0
"""Dials this close are the same: the coarsest usual step of a radio over its control line."""
What = Literal["dial", "other", "split", "mode", "other mode", "rit", "xit"]
FIELDS: dict[What, str] = {
    "dial": "dial_hz", "other": "other_hz", "split": "split", "mode": "mode", "other mode": "other_mode",
    "rit": "rit_hz", "xit": "xit_hz",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Step:
    """One command to the radio."""

    what: What
    value: float | bool | str


@dataclass(frozen=True, slots=True)
class Order:
    """Commands in order. `hold`: why nobody should send before the read-back is right; empty: safe at every instant."""

    steps: tuple[Step, ...]
    hold: str = ""


def after(dials: Dials, step: Step) -> Dials:
    """The model: what the radio says after one command."""
    field = FIELDS[step.what]
    changed: dict[str, Any] = {field: step.value}
    return replace(dials, **changed)


def shown(dials: Dials, what: What) -> float | bool | str | None:
    """What the radio says of the dial that a step sets."""
    value: float | bool | str | None = getattr(dials, FIELDS[what])
    return value


def clearance_hz(plan: Plan) -> float:
    """How far from the DX a key-down must fall; less for a window that comes closer than that."""
    usual = CLEAR_HZ["cw" if plan.mode == "cw" else "voice"]
    near_hz = min(abs(plan.listen_low_hz - plan.receive_hz), abs(plan.listen_high_hz - plan.receive_hz))
    if plan.listen_low_hz < plan.receive_hz < plan.listen_high_hz:
        near_hz = usual
    return max(1.0, min(usual, 0.9 * near_hz))


def covers(plan: Plan, transmit_hz: float) -> bool:
    """Whether our signal there would cover the DX although the plan is not simplex."""
    return plan.kind != "simplex" and abs(transmit_hz - plan.receive_hz) < clearance_hz(plan)


def is_clear(dials: Dials, plan: Plan, clear_hz: float) -> bool:
    """Whether a key-down now would fall clear of the DX; not known counts as no."""
    at_hz = dials.transmit_hz
    return at_hz is not None and abs(at_hz - plan.receive_hz) >= clear_hz


def goal(plan: Plan, transmit_hz: float, abilities: Abilities) -> Dials:
    """What the dials should say. Raises HearmarkError for a plan that this radio cannot be set to."""
    other: PlanMode = plan.transmit_mode or plan.mode
    simplex = abs(transmit_hz - plan.receive_hz) < 0.5
    rit_hz = 0.0 if abilities.rit else None
    xit_hz = 0.0 if abilities.xit else None
    if simplex:
        return Dials(
            plan.receive_hz, split=False if abilities.split else None, mode=plan.mode, rit_hz=rit_hz, xit_hz=xit_hz
        )
    if abilities.split:
        return Dials(plan.receive_hz, transmit_hz, True, plan.mode, other, rit_hz, xit_hz)
    shift_hz = transmit_hz - plan.receive_hz
    reach = abs(shift_hz) <= abilities.limit_hz and other == plan.mode
    stepped_hz = round(shift_hz / abilities.step_hz) * abilities.step_hz
    if abilities.xit and reach:
        return Dials(plan.receive_hz, None, None, plan.mode, None, rit_hz, stepped_hz)
    if abilities.rit and reach:
        return Dials(plan.receive_hz + stepped_hz, None, None, plan.mode, None, -stepped_hz, None)
    if abilities.xit or abilities.rit:
        raise HearmarkError(
            f"This radio has no split, and its RIT or XIT reaches {abilities.limit_hz / 1e3:g} kHz: the plan needs "
            f"{abs(shift_hz) / 1e3:.2f} kHz. Move the dial by hand and do not send before it shows "
            f"{transmit_hz / 1e3:.2f} kHz."
        )
    raise HearmarkError(
        "This radio has no split, no RIT and no XIT that can be set from here: move the dial by hand and do not send "
        f"before it shows {transmit_hz / 1e3:.2f} kHz."
    )


def order(dials: Dials, plan: Plan, transmit_hz: float, abilities: Abilities) -> Order:
    """Commands that take the radio from what it says now to the plan: the shortest safe way, receive last."""
    wanted = goal(plan, transmit_hz, abilities)
    pending = _pending(dials, wanted)
    last = [step for step in pending if step.what == "dial"]
    modes = [step for step in pending if step.what in ("mode", "other mode")]
    moves = [step for step in pending if step.what not in ("dial", "mode", "other mode")]
    if abs(transmit_hz - plan.receive_hz) < 0.5:
        return Order((*modes, *moves, *last))
    clear_hz = clearance_hz(plan)
    home = Step("dial", wanted.dial_hz or 0.0)
    shift_hz = dials.xit_hz or 0.0
    detours = [
        Step(what, place_hz)
        for what in ("dial", "other")
        for place_hz in dict.fromkeys((transmit_hz, transmit_hz - shift_hz))
        if what == "dial" or abilities.split
    ]
    way = _way(dials, moves, [*moves, *detours], home, plan, clear_hz, abilities)
    if way is not None:
        left = any(step.what == "dial" for step in way)
        return Order((*way, *modes, *([home] if left or last else [])))
    why = "the radio's transmit side stands on the DX or is not known, and cannot be moved before split is on"
    first = Step("dial", transmit_hz)
    return Order((first, *sorted(moves, key=lambda step: step.what == "other"), *modes, home), hold=why)


def _way(
    start: Dials, wanted: list[Step], moves: list[Step], home: Step, plan: Plan, clear_hz: float, abilities: Abilities
) -> tuple[Step, ...] | None:
    """Breadth first over what the dials can say: the shortest way on which every key-down falls clear of the DX.

    Ends where all that is wanted is set and the dial can go home at last; None: there is no such way.
    """
    ways: deque[tuple[Dials, tuple[Step, ...]]] = deque([(start, ())])
    seen = {start}
    while ways:
        dials, steps = ways.popleft()
        there = all(same(shown(dials, step.what), step.value) for step in wanted)
        if there and is_clear(after(dials, home), plan, clear_hz):
            return steps
        for step in moves:
            if step.what == "other" and not abilities.other and not dials.split:
                continue  # this radio takes it only while split is on
            now = after(dials, step)
            if now not in seen and is_clear(now, plan, clear_hz):
                seen.add(now)
                ways.append((now, (*steps, step)))
    return None


def _pending(dials: Dials, wanted: Dials) -> list[Step]:
    """What must be set: transmit side, split, shifts, modes, dial; what is right already is left alone."""
    out: list[Step] = []
    for what, now, then in (
        ("xit", dials.xit_hz, wanted.xit_hz),
        ("other", dials.other_hz, wanted.other_hz),
        ("split", dials.split, wanted.split),
        ("other mode", dials.other_mode, wanted.other_mode),
        ("mode", dials.mode, wanted.mode),
        ("rit", dials.rit_hz, wanted.rit_hz),
        ("dial", dials.dial_hz, wanted.dial_hz),
    ):
        if then is not None and not same(now, then):
            out.append(Step(what, then))  # type: ignore[arg-type]
    return out


def same(now: float | bool | str | None, then: float | bool | str | None) -> bool:
    """Whether a dial says what it should."""
    if isinstance(now, bool) or isinstance(then, (bool, str)) or now is None or then is None:
        return now == then
    return abs(float(now) - float(then)) <= SAME_HZ
