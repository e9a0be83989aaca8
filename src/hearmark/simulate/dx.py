"""The person at the rare station: pace, patience, skill, and how he chooses among those he can read."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from hearmark.simulate import hearing
from hearmark.simulate.air import Air, Sending
from hearmark.simulate.session import Scenario


@dataclass(frozen=True, slots=True)
class Operator:
    """Habits of the DX, times in seconds, chances per occasion."""

    listens_s: float
    listens_spread: float
    at_once: float
    """Chance to answer as soon as the first call is through."""
    takes_tail: float
    """Chance to come back at once to somebody who called while the contact before was being closed."""
    lets_finish: float
    """Chance to wait until the chosen one stops calling."""
    patience_s: float
    waits_s: float
    repeats: int
    takes_part: float
    """Chance to answer a partly copied call rather than listen on."""
    loves_strong: float
    loves_late: float
    skill_db: float
    errs: float
    reaction_s: float
    clipping: float
    """Chance to come back before the reply has quite ended."""
    chats: float
    rests: float
    confirms_call: float
    limits: float
    """Chance, per contact, to start taking only one figure or one part of the world."""


def operator(scenario: Scenario, rng: random.Random) -> Operator:
    """Draw the DX's habits; with sloppiness 0 they are those of a steady, quick operator."""
    wide = scenario.sloppiness

    def around(middle: float, low: float, high: float) -> float:
        return middle + wide * (rng.uniform(low, high) - middle)

    return Operator(
        listens_s=around(2.6, 1.5, 6.0),
        listens_spread=0.1 + 0.3 * wide,
        at_once=around(0.1, 0.0, 0.5),
        takes_tail=around(0.15, 0.0, 0.8),
        lets_finish=around(0.6, 0.2, 0.95),
        patience_s=around(6.0, 4.0, 11.0),
        waits_s=around(2.6, 1.8, 4.0),
        repeats=rng.randint(1, 4) if wide else 2,
        takes_part=around(0.5, 0.1, 0.9),
        loves_strong=around(1.0, 0.2, 2.0),
        loves_late=around(0.6, -0.3, 2.0),
        skill_db=rng.gauss(2.0, 1.5 * wide),
        errs=0.08 * wide * rng.random(),
        reaction_s=around(0.35, 0.12, 0.8),
        clipping=0.15 * wide * rng.random(),
        chats=0.04 * wide * rng.random(),
        rests=0.02 * wide * rng.random(),
        confirms_call=0.5 * wide * rng.random() ** 3,
        limits=0.05 * wide if rng.random() < 0.3 else 0.0,
    )


class Receiver:
    """What he has copied in this turn, from the callers that his passband lets through."""

    def __init__(self, air: Air, who: Operator, passband_hz: float, spread_hz: float, rng: random.Random) -> None:
        self._air = air
        self._who = who
        self._rng = rng
        self.passband_hz = passband_hz
        self._reach_hz = passband_hz / 2.0 if air.morse else 1000.0
        self._spread_hz = max(spread_hz, 40.0)
        self._judged: set[int] = set()
        self.copies: dict[int, str] = {}
        """Station to call as copied, with "." for what is missing."""
        self._clarity: dict[int, tuple[float, Sending]] = {}

    def clear(self) -> None:
        """A new turn, or another place: start afresh."""
        self._judged.clear()
        self.copies.clear()
        self._clarity.clear()

    def clarity_db(self, sending: Sending, receive_hz: float) -> float:
        """Signal over noise and interference of one sending with the receiver at `receive_hz`."""
        air = self._air
        length_s = max(sending.stop_s - sending.start_s, 0.1)
        powers: list[float] = []
        for other in air.recent:
            if other is sending or other.stop_s <= sending.start_s or other.start_s >= sending.stop_s:
                continue
            share = hearing.masking(other.frequency_hz - sending.frequency_hz, air.morse)
            if abs(other.frequency_hz - receive_hz) > self.passband_hz * (0.55 if air.morse else 1.0):
                share = min(share, 0.002)
            if share > 0.0:
                common_s = hearing.overlap_s(sending.start_s, sending.stop_s, other.start_s, other.stop_s)
                powers.append(other.power * share * common_s / length_s)
        clarity = hearing.clarity_db(sending.power, powers, air.morse)
        return clarity if air.morse else clarity - (abs(sending.frequency_hz - receive_hz) / 300.0) ** 2

    def listen(self, receive_hz: float, since_s: float, calls: dict[int, str]) -> None:
        """Take in what was called since `since_s`: finished calls, and those whose first call is through."""
        air = self._air
        for sending in air.recent:
            if sending.take in self._judged or sending.role != "call" or not sending.calls or sending.stop_s < since_s:
                continue
            if abs(sending.frequency_hz - receive_hz) > self._reach_hz:
                continue
            heard = (air.now_s - sending.start_s) / max(sending.stop_s - sending.start_s, 0.1) * sending.calls
            if heard < min(1.05, sending.calls):
                continue
            self._judged.add(sending.take)
            clarity = self.clarity_db(sending, receive_hz)
            call = calls[sending.station]
            chance = hearing.readable(clarity, air.morse, self._who.skill_db)
            self.copies[sending.station] = hearing.copied(
                call, self.copies.get(sending.station, ""), chance, min(int(heard), sending.calls), self._rng
            )
            self._clarity[sending.station] = (clarity, sending)

    def choice(self, receive_hz: float, parts: bool) -> Sending | None:
        """The call he goes for: complete ones, or with `parts` those copied in part. None: nothing yet."""
        who, rng, now_s = self._who, self._rng, self._air.now_s
        best: tuple[float, Sending] | None = None
        for station, copy in self.copies.items():
            if ("." in copy) != parts or (parts and len(hearing.part(copy, rng)) < 2):
                continue
            clarity, sending = self._clarity[station]
            weight = max(-0.5 * ((sending.frequency_hz - receive_hz) / self._spread_hz) ** 2, -9.0)
            weight += 0.12 * who.loves_strong * clarity + rng.gauss(0.0, 0.8)
            weight += who.loves_late * math.exp(-max(now_s - sending.stop_s, 0.0) / 0.8)
            if best is None or weight > best[0]:
                best = (weight, sending)
        return best[1] if best else None

    def nearest(self, receive_hz: float, farthest_hz: float) -> float | None:
        """Frequency of a caller he reaches first, more or less, as he turns the knob up to `farthest_hz`."""
        air = self._air
        heard = [
            sending.frequency_hz
            for sending in air.recent
            if sending.role == "call"
            and sending.stop_s > air.now_s - 3.0
            and sending.power > 0.3
            and 0.4 * self._reach_hz < abs(sending.frequency_hz - receive_hz) < farthest_hz
        ]
        return min(heard, key=lambda where: abs(where - receive_hz) * self._rng.uniform(0.5, 1.5)) if heard else None
