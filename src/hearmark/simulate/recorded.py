"""Words that people have recorded: the Debian packages `asterisk-core-sounds-*-wav`, spelling alphabet and digits."""

from __future__ import annotations

import io
import wave
import zlib
from functools import lru_cache
from pathlib import Path

import numpy as np

from hearmark.errors import HearmarkError
from hearmark.simulate.audio import RATE_HZ, Audio, hurried, scaled, trimmed
from hearmark.simulate.spelling import LETTERS, NUMBERS
from hearmark.simulate.voices import HUMAN_VOICES, SYNTHETIC_VOICES, VOICES, Voice

RECORDINGS = Path("/usr/share/asterisk/sounds")
HURRY = 1.3
"""The recordings are single words, carefully read; callers in a pile-up are faster (common practice, no source)."""
_SPARE = ("hello", "goodbye", "your", "with", "for", "is", "number", "time", "minute", "location", "second", "hours")
"""Recorded words that stand in for others: what is said matters less than that somebody talks."""


def human_voices() -> tuple[str, ...]:
    """The recorded voices that are installed here."""
    return tuple(name for name in HUMAN_VOICES if _folder(VOICES[name].speaker) is not None)


def recorded(said: list[str], voice: Voice) -> Audio:
    """What the recordings say of the words `said`, at 8 kHz; HearmarkError if they are not installed."""
    folder = _folder(voice.speaker)
    if folder is None:
        raise HearmarkError(
            f"Voice {voice.name!r} needs recordings that are not installed; install the Debian package "
            f"asterisk-core-sounds-{voice.speaker}-wav, or choose one from s01 to {SYNTHETIC_VOICES[-1]}."
        )
    heavy = [word for word in said if len(word) > 3 or word in NUMBERS]  # short words would take as long as others
    parts = [_clip(path) for word in heavy or said if (path := _recording(folder, word)) is not None]
    if not parts:
        return np.zeros(0, np.float32)
    return hurried(scaled(np.concatenate(parts), RATE_HZ, voice.scale), HURRY)


@lru_cache(maxsize=4096)
def _recording(folder: Path, word: str) -> Path | None:
    """The file in which `word` is said, or one that stands in for it; None if there is neither."""
    letter, number = LETTERS.get(word), NUMBERS.get(word)
    names = [f"phonetic/{letter}_p" if letter else f"digits/{number}" if number else word]
    first = zlib.crc32(word.encode())
    names += [_SPARE[(first + k) % len(_SPARE)] for k in range(len(_SPARE))]
    return next((path for name in names if (path := folder / f"{name}.wav").is_file()), None)


@lru_cache(maxsize=512)
def _clip(path: Path) -> Audio:
    with wave.open(io.BytesIO(path.read_bytes())) as clip:
        samples = np.frombuffer(clip.readframes(clip.getnframes()), np.int16).astype(np.float32)
        return trimmed(scaled(samples, clip.getframerate(), 1.0), share=0.05, keep_s=0.01)


@lru_cache(maxsize=8)
def _folder(language: str) -> Path | None:
    found = sorted(p for p in RECORDINGS.glob(f"{language}*") if (p / "phonetic").is_dir())
    return found[0] if found else None
