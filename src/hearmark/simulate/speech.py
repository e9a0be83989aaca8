"""Spoken words as a transmitter sends them: synthetic and recorded voices.

`speak` gives the audio that goes into the modulator: 300 to 2700 Hz, somewhat compressed, at mean power 1 while
talking. Voices "s01" to "s16" come from the synthesiser in the PyPI wheel `espeakng-loader`; "h-en", "h-es", "h-fr",
"h-ru" and their variants ("h-en-2") from human recordings in the Debian packages `asterisk-core-sounds-*-wav`, which
say the spelling alphabet and digits. Any of them can be shifted in pitch: "s03+7" is 7 % higher.
"""

from __future__ import annotations

import _ctypes
import ctypes
import importlib
import io
import math
import re
import threading
import wave
import zlib
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numba
import numpy as np
import numpy.typing as npt
from scipy import fft

from hearmark.errors import HearmarkError

Audio = npt.NDArray[np.float32]
Gain = npt.NDArray[np.float64]

RATE_HZ = 8000
LOW_HZ = 300.0
HIGH_HZ = 2700.0
MOST_SHIFT = 12
"""Percent by which a voice may be shifted; further it no longer sounds like a person."""
_HURRY = 1.3
"""The recordings are single words, carefully read; callers in a pile-up are faster (common practice, no source)."""
RECORDINGS = Path("/usr/share/asterisk/sounds")

ALPHABET = {
    "A": "alfa", "B": "bravo", "C": "charlie", "D": "delta", "E": "echo", "F": "foxtrot", "G": "golf", "H": "hotel",
    "I": "india", "J": "juliett", "K": "kilo", "L": "lima", "M": "mike", "N": "november", "O": "oscar", "P": "papa",
    "Q": "quebec", "R": "romeo", "S": "sierra", "T": "tango", "U": "uniform", "V": "victor", "W": "whiskey",
    "X": "x-ray", "Y": "yankee", "Z": "zulu",
}  # fmt: skip
"""Letter to code word: ITU Radio Regulations, Appendix 14."""
DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")

_LETTERS = {word: letter.lower() for letter, word in ALPHABET.items()} | {
    "alpha": "a", "juliet": "j", "xray": "x", "whisky": "w", "america": "a", "boston": "b", "canada": "c",
    "denmark": "d", "england": "e", "france": "f", "germany": "g", "honolulu": "h", "italy": "i", "japan": "j",
    "kilowatt": "k", "london": "l", "mexico": "m", "norway": "n", "ontario": "o", "portugal": "p", "queen": "q",
    "radio": "r", "roger": "r", "santiago": "s", "spain": "s", "tokyo": "t", "united": "u",
    "victoria": "v", "washington": "w", "yokohama": "y", "zanzibar": "z",
}  # fmt: skip
_NUMBERS = {word: str(n) for n, word in enumerate(DIGITS)} | {"niner": "9", "fife": "5"}
_SPARE = ("hello", "goodbye", "your", "with", "for", "is", "number", "time", "minute", "location", "second", "hours")
"""Recorded words that stand in for others: what is said matters less than that somebody talks."""
_SIGNS = {"/": "stroke", "?": ""}


@dataclass(frozen=True, slots=True)
class Voice:
    """How one operator sounds.

    `speaker`: the synthesiser's voice, or the language of the recordings. `speed_wpm`, `pitch` (0-99), `lilt` (0-99,
    range of pitch): synthesiser only. `scale`: played that much faster, so that pitch and formants rise together.
    `tilt_db`: response at 2700 Hz over that at 300 Hz; `bump_hz`, `bump_db`: a resonance of the microphone.
    `squeeze`: 0 leaves the level alone, 1 makes it constant.
    """

    name: str
    speaker: str
    human: bool = False
    speed_wpm: int = 175
    pitch: int = 50
    lilt: int = 50
    scale: float = 1.0
    tilt_db: float = 0.0
    bump_hz: float = 1500.0
    bump_db: float = 0.0
    squeeze: float = 0.4


