"""The callers: where each one calls, how fast he reacts, how he behaves."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from hearmark.simulate.hearing import Fade
from hearmark.simulate.session import Scenario
from hearmark.simulate.texts import Talk

Policy = Literal["stay", "wander", "follow", "lead", "edges", "quiet"]
Vice = Literal["endless", "late", "deaf", "wrong frequency"]


@dataclass(frozen=True, slots=True)
class Manners:
    """The habits of one caller; those with a `vice` are the undisciplined ones."""

    policy: Policy
    vice: Vice | None
    reaction_s: float
    reaction_spread: float
    hasty: float
    """Share of calls begun a little before the DX has ended."""
    times: tuple[float, float, float]
    """Weights for calling once, twice, three times in one transmission."""
    again: float
    """Chance to call again in the same turn after listening for `pause_s`."""
    pause_s: float
    joins: float
    """Chance to call at all in a given turn."""
    finds: float
    """Chance to find out where the answered one was."""
    moves_after_s: float
    offset_hz: float
    tail_ends: float
    answers_s: float
    hears: float
    """Chance to hear the DX's answer to himself."""
    patience: int
    """Turns until he gives up."""
    police: bool
    tunes: float
    grid_hz: float
    holds_back: float
    """Chance to let the others call first."""
    stutter: float
    """Chance to go on calling for a moment when the DX comes back to another."""


class Caller:
    """One caller in the course of a session."""

    def __init__(
        self,
        index: int,
        call: str,
        region: str,
        manners: Manners,
        talk: Talk,
        dx_snr_db: float,
        frequency_hz: float,
        arrives_s: float,
        rng: random.Random,
    ) -> None:
        self.index = index
        self.call = call
        self.region = region
        self.manners = manners
        self.talk = talk
        self.power_at_dx = 10.0 ** (dx_snr_db / 10.0)
        self.frequency_hz = frequency_hz
        self.arrives_s = arrives_s
        self.rng = rng
        self.fade = Fade(rng)
        self.busy_until_s = -1.0
        self.turns = 0
        self._moved_in_turn = -1
        self.worked_at_s: float | None = None
        self.gone = False
        self.told_split = False
        self.guide: Callable[[Caller, float], float | None] | None = None
        """Asked once a turn, with the time, for the frequency to call on; None: as he would himself."""
        self.known: tuple[float, float] | None = None
        """(time from which he can be there, frequency) of the answered one he found."""

    def reaction_s(self) -> float:
        """Delay after the DX stops, negative when he is hasty."""
        manners, rng = self.manners, self.rng
        if rng.random() < manners.hasty:
            return -rng.uniform(0.05, 0.5)
        delay_s = min(max(manners.reaction_s * math.exp(rng.gauss(0.0, manners.reaction_spread)), 0.1), 2.5)
        return delay_s + (rng.uniform(1.2, 4.0) if rng.random() < manners.holds_back else 0.0)

    def move(self, time_s: float, turn: int, scenario: Scenario) -> bool:
        """Choose where to call in this turn: once, so that the DX finds him there. False: he has already."""
        if turn == self._moved_in_turn:
            return False
        self._moved_in_turn = turn
        low_hz, high_hz = scenario.window_low_hz, scenario.window_high_hz
        width_hz = high_hz - low_hz
        manners, rng = self.manners, self.rng
        if width_hz == 0.0:
            return True
        guided_hz = None if self.guide is None else self.guide(self, time_s)
        if guided_hz is not None:
            self.frequency_hz = guided_hz
        elif self.known is not None and time_s >= self.known[0]:
            self.frequency_hz = min(max(self.known[1], low_hz - 300.0), high_hz + 300.0)
            self.known = None
        elif manners.policy == "wander" and rng.random() < 0.4:
            self.frequency_hz = on_grid(
                min(max(self.frequency_hz + rng.gauss(0.0, 0.12 * width_hz), low_hz), high_hz), manners.grid_hz
            )
        elif manners.policy == "edges" and rng.random() < 0.15:
            self.frequency_hz = place(scenario, manners.policy, manners.grid_hz, rng)
        elif manners.policy in ("stay", "follow", "lead") and rng.random() < 0.03:
            self.frequency_hz = place(scenario, "stay", manners.grid_hz, rng)
        return True

    def learns(self, time_s: float, frequency_hz: float, before_hz: float | None) -> None:
        """The answered station is heard on `frequency_hz` now, the one before was on `before_hz`."""
        manners, rng = self.manners, self.rng
        if manners.policy not in ("follow", "lead") or rng.random() >= manners.finds:
            return
        goal_hz = frequency_hz + manners.offset_hz * rng.uniform(0.5, 1.5)
        if manners.policy == "lead" and before_hz is not None:
            goal_hz += 0.7 * (frequency_hz - before_hz)
        self.known = (time_s + manners.moves_after_s * rng.uniform(0.7, 1.6), round(goal_hz / 10.0) * 10.0)


def on_grid(frequency_hz: float, grid_hz: float) -> float:
    """The nearest multiple of `grid_hz`: people dial round figures."""
    return round(frequency_hz / grid_hz) * grid_hz


