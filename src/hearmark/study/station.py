"""Our own station in a simulated pile-up: one more caller, who calls where a tactic says, until he is in the log.

The tactic gives the frequency of each turn's call, or none; all else is the same under every tactic: how fast the
operator reacts, that he calls once, listens and calls again, that he is deaf while he sends. His habits are common
practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

from hearmark.events import Mode
from hearmark.simulate import calls, keying
from hearmark.simulate.air import stream
from hearmark.simulate.calls import alike
from hearmark.simulate.hearing import Fade
from hearmark.simulate.people import Pileup
from hearmark.simulate.session import Transmission
from hearmark.study.crowd import Crowd

REACTION_S, REACTION_SPREAD = 0.45, 0.3
PAUSE_S, PAUSE_SPREAD = 0.9, 0.25
REPLY_S, REPLY_DELAY_S = {"cw": 1.9, "usb": 1.8, "lsb": 1.8}, 0.4
MOST_CALLS = 4
"""Calls in one turn of the DX."""
NOTICED = 0.4
"""Share of the DX's over that must be heard to notice one's own call in it."""
SPELT_S = 0.4
"""One letter of a spoken call."""


@dataclass(frozen=True, slots=True)
class Reply:
    """One reply of a station that the DX answered. `heard_from_s`: we were deaf before; None: no reply came."""

    sent: Transmission | None
    heard_from_s: float
    over_start_s: float
    over_stop_s: float


class Tactic(Protocol):
    """Where to call. Whatever it is told is only what its operator may know."""

    promised: float
    """Sum over calls of the chance it gave them."""

    def place(self, now_s: float) -> float | None:
        """Where to call now that the DX listens to all; None: not in this turn."""

    def answered(self, reply: Reply, crowd: Crowd) -> None:
        """The DX answered another, and this was his reply."""

    def confirmed(self, now_s: float) -> None:
        """The DX has completed the contact with another."""

    def broken_off(self, now_s: float) -> None:
        """The DX calls all again without having completed a contact."""


@dataclass(frozen=True, slots=True)
class Result:
    """What became of our station. `worked_at_s` None: not in the log in `limit_s`."""

    worked_at_s: float | None
    calls: int
    turns: int
    contacts: int
    """Others worked meanwhile."""
    answered: int
    """How often the DX began to answer us."""
    promised: float
    limit_s: float


class OwnStation:
    """Plays one session: `run` to the end."""

    def __init__(
        self, pileup: Pileup, tactic: Tactic, crowd: Crowd, snr_at_dx_db: float, seed: int, limit_s: float
    ) -> None:
        scenario = pileup.scenario
        self._pileup, self._tactic, self._limit_s = pileup, tactic, limit_s
        self._mode: Mode = scenario.mode
        self._snr_at_dx_db = snr_at_dx_db
        self._rng = rng = stream(seed, 900_001)
        self._fade = Fade(stream(seed, 900_002))
        taken = {station.call for station in pileup.stations}
        self.call = calls.caller(rng)[0]
        while self.call in taken:
            self.call = calls.caller(rng)[0]
        wpm = pileup.stations[0].speed_wpm
        self._call_s = keying.length_s(self.call, wpm) if self._mode == "cw" else SPELT_S * len(self.call)
        self.crowd = crowd
        self._over: Transmission | None = None
        self._deaf_until_s = 0.0
        self._place_hz = scenario.window_low_hz
        self._calls = self._turns = self._contacts = self._answered = 0

    def run(self) -> Result:
        """Until worked, or until the time is over."""
        pileup = self._pileup
        while pileup.now_s < self._limit_s and not pileup.worked:
            if self._over is None:
                self._listen(self._limit_s)
            over, self._over = self._over, None
            if over is None:
                continue
            if over.role in ("cq", "confirm"):
                self._turn(over)
            elif over.role in ("answer", "again"):
                self._exchange(over)
        return Result(
            pileup.worked_at_s,
            self._calls,
            self._turns,
            self._contacts,
            self._answered,
            self._tactic.promised,
            self._limit_s,
        )

    def _listen(self, until_s: float) -> bool:
        """Let time pass up to a moment, or to the next over; True when the DX began one."""
        if min(until_s, self._limit_s) <= self._pileup.now_s:
            return False
        self._takes(self._pileup.advance(min(until_s, self._limit_s), until_over=True))
        return self._over is not None

    def _takes(self, sent: list[Transmission]) -> None:
        overs = [one for one in sent if one.station == 0]
        if overs:
            self._over = overs[-1]
        self.crowd.takes(sent)

    def _send(self, length_s: float) -> None:
        """Stay on the air: deaf."""
        stop_s = self._pileup.now_s + length_s
        self._takes(self._pileup.advance(stop_s))
        self._deaf_until_s = stop_s

    def _power_db(self) -> float:
        return self._snr_at_dx_db + 10.0 * math.log10(self._fade.power(self._pileup.now_s))

    def _turn(self, over: Transmission) -> None:
        """His over ends with everybody's turn: call, listen, call again."""
        pileup, rng = self._pileup, self._rng
        if over.role == "confirm":
            self._contacts += 1
            self._tactic.confirmed(pileup.now_s)
        else:
            self._tactic.broken_off(pileup.now_s)
        if self._listen(over.stop_s):
            return
        self._turns += 1
        open_s = pileup.now_s
        spans: list[tuple[float, float]] = []
        at_s = pileup.now_s + REACTION_S * rng.lognormvariate(0.0, REACTION_SPREAD)
        for _ in range(MOST_CALLS):
            if self._listen(at_s):
                break
            if pileup.now_s >= self._limit_s:
                return
            place_hz = self._tactic.place(pileup.now_s)
            if place_hz is None:
                break
            self._place_hz = place_hz
            spans.append((open_s, pileup.now_s))
            pileup.call(pileup.now_s, place_hz, self._power_db(), self.call, pileup.now_s + self._call_s)
            self._calls += 1
            self._send(self._call_s)
            open_s = pileup.now_s
            if self._over is not None:
                break
            at_s = pileup.now_s + PAUSE_S * rng.lognormvariate(0.0, PAUSE_SPREAD)
        if self._over is None:
            self._listen(self._limit_s)
        end_s = pileup.now_s if self._over is None else min(self._over.start_s, pileup.now_s)
        if end_s > open_s:
            spans.append((open_s, end_s))
        self.crowd.turn(spans)

    def _exchange(self, over: Transmission) -> None:
        """He answers somebody: us, if we notice; else hear where that one replies."""
        pileup, rng = self._pileup, self._rng
        heard = (over.stop_s - max(over.start_s, self._deaf_until_s)) / max(over.stop_s - over.start_s, 0.1)
        mine = pileup.answering == self.call
        self._answered += mine and over.role == "answer"
        fragment = pileup.asked_for
        if self._listen(over.stop_s):
            return
        if mine and heard >= NOTICED and pileup.answering == self.call:
            if self._listen(pileup.now_s + REPLY_DELAY_S * rng.lognormvariate(0.0, 0.25)):
                return
            if fragment is not None:
                length_s = 2.2 * self._call_s
                pileup.call(pileup.now_s, self._place_hz, self._power_db(), self.call, pileup.now_s + length_s)
            else:
                length_s = REPLY_S[self._mode]
                pileup.reply(pileup.now_s, pileup.now_s + length_s, self._place_hz)
            self._send(length_s)
            return
        if mine or (fragment is not None and alike(self.call, fragment)):
            return  # not noticed, or a part that may be ours: the next over tells
        call = pileup.answering
        before_s = pileup.now_s
        sent: list[Transmission] = []
        if pileup.now_s < self._limit_s:
            sent = pileup.advance(self._limit_s, until_over=True)
            self._takes(sent)
        replies = [
            one
            for one in sent
            if one.station
            and pileup.stations[one.station].call == call
            and (one.role == "reply" or (fragment is not None and one.role == "call"))
        ]
        first = min(replies, key=lambda one: one.start_s, default=None)
        heard_from_s = max(before_s, self._deaf_until_s)
        self._tactic.answered(Reply(first, heard_from_s, over.start_s, over.stop_s), self.crowd)


def strength_db(pileup: Pileup, share: float) -> float:
    """SNR at the DX of a station that is weaker than `share` of the callers who are there now, dB in 2500 Hz."""
    there = sorted(10.0 * math.log10(caller.power_at_dx) for caller in pileup.callers)
    place = (1.0 - share) * (len(there) - 1)
    low = int(place)
    high = min(low + 1, len(there) - 1)
    return there[low] + (place - low) * (there[high] - there[low])
