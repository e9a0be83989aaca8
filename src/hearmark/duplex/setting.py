"""How a plan is set on each kind of radio, and what cannot be done there.

Reach and step of incremental tuning differ from radio to radio; the defaults, 9.99 kHz in steps of 10 Hz, are common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from hearmark.duplex.bands import BANDS
from hearmark.events import Plan
from hearmark.units import khz_from_hz

Kind = Literal["two VFOs", "RIT", "XIT", "offset display", "second receiver", "one dial"]


@dataclass(frozen=True, slots=True)
class Incremental:
    """What RIT or XIT can do: largest shift to either side, and step, in hertz."""

    limit_hz: float = 9_990.0
    step_hz: float = 10.0


@dataclass(frozen=True, slots=True)
class Way:
    """One way to set a plan. Not `possible`: `why_not` says what stands against it. `off_hz`: what rounding costs."""

    kind: Kind
    possible: bool
    steps: tuple[str, ...]
    why_not: str = ""
    off_hz: float = 0.0


def middle_hz(plan: Plan) -> float:
    """Where to begin: the middle of the window, to 10 Hz."""
    if plan.kind == "simplex":
        return plan.receive_hz
    middle = (plan.listen_low_hz + plan.listen_high_hz) / 2.0
    rounded = round(middle / 10.0) * 10.0
    return rounded if plan.listen_low_hz <= rounded <= plan.listen_high_hz else middle


def start_hz(plan: Plan, parts: Sequence[Sequence[float]]) -> float:
    """Where to begin in parts of the window: the middle of the widest stretch; within a band, if one reaches there."""
    inside = [
        (max(low, band.low_hz), min(high, band.high_hz))
        for low, high in parts
        for band in BANDS
        if low <= band.high_hz and high >= band.low_hz
    ]
    low_hz, high_hz = max(inside or parts, key=lambda part: part[1] - part[0])
    return middle_hz(replace(plan, listen_low_hz=low_hz, listen_high_hz=high_hz))


def ways(plan: Plan, transmit_hz: float, incremental: Incremental | None = None) -> tuple[Way, ...]:
    """Every kind of radio, in the order of how good it is for a pile-up.

    The steps keep to one order: transmit side first, split second, receive last, so that a slip of the key cannot land
    on the DX.
    """
    reach = incremental or Incremental()
    receive, transmit = _khz(plan.receive_hz), _khz(transmit_hz)
    shift_hz = transmit_hz - plan.receive_hz
    mode = plan.mode.upper()
    other = (plan.transmit_mode or plan.mode).upper()
    if shift_hz == 0.0 and other == mode:
        return (Way("one dial", True, (f"Split off, RIT and XIT off, dial on {receive}, {mode}",)),)
    shift = f"{shift_hz / 1e3:+.2f} kHz"
    return (
        Way(
            "second receiver",
            True,
            (
                f"VFO B on {transmit}, {other}",
                "split on: transmit follows B",
                f"VFO A on {receive}, {mode}",
                "second receiver on B: hear the callers beside the DX, each in one ear",
            ),
        ),
        Way(
            "two VFOs",
            True,
            (f"VFO B on {transmit}, {other}", "split on", f"VFO A on {receive}, {mode}", "RIT and XIT off"),
        ),
        _incremental("XIT", plan, transmit_hz, reach),
        _incremental("RIT", plan, transmit_hz, reach),
        Way(
            "offset display",
            other == mode,
            (f"split offset {shift}", "split on", f"dial on {receive}: the transmit side must show {transmit}"),
            "" if other == mode else f"one mode for both sides, and the plan needs {mode} and {other}",
        ),
        Way(
            "one dial",
            False,
            (),
            "no split, RIT or XIT: it can only be moved by hand between hearing and calling; "
            "do not send before the dial shows the transmit frequency",
        ),
    )


def _incremental(kind: Literal["RIT", "XIT"], plan: Plan, transmit_hz: float, reach: Incremental) -> Way:
    shift_hz = transmit_hz - plan.receive_hz
    if (plan.transmit_mode or plan.mode) != plan.mode:
        return Way(kind, False, (), "one mode for both sides, and the plan needs two")
    if abs(shift_hz) > reach.limit_hz:
        limit = f"{reach.limit_hz / 1e3:g} kHz"
        return Way(kind, False, (), f"{kind} reaches {limit} at most, and the plan needs {abs(shift_hz) / 1e3:.2f} kHz")
    stepped_hz = round(shift_hz / reach.step_hz) * reach.step_hz
    off_hz = stepped_hz - shift_hz
    if kind == "XIT":
        steps: tuple[str, ...] = (
            "split off, RIT off",
            f"XIT {stepped_hz / 1e3:+.2f} kHz and on",
            f"dial on {_khz(plan.receive_hz)}: do not send before XIT is on",
        )
    else:
        # the dial stands on the transmit side, so that a key-down without RIT still falls in the window
        steps = (
            "split off, XIT off",
            f"dial on {_khz(plan.receive_hz + stepped_hz)}",
            f"RIT {-stepped_hz / 1e3:+.2f} kHz and on: hears {_khz(plan.receive_hz)}",
            "do not touch the dial after that: it moves both sides",
        )
    return Way(kind, True, steps, off_hz=off_hz)


def _khz(hz: float) -> str:
    return f"{khz_from_hz(hz):.2f} kHz"