_SYNTHETIC = (
    Voice("s01", "en-us", False, 180, 42, 45, 1.00, 3, 1800, 3, 0.40),
    Voice("s02", "en-gb-x-rp", False, 190, 38, 55, 0.97, 6, 2100, 5, 0.55),
    Voice("s03", "en-us+f3", False, 185, 55, 60, 1.02, 2, 1400, 2, 0.35),
    Voice("s04", "de", False, 185, 40, 40, 0.95, 8, 2300, 6, 0.70),
    Voice("s05", "it", False, 200, 48, 70, 1.03, 0, 1200, 4, 0.50),
    Voice("s06", "es-419", False, 195, 35, 60, 0.92, 5, 1700, 0, 0.45),
    Voice("s07", "pl", False, 190, 45, 45, 1.05, 9, 2000, 7, 0.65),
    Voice("s08", "ru", False, 185, 30, 50, 0.90, -3, 900, 3, 0.60),
    Voice("s09", "en-029", False, 175, 50, 75, 1.08, 4, 1600, 4, 0.30),
    Voice("s10", "en-us+m7", False, 205, 33, 35, 0.94, 10, 2500, 6, 0.75),
    Voice("s11", "sv", False, 180, 52, 80, 1.06, 1, 1300, 0, 0.25),
    Voice("s12", "pt-br+f2", False, 195, 60, 65, 1.00, 6, 1900, 5, 0.50),
    Voice("s13", "en-gb-scotland+m3", False, 170, 28, 50, 0.93, 3, 2200, 8, 0.55),
    Voice("s14", "cs", False, 170, 44, 40, 0.98, 7, 1500, 2, 0.60),
    Voice("s15", "en-us+klatt2", False, 185, 36, 45, 1.04, -2, 1000, 4, 0.20),
    Voice("s16", "fr+m2", False, 180, 41, 60, 1.10, 5, 2400, 5, 0.65),
)
_HUMAN = tuple(
    Voice(f"h-{language}{suffix}", language, True, scale=scale, tilt_db=tilt, bump_hz=bump, bump_db=4, squeeze=squeeze)
    for language in ("en", "es", "fr", "ru")
    for suffix, scale, tilt, bump, squeeze in (
        ("", 1.0, 3.0, 1800.0, 0.4), ("-2", 0.88, 7.0, 2200.0, 0.6), ("-3", 1.10, 0.0, 1300.0, 0.5),
    )
)  # fmt: skip
VOICES = {voice.name: voice for voice in _SYNTHETIC + _HUMAN}
SYNTHETIC_VOICES = tuple(voice.name for voice in _SYNTHETIC)
HUMAN_VOICES = tuple(voice.name for voice in _HUMAN)


def speak(text: str, voice: str, rate_hz: int = RATE_HZ) -> Audio:
    """Audio of `text` in `voice`, float32 (n,), mean power 1 while talking; read-only, as repeats share it.

    Calls ("7Q7XYZ") and reports ("59") are spelled, other words spoken. A recorded voice puts another word where it
    lacks one, and leaves out short ones.
    Errors: HearmarkError for an unknown voice, or recordings that are not installed.
    """
    audio = _spoken(text, voice)
    if rate_hz != RATE_HZ:
        audio = np.asarray(_resampled(audio, RATE_HZ / rate_hz, _KERNEL))
    return audio


def speech_s(text: str, voice: str) -> float:
    """How long `voice` takes to say `text`, in seconds."""
    return len(_spoken(text, voice)) / RATE_HZ


def human_voices() -> tuple[str, ...]:
    """The recorded voices that are installed here."""
    return tuple(name for name in HUMAN_VOICES if _folder(VOICES[name].speaker) is not None)


