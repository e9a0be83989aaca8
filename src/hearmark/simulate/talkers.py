"""Voices side by side in one band, each at an exact place and level: for measuring how well voices are placed.

Single sideband with suppressed carrier. Levels are mean power while talking (ITU-T P.56), before fading, against noise
in 2500 Hz.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from hearmark.events import ComplexArray
from hearmark.simulate import speech
from hearmark.simulate.audio import RATE_HZ, fast_size
from hearmark.simulate.channel import draw


@dataclass(frozen=True, slots=True)
class Talker:
    """One transmission of `voice` (see `speech`) on the suppressed carrier `dial_hz`."""

    text: str
    voice: str
    dial_hz: float
    snr_db: float
    start_s: float
    seconds: float
    channel: str = "flat"
    lower: bool = False

    @property
    def stop_s(self) -> float:
        """When it is cut off."""
        return self.start_s + self.seconds


def band(
    talkers: list[Talker], seconds: float, rate_hz: float, center_hz: float, rng: np.random.Generator
) -> ComplexArray:
    """Samples (complex64) of all voices in white noise of density 1 a hertz; `rate_hz` a multiple of 8 kHz."""
    count = round(seconds * rate_hz)
    noise = rng.standard_normal((count, 2), dtype=np.float32).view(np.complex64)[:, 0]
    samples = np.asarray(noise * np.float32(np.sqrt(rate_hz / 2.0)))
    for talker in talkers:
        audio = speech.speak(talker.text, talker.voice)
        audio = np.array(audio[: round(talker.seconds * RATE_HZ)])
        fade = min(80, len(audio))
        audio[len(audio) - fade :] *= np.linspace(1.0, 0.0, fade, dtype=np.float32)
        size = fast_size(len(audio) + 800)
        spectrum = fft.fft(audio, size)
        f_hz = np.fft.fftfreq(size, 1.0 / RATE_HZ)
        spectrum[(f_hz > 0) if talker.lower else (f_hz < 0)] = 0.0
        body = np.asarray(2.0**0.5 * fft.ifft(spectrum)[: len(audio) + 400], np.complex64)
        body *= np.float32(np.sqrt(2500.0 * 10 ** (talker.snr_db / 10)))
        fading = draw(talker.channel, talker.stop_s + 1.0, rng)
        body = fading.apply(body, talker.start_s, RATE_HZ, talker.dial_hz)
        wide_size = fast_size(len(body) + 400)
        ratio = round(rate_hz / RATE_HZ)
        low = fft.fft(body, wide_size)
        wide = np.zeros(wide_size * ratio, np.complex64)
        half = wide_size // 2
        wide[:half], wide[-half:] = low[:half], low[-half:]
        sent = fft.ifft(wide)[: len(body) * ratio] * np.float32(ratio)
        first = round(talker.start_s * rate_hz)
        sent = sent[: max(0, count - first)]
        t = (first + np.arange(len(sent))) / rate_hz
        turn = np.exp(2j * np.pi * ((talker.dial_hz - center_hz) * t + rng.uniform()))
        samples[first : first + len(sent)] += (sent * turn).astype(np.complex64)
    return samples
