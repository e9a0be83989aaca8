"""Keyed stations side by side in one band, each at an exact level: for measuring how well Morse is read.

A hand here has no habits but the stated ones: dots that vary by a tenth, dashes of 2.6 to 3.6 units, gaps that vary by
15 % (how far people stray: common practice, no source). Levels are of the key held down, against noise in 500 Hz.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from hearmark.events import ComplexArray
from hearmark.simulate import calls
from hearmark.simulate.channel import draw
from hearmark.simulate.keying import CODES
from hearmark.simulate.texts import Talk
from hearmark.units import dit_s

REFERENCE_WPM = 25.0
_PURPOSES = ("cq", "answer", "confirm", "call", "full", "reply", "reply call", "confirm call")


@dataclass(frozen=True, slots=True)
class Keyer:
    """One transmission. `times_s`: key-down and key-up, (n, 2), on the clock of the band; `snr_db` in 500 Hz."""

    text: str
    wpm: float
    frequency_hz: float
    snr_db: float
    times_s: npt.NDArray[np.float64] = field(repr=False)
    channel: str = "flat"

    @property
    def start_s(self) -> float:
        """First key-down."""
        return float(self.times_s[0, 0])

    @property
    def stop_s(self) -> float:
        """Last key-up."""
        return float(self.times_s[-1, 1])


def at_speed_db(wpm: float) -> float:
    """A station of this speed has as much energy in a dot as one at 25 WPM if it is so much stronger, dB."""
    return 10.0 * float(np.log10(wpm / REFERENCE_WPM))


def hand(text: str, wpm: float, start_s: float, rng: np.random.Generator) -> npt.NDArray[np.float64]:
    """Key times of `text` (one space between words) by a hand drawn from `rng`; gaps of 1, 3 and 7 units on average."""
    dash_units = rng.uniform(2.6, 3.6)
    marks: list[float] = []
    gaps: list[float] = []
    for letter in text:
        if letter == " ":
            gaps[-1] = 7.0
            continue
        code = CODES[letter]
        marks += [1.0 if element == "." else dash_units for element in code]
        gaps += [1.0] * (len(code) - 1) + [3.0]
    on = np.array(marks) * np.maximum(0.4, 1.0 + 0.10 * rng.standard_normal(len(marks)))
    off = np.array(gaps) * np.maximum(0.4, 1.0 + 0.15 * rng.standard_normal(len(gaps)))
    ups = np.cumsum(on + off) - off
    return np.asarray(start_s + dit_s(wpm) * np.stack([ups - on, ups], axis=1))


def groups(rng: random.Random, letters: int) -> str:
    """Random groups of five letters and figures, some `letters` characters in all."""
    alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
    return " ".join("".join(rng.choice(alphabet) for _ in range(5)) for _ in range(max(1, letters // 6)))


def exchanges(rng: random.Random, letters: int) -> str:
    """What is sent in a pile-up, calls and reports, some `letters` characters in all."""
    words: list[str] = []
    while sum(len(word) + 1 for word in words) < letters:
        talk = Talk("cw", 1.0, rng)
        own, dx = calls.caller(rng)[0], calls.rare(rng)
        said = talk.say(rng.choice(_PURPOSES), own, dx, rng.choice(("UP", "UP 1", "UP 2 5", "DWN")))  # type: ignore[arg-type]
        words += [word for word in said.split() if "<" not in word]
    return " ".join(words)


def band(
    keyers: list[Keyer], seconds: float, rate_hz: float, center_hz: float, rng: np.random.Generator,
    edge_s: float = 0.005,
) -> tuple[ComplexArray, list[float]]:  # fmt: skip
    """Samples (complex64) of all stations in white noise of density 1 a hertz, and of each transmission its own SNR in
    500 Hz, dB: mean power while keyed as the fading left it. Edges are raised cosines of `edge_s`."""
    count = round(seconds * rate_hz)
    noise = rng.standard_normal((count, 2), dtype=np.float32).view(np.complex64)[:, 0]
    samples = np.asarray(noise * np.float32(np.sqrt(rate_hz / 2.0)))
    edge = np.hanning(round(edge_s * rate_hz) + 2)[1:-1]
    own_db = []
    for keyer in keyers:
        first = max(0, int((keyer.start_s - 0.1) * rate_hz))
        last = min(count, int((keyer.stop_s + 0.1) * rate_hz))
        key = np.zeros(last - first, np.float32)
        for down, up in keyer.times_s:
            key[max(0, round(down * rate_hz) - first) : max(0, round(up * rate_hz) - first)] = 1.0
        t = (first + np.arange(last - first)) / rate_hz
        level = np.sqrt(500.0 * 10 ** (keyer.snr_db / 10))
        turn = np.exp(2j * np.pi * ((keyer.frequency_hz - center_hz) * t + rng.uniform()))
        sent = (level * np.convolve(key, edge / edge.sum(), "same") * turn).astype(np.complex64)
        heard = draw(keyer.channel, last / rate_hz + 1.0, rng).apply(sent, first / rate_hz, rate_hz, keyer.frequency_hz)
        heard = heard[: count - first]
        samples[first : first + len(heard)] += heard
        power = float(np.mean(np.abs(heard[: len(key)][key[: len(heard)] > 0.5]) ** 2))
        own_db.append(10.0 * float(np.log10(power / 500.0)))
    return samples, own_db