def words(text: str) -> list[str]:
    """The spoken words of `text`: calls and figures spelled out, the rest in lower case."""
    spoken: list[str] = []
    for token in re.findall(r"[A-Za-z0-9/'-]+", text):
        letters = token.replace("/", "")
        spell = any(c.isdigit() for c in letters) or (token.isupper() and (len(letters) == 1 or "/" in token))
        if spell and token.lower() not in _LETTERS:
            spoken += [w for c in token.upper() if (w := ALPHABET.get(c) or _SIGNS.get(c) or _digit(c))]
        else:
            spoken.append(token.lower())
    return spoken


def _digit(character: str) -> str:
    return DIGITS[int(character)] if character.isdigit() else ""


@lru_cache(maxsize=4096)
def _spoken(text: str, name: str) -> Audio:
    voice = _voice(name)
    said = words(text)
    raw = _recorded(said, voice) if voice.human else _synthetic(said, voice)
    audio = _transmitted(raw, voice)
    audio.flags.writeable = False
    return audio


def _voice(name: str) -> Voice:
    """The voice called `name`; "s03+7" is s03 with everything 7 % higher and faster, "s03-7" lower and slower."""
    if name in VOICES:
        return VOICES[name]
    shifted = re.fullmatch(r"(.+)([+-]\d{1,2})", name)
    base = VOICES.get(shifted[1]) if shifted else None
    percent = int(shifted[2]) if shifted else 0
    if base is None or not -MOST_SHIFT <= percent <= MOST_SHIFT:
        raise HearmarkError(
            f"Voice {name!r} is not known; choose one of: {', '.join(VOICES)}; or one of them shifted by up to "
            f"{MOST_SHIFT} percent, like s03+7."
        )
    return replace(base, name=name, scale=base.scale * (1 + percent / 100))


def _transmitted(raw: Audio, voice: Voice) -> Audio:
    """Microphone response, compression, band limit, level."""
    if len(raw) == 0 or not np.any(raw):
        return np.zeros(0, np.float32)
    shaped = _filtered(raw, voice)
    shaped = shaped / np.float32(np.sqrt(speech_power(shaped, RATE_HZ)))
    return _level(_filtered(_compressed(shaped, np.float32(voice.squeeze), RATE_HZ), None))


