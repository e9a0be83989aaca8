"""Where the DX puts his receiver: six habits, each with its own step, dwell and spread."""

from __future__ import annotations

import copy
import random
from collections.abc import Sequence

from hearmark.simulate.session import Scenario


class Listening:
    """The place in the window where the DX listens, contact after contact.

    `place_hz` is what the habit says; `receive_hz` where his receiver stands now, up to some 120 Hz (one standard
    deviation) beside it; `passband_hz` what it lets through: CW 250 to 800 Hz, SSB 1.8 to 2.7 kHz.
    """

    def __init__(self, scenario: Scenario, rng: random.Random) -> None:
        self._habit = scenario.habit
        self._low_hz, self._high_hz = scenario.window_low_hz, scenario.window_high_hz
        self._rng = rng
        width_hz = self._high_hz - self._low_hz
        self.simplex = width_hz == 0.0
        morse = scenario.mode == "cw"
        self.passband_hz = (
            rng.choice((250.0, 300.0, 400.0, 500.0, 500.0, 600.0, 800.0)) if morse else rng.uniform(1800.0, 2700.0)
        )
        self.spread_hz = min(rng.uniform(40.0, 160.0) if scenario.sloppiness else 120.0, width_hz / 6.0)
        self._step_hz = min(max(rng.uniform(0.03, 0.2) * width_hz, 60.0), 1500.0)
        self._wander_hz = min(max(rng.uniform(0.03, 0.12) * width_hz, 50.0), 800.0)
        self._direction = rng.choice((-1.0, 1.0))
        self._turns_round = rng.random() < 0.3
        self._dwell = rng.choices(((1, 1), (1, 2), (1, 3), (2, 4), (3, 6)), (4, 3, 3, 2, 1))[0]
        first = rng.uniform(0.05, 0.95)
        if self._habit == "stay":
            first = rng.choice((rng.uniform(0.0, 0.3), rng.uniform(0.05, 0.95), 0.5))
        self.place_hz = self._low_hz + first * width_hz
        second = (first + rng.uniform(0.3, 0.7)) % 1.0
        if abs(second - first) < 0.25:
            second = 1.0 - first if abs(1.0 - 2.0 * first) >= 0.25 else first + (0.4 if first < 0.5 else -0.4)
        self._spots = (self.place_hz, self._low_hz + second * width_hz)
        self._left = self._drawn_dwell()
        self._stayed = 0
        self.receive_hz = self.place_hz
        self.settle()

    def fork(self, rng: random.Random) -> Listening:
        """The same habit at the same place, whose further draws come from `rng`: what he may do next.

        How long he will still stay is drawn anew, given how long he has stayed.
        """
        other = copy.copy(self)
        other._rng = rng
        shortest, longest = self._dwell
        other._left = rng.randint(min(max(shortest, self._stayed + 1), longest), longest) - self._stayed
        return other

    def settle(self) -> float:
        """Turn the receiver to the habit's place, with the spread of a hand on the knob; returns `receive_hz`."""
        self.receive_hz = self._inside(self.place_hz + self._rng.gauss(0.0, self.spread_hz * 0.6))
        return self.receive_hz

    def tune(self, frequency_hz: float) -> float:
        """Turn the receiver towards somebody heard nearby."""
        self.receive_hz = self._inside(frequency_hz)
        return self.receive_hz

    def worked(self, frequency_hz: float, occupied_hz: Sequence[float]) -> float:
        """After a contact on `frequency_hz`: move on as the habit says. `occupied_hz`: callers heard of late."""
        if not self.simplex:
            self._left -= 1
            self._stayed += 1
            if self._habit == "wander":
                self.place_hz += 0.5 * (frequency_hz - self.place_hz)
            if self._left <= 0:
                self._left = self._drawn_dwell()
                self._stayed = 0
                self._move(occupied_hz)
        return self.settle()

    def _drawn_dwell(self) -> int:
        return self._rng.randint(*self._dwell)

    def _inside(self, frequency_hz: float) -> float:
        return min(max(frequency_hz, self._low_hz), self._high_hz)

    def _move(self, occupied_hz: Sequence[float]) -> None:
        rng = self._rng
        low_hz, high_hz = self._low_hz, self._high_hz
        if self._habit == "wander":
            place = self.place_hz + rng.gauss(0.0, self._wander_hz)
            place = 2 * low_hz - place if place < low_hz else place
            self.place_hz = self._inside(2 * high_hz - place if place > high_hz else place)
        elif self._habit == "step":
            place = self.place_hz + self._direction * self._step_hz * rng.uniform(0.7, 1.3)
            if not low_hz <= place <= high_hz:
                if self._turns_round:
                    self._direction = -self._direction
                    place = self._inside(place)
                else:
                    place = (low_hz if self._direction > 0 else high_hz) + self._direction * rng.uniform(0.0, 0.05) * (
                        high_hz - low_hz
                    )
            self.place_hz = place
        elif self._habit == "jump":
            self.place_hz = rng.uniform(low_hz, high_hz)
        elif self._habit == "two spots":
            other = (
                self._spots[1]
                if abs(self.place_hz - self._spots[0]) < abs(self.place_hz - self._spots[1])
                else self._spots[0]
            )
            self.place_hz = other if rng.random() < 0.7 else self.place_hz
        elif self._habit == "quiet":
            near_hz = max(self.passband_hz * 0.5, (high_hz - low_hz) / 24.0)
            places = [low_hz + (index + rng.random()) * (high_hz - low_hz) / 16.0 for index in range(16)]
            self.place_hz = min(
                places,
                key=lambda place: sum(abs(place - other) < near_hz for other in occupied_hz) + rng.uniform(0.0, 2.0),
            )
