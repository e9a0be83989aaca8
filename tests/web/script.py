"""A scripted pile-up for the page: I/Q with a few tones, and an engine that says what is written down.

Calls are invented: they begin with Q, which the ITU allots to nobody (Radio Regulations, Appendix 42).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from hearmark.events import Advice, Answer, Block, Ear, Emission, Event, Note, Over, Row, Turn
from hearmark.web.live import View

RATE_HZ = 48_000.0
DX_HZ = 18_143_500.0
CENTER_HZ = 18_147_000.0
CYCLE_S = 12.0
CALLS = ("QA1XYZ", "QB2KO", "QE7VLT", "QF3AR", "QH5JMN", "QK9BW", "QL0TTS", "QN4EE", "QO6DRA", "QR8UV")
VIEW = View(
    title="Scripted pile-up",
    dx_hz=DX_HZ,
    mode="usb",
    window_low_hz=DX_HZ + 5000,
    window_high_hz=DX_HZ + 10_000,
    transmit_hz=DX_HZ + 6800,
    pausable=True,
)


def answer_hz(turn: int) -> float:
    """He creeps up by about 200 Hz a turn, and begins again at the bottom."""
    return DX_HZ + 5400 + (turn * 230) % 4300 + 90 * np.sin(turn * 2.3)


def belief(time_s: float, middle_hz: float, spread_hz: float) -> Ear:
    grid = np.arange(DX_HZ + 5000, DX_HZ + 10_001, 20.0)
    hill = np.exp(-0.5 * ((grid - middle_hz) / spread_hz) ** 2) + 0.35 * np.exp(
        -0.5 * ((grid - DX_HZ - 9100) / 420) ** 2
    )
    density = 0.85 * hill / hill.sum() / 20 + 0.15 / len(grid) / 20
    return Ear(time_s, grid, density, "step")


def script(turns: int) -> list[tuple[float, Event]]:
    """All events with the time at which the engine says them."""
    rng = np.random.default_rng(3)
    said: list[tuple[float, Event]] = []
    for n in range(turns):
        t, hz, call = n * CYCLE_S, answer_hz(n), CALLS[n % len(CALLS)]
        crowd = DX_HZ + rng.uniform(5000, 10_000, 14)
        over = Over(2 * n, t, None, DX_HZ)
        said.append((t, over))
        said.append((t + 1.5, replace(over, stop_s=t + 1.5, text="TU QRZ UP", kind="call", kind_probability=0.9)))
        turn = Turn(n, t + 1.5, None, 2 * n)
        said.append((t + 1.6, turn))
        said.append(
            (
                t + 1.7,
                Advice(
                    t + 1.7,
                    "call",
                    answer_hz(n) + 40,
                    0.31,
                    "He listens, and he has stepped up 200 to 250 Hz each time.",
                ),
            )
        )
        for k, f in enumerate(crowd):
            said.append((t + 3.4, Emission(100 * n + k, t + 1.6 + 0.1 * k, t + 3.2, float(f), "voice", 8.0)))
        said.append((t + 4.0, Advice(t + 4.0, "wait", answer_hz(n) + 40, 0.31, "He sends.")))
        second = Over(2 * n + 1, t + 4.0, None, DX_HZ)
        said.append((t + 4.0, second))
        said.append((t + 6.0, replace(second, stop_s=t + 6.0, text=f"{call} 59", kind="answer", kind_probability=0.95)))
        said.append(
            (
                t + 6.1,
                Advice(
                    t + 6.1, "listen", answer_hz(n) + 40, None, "He has answered somebody: find where that one replies."
                ),
            )
        )
        doubt = Answer(n, t + 6.3, None, t + 7.2, hz + 30, 0.4, None, None, n)
        said.append((t + 7.2, doubt))
        sure = replace(doubt, stop_s=t + 9.0, frequency_hz=hz, confidence=0.92 if n % 7 != 3 else 0.44, call=call)
        said.append((t + 8.4, sure))
        if n % 7 == 5:
            said.append((t + 9.5, replace(sure, retracted_at_s=t + 9.5)))
        said.append((t + 8.5, belief(t + 8.5, answer_hz(n + 1), 170)))
        said.append(
            (
                t + 8.6,
                Advice(
                    t + 8.6,
                    "move",
                    answer_hz(n + 1),
                    0.29,
                    "He answered there, and steps up by 200 to 250 Hz each time.",
                ),
            )
        )
        said.append((t + 11.9, replace(turn, stop_s=t + 11.9, callers=14)))
    return sorted(said, key=lambda pair: pair[0])


class ScriptedEngine:
    """Says what the script holds once its time has come; marks and unmarks by hand."""

    def __init__(self, turns: int = 40, row_step_s: float = 0.1) -> None:
        self.said = script(turns)
        self.at = 0
        self.next_row_s = 0.0
        self.row_step_s = row_step_s
        self.rng = np.random.default_rng(5)
        self.notes: list[Note] = []
        self.answers: dict[int, Answer] = {}

    def feed(self, event: Event) -> list[Event]:
        if isinstance(event, Note):
            self.notes.append(event)
            if event.text == "mark" and event.frequency_hz is not None:
                made = Answer(
                    9000 + len(self.notes),
                    event.time_s,
                    event.time_s,
                    event.time_s,
                    event.frequency_hz,
                    1.0,
                    by="operator",
                )
                return self._keep([made])
            if event.text == "unmark" and event.answer in self.answers:
                return self._keep([replace(self.answers[event.answer], retracted_at_s=event.time_s)])
            return []
        if not isinstance(event, Block):
            return []
        out: list[Event] = []
        while self.at < len(self.said) and self.said[self.at][0] <= event.stop_s:
            out.append(self.said[self.at][1])
            self.at += 1
        if event.stop_s - self.next_row_s > 120:
            self.next_row_s = event.stop_s - 80
        while self.next_row_s <= event.stop_s:
            out.append(self._row(self.next_row_s))
            self.next_row_s += self.row_step_s
        return self._keep(out)

    def _keep(self, events: list[Event]) -> list[Event]:
        self.answers.update({e.id: e for e in events if isinstance(e, Answer)})
        return events

    def _row(self, time_s: float) -> Row:
        n, phase = divmod(time_s, CYCLE_S)
        power = self.rng.exponential(1.0, 500)
        crowd = np.random.default_rng(int(n)).uniform(5000, 10_000, 14)
        talking = [(hz, 25.0) for hz in crowd] if 1.6 < phase < 3.4 else []
        if 6.3 < phase < 9.0:
            talking = [(answer_hz(int(n)) - DX_HZ, 80.0)]
        for hz, strength in talking:
            bins = np.arange(int(hz / 25) + 12, min(int(hz / 25) + 100, 500))
            power[bins] += strength * np.exp(-(bins - bins[0]) / 40) * self.rng.exponential(1.0, len(bins))
        return Row(time_s, DX_HZ, 25.0, (10 * np.log10(power)).astype(np.float32))


def stream(start_s: float = 0.0, duration_s: float = 600.0, block_s: float = 0.05) -> Iterator[Block]:
    """I/Q: the DX and one caller, each a 1000 and 1400 Hz tone in their sidebands, in steady noise."""
    rng = np.random.default_rng(11)
    size = int(block_s * RATE_HZ)
    first = int(start_s * RATE_HZ)
    spot_hz = VIEW.transmit_hz
    assert spot_hz is not None
    while first < (start_s + duration_s) * RATE_HZ:
        t = (first + np.arange(size)) / RATE_HZ
        noise = rng.standard_normal((2, size)).astype(np.float32) * 1e-3
        dx = 0.05 * np.exp(2j * np.pi * ((DX_HZ - CENTER_HZ + 1000) * t))
        caller = 0.01 * np.exp(2j * np.pi * ((spot_hz - CENTER_HZ + 1400) * t))
        yield Block(first, RATE_HZ, CENTER_HZ, (dx + caller + noise[0] + 1j * noise[1]).astype(np.complex64))
        first += size