def fast_size(count: int) -> int:
    """The next length that a Fourier transform likes: 2^n, 3 2^n or 5 2^n."""
    return min(m << max(0, (-(-count // m) - 1).bit_length()) for m in (1, 3, 5))


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


def band(f_hz: Gain, low_hz: float, high_hz: float, edge_hz: float = 80.0) -> Gain:
    """Gain over frequency: 1 inside `low_hz` to `high_hz`, raised-cosine down to 0 within `edge_hz` outside."""
    inside = np.clip(np.minimum(f_hz - low_hz, high_hz - f_hz) / edge_hz + 1.0, 0.0, 1.0)
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * inside))


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


@numba.njit(cache=True, nogil=True)
def _activity(audio: Audio, rate_hz: float, thresholds: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
    counts = np.zeros(len(thresholds), np.int64)
    quiet = np.full(len(thresholds), 1 << 40, np.int64)
    g = np.exp(-1.0 / (0.03 * rate_hz))
    hang = int(0.2 * rate_hz)
    p = 0.0
    q = 0.0
    for k in range(len(audio)):
        p = g * p + (1 - g) * abs(audio[k])
        q = g * q + (1 - g) * p
        for j in range(len(thresholds)):
            if q >= thresholds[j]:
                quiet[j] = 0
                counts[j] += 1
            elif quiet[j] < hang:
                quiet[j] += 1
                counts[j] += 1
    return counts


def speech_power(audio: Audio, rate_hz: float) -> float:
    """Mean power while talking: the active speech level of ITU-T P.56, method B (constants from memory).

    Time constant 30 ms, hangover 0.2 s, margin 15.9 dB between level and threshold.
    """
    energy = float(np.sum(np.asarray(audio, dtype=np.float64) ** 2))
    peak = float(np.max(np.abs(audio), initial=0.0))
    if peak == 0.0:
        raise HearmarkError("Silence has no speech level; give audio with some speech in it.")
    thresholds = peak * 2.0 ** -np.arange(14.0, -1.0, -1.0)
    counts = _activity(np.asarray(audio, dtype=np.float32), rate_hz, thresholds)
    best = energy / max(int(counts[0]), 1)
    previous: tuple[float, float] | None = None
    for threshold, count in zip(thresholds, counts, strict=True):
        if count == 0:
            break
        level_db = 10 * np.log10(energy / count)
        margin = level_db - 20 * np.log10(threshold)
        if margin <= 15.9:
            if previous is None:
                return float(10 ** (level_db / 10))
            share = (previous[1] - 15.9) / (previous[1] - margin)
            return float(10 ** ((previous[0] + share * (level_db - previous[0])) / 10))
        previous = (level_db, margin)
        best = energy / count
    return float(best)


def _scaled(audio: Audio, rate_hz: float, scale: float) -> Audio:
    """`audio` at `rate_hz` brought to 8 kHz and played `scale` times faster."""
    step = rate_hz * scale / RATE_HZ
    return audio if step == 1.0 else np.asarray(_resampled(audio, step, _KERNEL))


_KERNEL: Gain = np.sinc(np.arange(-12 * 256, 12 * 256 + 1) / 256) * np.kaiser(2 * 12 * 256 + 1, 7.0)
"""A windowed sinc of 12 zeros to each side, 256 entries from zero to zero."""


@numba.njit(cache=True, nogil=True)
def _resampled(audio: Audio, step: float, kernel: Gain) -> Audio:
    """`audio` at every `step`-th sample, between samples too; band-limited to the lower of the two rates."""
    count = int(len(audio) / step)
    out = np.empty(count, np.float32)
    slow = 0.95 * min(1.0, 1.0 / step)
    reach = 12 / slow
    for k in range(count):
        t = k * step
        total = 0.0
        for m in range(max(0, math.ceil(t - reach)), min(len(audio), math.floor(t + reach) + 1)):
            total += audio[m] * kernel[round((m - t) * slow * 256) + 12 * 256]
        out[k] = total * slow
    return out


_LIBRARY = threading.Lock()
_Receive = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p)


def _synthetic(said: list[str], voice: Voice) -> Audio:
    """What the synthesiser says.

    The library keeps the phase of its generators and of its pitch flutter from one utterance to the next. It is loaded
    afresh for each (4 ms), so that a text sounds the same whatever was said before.
    """
    loader: Any = importlib.import_module("espeakng_loader")
    parts: list[npt.NDArray[np.int16]] = []

    def take(samples: ctypes._Pointer[ctypes.c_short], count: int, _events: int | None) -> int:
        if samples and count > 0:
            parts.append(np.ctypeslib.as_array(samples, (count,)).copy())
        return 0

    receive = _Receive(take)
    with _LIBRARY:
        library = ctypes.CDLL(loader.get_library_path())
        try:
            # 2: hand the samples over and return when done. 0x8000: do not exit the process on error.
            rate_hz = library.espeak_Initialize(2, 0, loader.get_data_path().encode(), 0x8000)
            if rate_hz <= 0 or library.espeak_SetVoiceByName(voice.speaker.encode()) != 0:
                raise HearmarkError(f"The synthesiser has no voice {voice.speaker!r}; reinstall espeakng-loader.")
            library.espeak_SetSynthCallback(receive)
            library.espeak_ng_SetRandSeed(ctypes.c_long(1))
            for parameter, value in ((1, voice.speed_wpm), (3, voice.pitch), (4, voice.lilt)):
                library.espeak_SetParameter(parameter, value, 0)
            data = " ".join(said).encode() + b"\0"
            library.espeak_Synth(data, len(data), 0, 0, 0, 1, None, None)
            library.espeak_Synchronize()
            library.espeak_Terminate()
        finally:
            if hasattr(_ctypes, "dlclose"):
                _ctypes.dlclose(library._handle)
    if not parts:
        return np.zeros(0, np.float32)
    return _trimmed(_scaled(np.concatenate(parts).astype(np.float32), float(rate_hz), voice.scale))


def _trimmed(audio: Audio, share: float = 0.02, keep_s: float = 0.02) -> Audio:
    """Without the silence at both ends: where 10 ms of it stay below `share` of the loudest."""
    frame = RATE_HZ // 100
    count = len(audio) // frame
    if count == 0:
        return audio
    level = np.sqrt(np.mean(audio[: count * frame].reshape(count, frame) ** 2, axis=1))
    loud = np.flatnonzero(level > share * level.max())
    if len(loud) == 0:
        return audio[:0]
    keep = round(keep_s * RATE_HZ)
    return audio[max(0, loud[0] * frame - keep) : (loud[-1] + 1) * frame + keep]


@lru_cache(maxsize=8)
def _folder(language: str) -> Path | None:
    found = sorted(p for p in RECORDINGS.glob(f"{language}*") if (p / "phonetic").is_dir())
    return found[0] if found else None


@lru_cache(maxsize=512)
def _clip(path: Path) -> Audio:
    with wave.open(io.BytesIO(path.read_bytes())) as clip:
        samples = np.frombuffer(clip.readframes(clip.getnframes()), np.int16).astype(np.float32)
        return _trimmed(_scaled(samples, clip.getframerate(), 1.0), share=0.05, keep_s=0.01)


def _recorded(said: list[str], voice: Voice) -> Audio:
    folder = _folder(voice.speaker)
    if folder is None:
        raise HearmarkError(
            f"Voice {voice.name!r} needs recordings that are not installed; install the Debian package "
            f"asterisk-core-sounds-{voice.speaker}-wav, or choose a synthetic voice (s01 to s{len(_SYNTHETIC):02d})."
        )
    heavy = [word for word in said if len(word) > 3 or word in _NUMBERS]  # short words would take as long as others
    parts = [_clip(path) for word in heavy or said if (path := _recording(folder, word)) is not None]
    if not parts:
        return np.zeros(0, np.float32)
    return _hurried(_scaled(np.concatenate(parts), RATE_HZ, voice.scale), _HURRY)


@lru_cache(maxsize=4096)
def _recording(folder: Path, word: str) -> Path | None:
    """The file in which `word` is said, or one that stands in for it; None if there is neither."""
    letter, number = _LETTERS.get(word), _NUMBERS.get(word)
    names = [f"phonetic/{letter}_p" if letter else f"digits/{number}" if number else word]
    first = zlib.crc32(word.encode())
    names += [_SPARE[(first + k) % len(_SPARE)] for k in range(len(_SPARE))]
    return next((path for name in names if (path := folder / f"{name}.wav").is_file()), None)


def _hurried(audio: Audio, factor: float) -> Audio:
    """`audio` in 1 / `factor` of the time at the same pitch, from overlapping 30 ms pieces (WSOLA)."""
    piece, reach = 240, 80
    hop = piece // 2
    count = int((len(audio) - piece - reach) / (hop * factor))
    if count < 2:
        return audio
    fade = np.hanning(piece + 1)[:piece].astype(np.float32)
    out = np.zeros((count + 1) * hop, np.float32)
    at = 0
    for k in range(count):
        if k:
            wanted = audio[at + hop : at + hop + piece]
            low = max(0, round(k * hop * factor) - reach)
            fit = np.correlate(audio[low : low + piece + 2 * reach], wanted, "valid")
            at = low + int(np.argmax(fit))
        out[k * hop : k * hop + piece] += fade * audio[at : at + piece]
    return out
