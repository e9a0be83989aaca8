"""The guard: the plan against what the radio says, always.

Pure: facts in, warnings out. A warning holds as long as its reason does; it is raised at once and taken back when the
reason is gone. The guard is silent about the receive side during our own peeks, and about everything while the radio is
being set.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from hearmark.duplex.occupied import occupied
from hearmark.duplex.privileges import NEAR_HZ
from hearmark.events import Allowed, Plan, Warned
from hearmark.radio.order import covers
from hearmark.radio.port import Dials

Kind = Literal[
    "radio lost", "key while he sends", "on the DX", "split off", "outside privileges", "outside window",
    "wrong mode", "receive moved",
]  # fmt: skip
KINDS: tuple[Kind, ...] = (
    "radio lost", "key while he sends", "on the DX", "split off", "outside privileges", "outside window",
    "wrong mode", "receive moved",
)  # fmt: skip
"""Gravest first."""
OFF_HZ: dict[str, float] = {"cw": 80.0, "voice": 150.0}
"""A receive dial further off than this has been moved."""
BESIDE_HZ: dict[str, float] = {"cw": 100.0, "voice": 300.0}
"""So far beyond the window's edge still counts as inside: he says round figures."""


@dataclass(frozen=True, slots=True)
class Facts:
    """All that the guard looks at. `dials` None: the radio does not answer; `busy`: it is being set.

    `peek_hz`: where we peek, None if we do not. `dx_sends`: the DX is heard sending now.
    """

    plan: Plan | None
    dials: Dials | None
    allowed: Allowed | None = None
    peek_hz: float | None = None
    busy: bool = False
    dx_sends: bool = False
    lost: str = ""


def warnings(facts: Facts) -> dict[Kind, str]:
    """Every warning that holds now, gravest first, with its sentence."""
    found: dict[Kind, str] = {}
    if facts.dials is None:
        if facts.lost:
            found["radio lost"] = f"{facts.lost} Look at the radio itself before you send."
        return found
    plan, dials = facts.plan, facts.dials
    if plan is None or facts.busy:
        return found
    key = "cw" if plan.mode == "cw" else "voice"
    transmit_hz, receive_hz = dials.transmit_hz, dials.receive_hz
    split_plan = plan.kind != "simplex"
    if dials.keyed and facts.dx_sends and plan.duplex != "full":
        found["key while he sends"] = "You are sending while the DX sends: stop and listen."
    if split_plan and transmit_hz is not None and covers(plan, transmit_hz):
        away_hz = abs(transmit_hz - plan.receive_hz)
        found["on the DX"] = (
            f"You would send {away_hz:.0f} Hz from the DX, on top of him: set the plan before you call."
        )
    if split_plan and dials.split is False and not _shifted(dials):
        found["split off"] = "Split is off: a call would go out where the dial stands."
    if transmit_hz is not None:
        found.update(_places(facts, plan, transmit_hz, BESIDE_HZ[key]))
    found.update(_modes(plan, dials))
    expected_hz = plan.receive_hz if facts.peek_hz is None else facts.peek_hz
    if receive_hz is not None and abs(receive_hz - expected_hz) > OFF_HZ[key]:
        off_hz = receive_hz - plan.receive_hz
        found["receive moved"] = f"Receive stands {off_hz / 1e3:+.2f} kHz from the DX: he is not heard there."
    return {kind: found[kind] for kind in KINDS if kind in found}


def _shifted(dials: Dials) -> bool:
    """Whether RIT or XIT do what split does."""
    return bool(dials.rit_hz) or bool(dials.xit_hz)


def _places(facts: Facts, plan: Plan, transmit_hz: float, beside_hz: float) -> dict[Kind, str]:
    found: dict[Kind, str] = {}
    may = facts.allowed
    if may is not None and may.known and facts.dials is not None:
        inside = any(low - NEAR_HZ <= transmit_hz <= high + NEAR_HZ for low, high in may.intervals_hz)
        if not inside:
            takes = occupied(plan.transmit_mode or plan.mode)
            low_khz, high_khz = ((transmit_hz + edge) / 1e3 for edge in (takes.low_hz, takes.high_hz))
            found["outside privileges"] = (
                f"Your signal would take {low_khz:.2f} to {high_khz:.2f} kHz, outside what you may use: {may.why}."
            )
    if not plan.listen_low_hz - beside_hz <= transmit_hz <= plan.listen_high_hz + beside_hz:
        low_khz, high_khz = plan.listen_low_hz / 1e3, plan.listen_high_hz / 1e3
        where = f"{low_khz:.2f}" if low_khz == high_khz else f"{low_khz:.2f} to {high_khz:.2f}"
        found["outside window"] = f"You would send on {transmit_hz / 1e3:.2f} kHz; he listens {where} kHz."
    return found


def _modes(plan: Plan, dials: Dials) -> dict[Kind, str]:
    """Mode or sideband that is not the plan's, on either side."""
    wrong: list[str] = []
    if dials.mode_name or dials.mode:
        said = dials.mode.upper() if dials.mode else dials.mode_name
        if dials.mode != plan.mode:
            wrong.append(f"you hear in {said} and the plan says {plan.mode.upper()}")
    other = plan.transmit_mode or plan.mode
    if dials.split and dials.other_mode is not None and dials.other_mode != other:
        wrong.append(f"you would send in {dials.other_mode.upper()} and the plan says {other.upper()}")
    if not wrong:
        return {}
    sentence = " and ".join(wrong)
    return {"wrong mode": f"{sentence[0].upper()}{sentence[1:]}."}


class Guard:
    """Keeps what is active, so that each warning is told once when it comes and once when it goes."""

    def __init__(self) -> None:
        self.active: dict[Kind, str] = {}

    def look(self, facts: Facts, time_s: float) -> list[Warned]:
        """What changed since the last look."""
        if facts.busy and facts.dials is not None:
            return []
        now = warnings(facts)
        told: list[Warned] = []
        for kind, why in self.active.items():
            if kind not in now:
                told.append(Warned(time_s, kind, why, active=False))
        told += [Warned(time_s, kind, why) for kind, why in now.items() if kind not in self.active]
        self.active = now
        return told
