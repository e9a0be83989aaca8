"""The common air of a simulated pile-up: its clock, who sends what and when, and how long that takes."""

from __future__ import annotations

import heapq
import random
from collections.abc import Callable
from typing import Any, Literal, Protocol

import numpy as np
import numpy.typing as npt

from hearmark.simulate import keying
from hearmark.simulate.session import Role, Scenario, Station, Transmission

Phase = Literal["inviting", "turn", "answering", "awaiting", "pause"]
"""What the DX is doing: calling all, listening to all, sending to one, waiting for that one, away for a moment."""


class Durations(Protocol):
    """Real lengths of spoken text."""

    def speech_s(self, text: str, voice: str) -> float:
        """Seconds that `voice` takes to say `text`."""


class Sending:
    """One transmission while it goes on; `stop_s` may come closer when its sender breaks off."""

    __slots__ = (
        "calls",
        "frequency_hz",
        "is_cut",
        "keys",
        "own",
        "power",
        "role",
        "start_s",
        "station",
        "stop_s",
        "take",
        "text",
    )

    def __init__(
        self,
        station: int,
        start_s: float,
        stop_s: float,
        frequency_hz: float,
        text: str,
        role: Role,
        take: int,
        power: float,
        calls: int,
        own: bool,
    ) -> None:
        self.station = station
        self.start_s = start_s
        self.stop_s = stop_s
        self.frequency_hz = frequency_hz
        self.text = text
        self.role = role
        self.take = take
        self.power = power
        """At the DX's receiver, over noise in 2500 Hz; 0 for the DX himself."""
        self.calls = calls
        """How often the sender's call is in it."""
        self.own = own
        self.is_cut = False
        self.keys: npt.NDArray[np.float64] | None = None


class Air:
    """Clock, queue of what happens next, and all sendings so far."""

    def __init__(self, scenario: Scenario, stations: list[Station], durations: Durations | None, keyed: bool) -> None:
        self.scenario = scenario
        self.stations = stations
        self.morse = scenario.mode == "cw"
        self.now_s = 0.0
        self.phase: Phase = "pause"
        self.over_start_s = 0.0
        self.over_stop_s = 0.0
        self.turn = 0
        self.answered = -1
        """Station whom the DX is dealing with, -1 for none."""
        self.sendings: list[Sending] = []
        self.recent: list[Sending] = []
        """Callers' sendings that ended less than some seconds ago or go on."""
        self._durations = durations
        self._keyed = keyed
        self._queue: list[tuple[float, int, Callable[..., None], tuple[Any, ...]]] = []
        self._count = 0
        self._fresh: dict[int, Sending] = {}

    def at(self, time_s: float, action: Callable[..., None], *arguments: Any) -> None:
        """Do `action` at `time_s`, at the earliest now."""
        self._count += 1
        heapq.heappush(self._queue, (max(time_s, self.now_s), self._count, action, arguments))

    def run(self, until_s: float, until_over: bool = False) -> list[Transmission]:
        """Let everything up to `until_s` happen; the transmissions that started or were cut short, in order.

        `until_over`: stay at the moment in which the DX begins to send.
        """
        before_s = self.over_start_s
        while self._queue and self._queue[0][0] <= until_s:
            time_s, _, action, arguments = heapq.heappop(self._queue)
            self.now_s = time_s
            action(*arguments)
            if until_over and self.over_start_s != before_s:
                break
        else:
            self.now_s = max(self.now_s, until_s)
        fresh = [self.transmission(sending) for _, sending in sorted(self._fresh.items()) if not sending.own]
        self._fresh.clear()
        return fresh

    def length_s(self, station: int, text: str) -> float:
        """How long this station takes to send `text`."""
        who = self.stations[station]
        if self.morse:
            return keying.length_s(text, who.speed_wpm, who.fist)
        if self._durations is not None:
            return max(self._durations.speech_s(text, who.voice), 0.2)
        words = text.split()
        return max(sum(0.55 + 0.08 * len(word) for word in words) * 60.0 / who.speed_wpm, 0.2)

    def send(
        self,
        station: int,
        frequency_hz: float,
        text: str,
        role: Role,
        power: float,
        calls: int = 0,
        length_s: float | None = None,
        own: bool = False,
    ) -> Sending:
        """Somebody begins to send now."""
        length = self.length_s(station, text) if length_s is None else length_s
        take = len(self.sendings)
        sending = Sending(station, self.now_s, self.now_s + length, frequency_hz, text, role, take, power, calls, own)
        if length_s is not None and self.morse and not own:
            sending.keys = np.array([[0.0, length]])
        self.sendings.append(sending)
        self._fresh[take] = sending
        if station:
            self.recent.append(sending)
        return sending

    def cut(self, sending: Sending, limit_s: float) -> None:
        """The sender breaks off: whole characters or words that end by `limit_s`, and the one under way now, remain."""
        if sending.keys is not None:
            return
        who = self.stations[sending.station]
        heard_s = self.now_s - sending.start_s
        limit = max(limit_s - sending.start_s, heard_s)
        if self.morse:
            text, keys = keying.cut(sending.text, who.speed_wpm, who.fist, sending.take, heard_s, limit)
            sending.text, sending.keys = text, keys
            sending.stop_s = sending.start_s + float(keys[-1, 1])
        else:
            words = sending.text.split()
            count = max(int(len(words) * limit / (sending.stop_s - sending.start_s)), 1)
            length_s = self.length_s(sending.station, " ".join(words[:count]))
            while length_s < heard_s and count < len(words):
                count += 1
                length_s = self.length_s(sending.station, " ".join(words[:count]))
            sending.text = " ".join(words[:count])
            sending.stop_s = sending.start_s + length_s
        sending.calls = 0
        sending.is_cut = True
        self._fresh[sending.take] = sending

    def forget(self, before_s: float) -> None:
        """Drop from `recent` what ended before `before_s`."""
        self.recent = [sending for sending in self.recent if sending.stop_s >= before_s]

    def transmission(self, sending: Sending) -> Transmission:
        """The fact for others to read, with keying if asked for."""
        keys = None
        if self._keyed and self.morse and not sending.own:
            who = self.stations[sending.station]
            keys = (
                sending.keys
                if sending.keys is not None
                else keying.key(sending.text, who.speed_wpm, who.fist, sending.take)
            )
        return Transmission(
            sending.station, sending.start_s, sending.stop_s, sending.frequency_hz, sending.text, sending.role, keys
        )


def stream(seed: int, index: int) -> random.Random:
    """A generator of one person's own, so that what others do does not change his draws."""
    return random.Random(seed * 1_000_003 + index)