def place(scenario: Scenario, policy: Policy, grid_hz: float, rng: random.Random) -> float:
    """A first place in the window: crowds at its near edge and on round offsets, some at the edges, a few outside."""
    low_hz, high_hz, dx_hz = scenario.window_low_hz, scenario.window_high_hz, scenario.dx_hz
    width_hz = high_hz - low_hz
    if width_hz == 0.0:
        scatter = (
            rng.gauss(0.0, 60.0) if scenario.mode == "cw" else rng.choice((0.0, 0.0, 10.0, -10.0, 20.0, -50.0, 100.0))
        )
        return dx_hz + round(scatter / 10.0) * 10.0
    near_hz, far_hz = (low_hz, high_hz) if low_hz >= dx_hz else (high_hz, low_hz)
    inward = 1.0 if far_hz > near_hz else -1.0
    draw = rng.random()
    if policy == "edges":
        edge_hz, sign = (near_hz, inward) if rng.random() < 0.5 else (far_hz, -inward)
        goal_hz = edge_hz + sign * rng.uniform(-0.04, 0.1) * width_hz
    elif draw < 0.2:
        goal_hz = near_hz + inward * abs(rng.gauss(0.0, 0.08)) * width_hz
    elif draw < 0.3:
        goal_hz = low_hz + rng.gauss(0.5, 0.08) * width_hz
    elif draw < 0.4:
        goal_hz = dx_hz + inward * 1000.0 * rng.randint(0, 20)
        if not low_hz <= goal_hz <= high_hz:
            goal_hz = rng.uniform(low_hz, high_hz)
    elif draw < 0.44:
        goal_hz = rng.choice((low_hz - rng.uniform(0.0, 0.2) * width_hz, high_hz + rng.uniform(0.0, 0.2) * width_hz))
        if abs(goal_hz - dx_hz) < 400.0:
            goal_hz = near_hz
    else:
        goal_hz = rng.uniform(low_hz, high_hz)
    return on_grid(goal_hz, grid_hz)


def manners(scenario: Scenario, undisciplined: bool, rng: random.Random) -> Manners:
    """Draw one caller's habits. With sloppiness 0 all react, repeat and talk alike; with 1 each in his own way."""
    wide = scenario.sloppiness
    morse = scenario.mode == "cw"
    vice: Vice | None = None
    if undisciplined:
        vice = rng.choices(("endless", "late", "deaf", "wrong frequency"), (0.38, 0.36, 0.18, 0.08))[0]
        if vice == "wrong frequency" and scenario.window_low_hz == scenario.window_high_hz:
            vice = "late"
    policy: Policy = rng.choices(
        ("stay", "wander", "follow", "lead", "edges", "quiet"), (0.36, 0.14, 0.28, 0.06, 0.08, 0.08)
    )[0]
    exact = rng.random() < 0.3
    reach_hz = rng.choice((60.0, 120.0, 250.0, 400.0)) if morse else rng.choice((50.0, 100.0, 300.0, 500.0))
    once = rng.random()
    times = (
        (1.0, 0.0, 0.0)
        if wide == 0.0
        else ((0.9, 0.1, 0.0), (0.3, 0.65, 0.05), (0.1, 0.4, 0.5), (0.5, 0.4, 0.1))[
            0 if once < 0.5 else 1 if once < 0.8 else 2 if once < 0.8 + 0.08 * wide else 3
        ]
    )
    return Manners(
        policy,
        vice,
        reaction_s=0.4 * math.exp(wide * rng.gauss(0.25, 0.8)),
        reaction_spread=0.15 + 0.45 * wide * rng.random(),
        hasty=0.3 * wide if rng.random() < 0.15 else 0.0,
        times=times,
        again=rng.choice((0.0, 0.3, 0.7, 0.95)) if wide else 0.5,
        pause_s=0.8 + wide * (rng.lognormvariate(0.0, 0.5) - 0.6),
        joins=1.0 - wide * rng.choice((0.0, 0.1, 0.25, 0.5)),
        finds=rng.uniform(0.2, 0.95),
        moves_after_s=rng.lognormvariate(0.6, 0.5),
        offset_hz=0.0 if exact else rng.choice((-1.0, 1.0)) * reach_hz,
        tail_ends=rng.uniform(0.1, 0.5) if rng.random() < 0.25 * wide else 0.0,
        answers_s=0.38 * math.exp(wide * rng.gauss(0.1, 0.55)),
        hears=1.0 - wide * rng.uniform(0.0, 0.2),
        patience=round(rng.lognormvariate(3.2, 0.8)) + 2,
        police=rng.random() < 0.05,
        tunes=0.02 if rng.random() < 0.12 * wide else 0.0,
        grid_hz=10.0 if morse else rng.choices((1000.0, 500.0, 100.0, 10.0), (0.25, 0.27, 0.33, 0.15))[0],
        holds_back=wide * (rng.random() if rng.random() < 0.2 else 0.05),
        stutter=0.0 if wide == 0.0 else rng.random(),
    )
