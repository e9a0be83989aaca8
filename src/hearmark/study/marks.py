"""How answers become known: perfectly, as people find them, or as the engine marks them; each with its delay.

Delays count from the start of the reply. Shares and delays of people are common practice, no source; those of the
engine are what its figures promise (found, wrong; wrong ones on loud stations out of turn).
"""

from __future__ import annotations

import random
from dataclasses import dataclass

import numpy as np

from hearmark.ear.search import Search
from hearmark.events import Mode
from hearmark.study.crowd import Crowd
from hearmark.study.station import Reply


@dataclass(frozen=True, slots=True)
class Finding:
    """How well answers are found. `scatter_hz`: standard deviation of the frequency read."""

    found: float
    wrong: float
    scatter_hz: float
    delay_s: float
    delay_spread: float
    least_heard_s: float = 0.4
    """Of the reply this much must be heard."""


@dataclass(frozen=True, slots=True)
class Mark:
    """An answer put on the record, known at `known_at_s`."""

    frequency_hz: float
    confidence: float
    known_at_s: float


PERFECT = Finding(1.0, 0.0, 0.0, 1.0, 0.25)
"""Everything is heard and nothing mistaken; the time is that of a quick hand on the knob."""
PEOPLE = {
    "cw": Finding(0.6, 0.12, 60.0, 1.8, 0.5),
    "usb": Finding(0.55, 0.15, 150.0, 1.8, 0.5),
    "lsb": Finding(0.55, 0.15, 150.0, 1.8, 0.5),
}
"""A second receiver turned by hand while the reply lasts."""
ENGINE = {
    "cw": Finding(0.85, 0.10, 20.0, 1.6, 0.4),
    "usb": Finding(0.75, 0.15, 60.0, 2.0, 0.4),
    "lsb": Finding(0.75, 0.15, 60.0, 2.0, 0.4),
}
"""Marks of the engine; a mark of I/Q can come after the reply has ended, since the recording remembers."""


TAKEN_FOR = 0.15
"""Chance that one who sends out of turn is taken for the answered station when a slice has him alone."""
READ_HZ = 30.0
"""How well the frequency of a station in the slice is read."""


def find(how: Finding, reply: Reply, crowd: Crowd, rng: random.Random) -> Mark | None:
    """The mark of one reply, or None when it goes by unnoticed."""
    delay_s = how.delay_s * rng.lognormvariate(0.0, how.delay_spread)
    found, wrong = rng.random() < how.found, rng.random() < how.wrong
    if reply.sent is None or not found:
        return None
    start_s = max(reply.sent.start_s, reply.heard_from_s)
    if reply.sent.stop_s - start_s < how.least_heard_s:
        return None
    if wrong:
        other = crowd.loudest(reply.over_start_s, reply.sent.stop_s, reply.sent.station)
        if other is not None:
            confidence = float(np.clip(rng.gauss(0.82, 0.1), 0.5, 0.99))
            return Mark(other.frequency_hz + rng.gauss(0.0, 30.0), confidence, start_s + delay_s)
    confidence = float(np.clip(rng.gauss(0.9, 0.07), 0.5, 0.99))
    return Mark(reply.sent.frequency_hz + rng.gauss(0.0, how.scatter_hz), confidence, start_s + delay_s)


def peeked(search: Search, reply: Reply, crowd: Crowd, rng: random.Random) -> tuple[Mark | None, int]:
    """What one receiver finds that keeps to the order of a search: its mark, if any, and how many peeks it made.

    It stops at the station that replies, or at one out of turn that it takes for him.
    """
    half_hz = 0.5 * search.receiver.width_hz
    sent = reply.sent
    for count, peek in enumerate(search.peeks, 1):
        start_s, stop_s = reply.over_stop_s + peek.start_s, reply.over_stop_s + peek.stop_s
        if start_s < reply.heard_from_s:
            continue
        noticed = rng.random() >= search.receiver.overlook
        there = sent is not None and abs(sent.frequency_hz - peek.frequency_hz) <= half_hz
        if sent is not None and there and sent.start_s <= start_s and stop_s <= sent.stop_s:
            if noticed:
                confidence = float(np.clip(rng.gauss(0.9, 0.07), 0.5, 0.99))
                return Mark(sent.frequency_hz + rng.gauss(0.0, READ_HZ), confidence, stop_s), count
            continue
        others = crowd.lasting(start_s, stop_s, -1 if sent is None else sent.station)
        others = [other_hz for other_hz in others if abs(other_hz - peek.frequency_hz) <= half_hz]
        if others and noticed and rng.random() < TAKEN_FOR:
            confidence = float(np.clip(rng.gauss(0.75, 0.1), 0.5, 0.99))
            return Mark(rng.choice(others) + rng.gauss(0.0, READ_HZ), confidence, stop_s), count
    return None, len(search.peeks)


def moves_s(rng: random.Random) -> float:
    """From knowing where to go to being there: half a turn of the knob, or one key."""
    return 0.8 * rng.lognormvariate(0.0, 0.3)


def grid_hz(mode: Mode) -> float:
    """The step in which a hand sets the dial."""
    return 10.0 if mode == "cw" else 100.0
