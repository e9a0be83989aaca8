"""Spoken words as a transmitter sends them: synthetic and recorded voices.

`speak` gives the audio that goes into the modulator: 300 to 2700 Hz, somewhat compressed, at mean power 1 while
talking. Voices "s01" to "s16" are synthetic; "h-en", "h-es", "h-fr", "h-ru" and their variants ("h-en-2") are human
recordings. Any of them can be shifted in pitch: "s03+7" is 7 % higher. The module itself serves as the `durations` of
`people.play`.
"""

from __future__ import annotations

from functools import lru_cache

import numba
import numpy as np
from scipy import fft

from hearmark.simulate import voices
from hearmark.simulate.audio import RATE_HZ, Audio, band, fast_size, resampled, speech_power
from hearmark.simulate.recorded import recorded
from hearmark.simulate.spelling import words
from hearmark.simulate.synthesiser import synthetic
from hearmark.simulate.voices import Voice

LOW_HZ = 300.0
HIGH_HZ = 2700.0


def speak(text: str, voice: str, rate_hz: int = RATE_HZ) -> Audio:
    """Audio of `text` in `voice`, float32 (n,), mean power 1 while talking; read-only, as repeats share it.

    Calls ("7Q7XYZ") and reports ("59") are spelled, other words spoken. A recorded voice puts another word where it
    lacks one, and leaves out short ones.
    Errors: HearmarkError for an unknown voice, or recordings that are not installed.
    """
    audio = _spoken(text, voice)
    if rate_hz != RATE_HZ:
        audio = resampled(audio, RATE_HZ / rate_hz)
    return audio


def speech_s(text: str, voice: str) -> float:
    """How long `voice` takes to say `text`, in seconds."""
    return len(_spoken(text, voice)) / RATE_HZ


@lru_cache(maxsize=4096)
def _spoken(text: str, name: str) -> Audio:
    voice = voices.find(name)
    said = words(text)
    raw = recorded(said, voice) if voice.human else synthetic(said, voice)
    audio = _transmitted(raw, voice)
    audio.flags.writeable = False
    return audio


def _transmitted(raw: Audio, voice: Voice) -> Audio:
    """Microphone response, compression, band limit, level."""
    if len(raw) == 0 or not np.any(raw):
        return np.zeros(0, np.float32)
    shaped = _filtered(raw, voice)
    shaped = shaped / np.float32(np.sqrt(speech_power(shaped, RATE_HZ)))
    return _level(_filtered(_compressed(shaped, np.float32(voice.squeeze), RATE_HZ), None))


def _level(audio: Audio) -> Audio:
    return np.asarray(audio / np.sqrt(speech_power(audio, RATE_HZ)), dtype=np.float32)


def _filtered(audio: Audio, voice: Voice | None) -> Audio:
    """Band 300 to 2700 Hz, with the microphone's response if `voice` is given."""
    size = fast_size(len(audio) + 800)
    f_hz = np.asarray(fft.rfftfreq(size, 1 / RATE_HZ))
    gain = band(f_hz, LOW_HZ, HIGH_HZ)
    if voice is not None:
        octaves = np.log2(np.maximum(f_hz, 100.0) / LOW_HZ) / np.log2(HIGH_HZ / LOW_HZ)
        bump = voice.bump_db * np.exp(-(((f_hz - voice.bump_hz) / 350.0) ** 2))
        gain = gain * 10 ** ((voice.tilt_db * octaves + bump) / 20)
    spectrum = fft.rfft(audio, size) * gain.astype(np.float32)
    return np.asarray(fft.irfft(spectrum, size)[: len(audio)], dtype=np.float32)


@numba.njit(cache=True, nogil=True)
def _compressed(audio: Audio, squeeze: np.float32, rate_hz: float) -> Audio:
    """Speech compressor: level follows within 4 ms up and 120 ms down; gain = level ** -squeeze, softly clipped."""
    out = np.empty_like(audio)
    up = 1.0 - np.exp(-1.0 / (0.004 * rate_hz))
    down = 1.0 - np.exp(-1.0 / (0.120 * rate_hz))
    level = 0.3
    for k in range(len(audio)):
        x = abs(audio[k])
        level += (x - level) * (up if x > level else down)
        y = audio[k] * max(level, 0.03) ** (-squeeze)
        out[k] = 2.5 * np.tanh(y / 2.5)
    return out
