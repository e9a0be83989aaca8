"""What comes of it when everybody in the pile-up follows the advice, alike or each in his own place."""

from __future__ import annotations

import random

from hearmark.ear.advice import Surroundings, chances, recommend
from hearmark.ear.herd import Herd
from hearmark.events import Ear, FloatArray
from hearmark.simulate.callers import Caller
from hearmark.simulate.people import Pileup
from hearmark.study.crowd import Crowd
from hearmark.study.marks import Finding
from hearmark.study.tactics import Program


class Everyone(Program):
    """Our station and all others see the same ear and the same advice.

    `spread`: each takes one of his own among the places that are as good as the best, and among all once the crowd is
    seen to gather where it is sent.
    """

    def __init__(
        self, pileup: Pileup, rng: random.Random, how: Finding, crowd: Crowd, own_db: float, spread: bool
    ) -> None:
        super().__init__(pileup.scenario, rng, how, crowd, own_db)
        if not spread:
            self._own_place = None
        self._pileup, self._spread = pileup, spread
        self._told: dict[int, float | None] = {}
        self._herds: dict[int, Herd] = {}
        self._places: dict[int, float] = {}
        self._seen: tuple[float, Ear, Surroundings, FloatArray] | None = None
        self._tell_all()

    def confirmed(self, now_s: float) -> None:
        """As ever; newcomers get the program too."""
        super().confirmed(now_s)
        self._tell_all()

    def _tell_all(self) -> None:
        for caller in self._pileup.callers:
            if caller.guide is None:
                caller.guide = self._guide
                if self._spread:
                    self._places[caller.index] = self._rng.random()

    def _guide(self, caller: Caller, time_s: float) -> float | None:
        """Where this one calls now."""
        if self._seen is None or time_s - self._seen[0] > 1.0:
            ear, around = self._ear(time_s), self._around()
            self._seen = (time_s, ear, around, chances(ear, around))
        _, ear, around, chance = self._seen
        held_hz = self._told.get(caller.index)
        herd = self._herds.get(caller.index, Herd())
        if held_hz is not None:
            herd = self._herds[caller.index] = herd.seen(held_hz, around)
        advised = recommend(ear, around, held_hz, self._places.get(caller.index), herd.follows, chance)
        self._told[caller.index] = advised.transmit_hz
        return advised.transmit_hz
