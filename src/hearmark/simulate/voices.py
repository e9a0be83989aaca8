"""Who speaks: synthetic and recorded voices, and what their microphones do."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from hearmark.errors import HearmarkError

MOST_SHIFT = 12
"""Percent by which a voice may be shifted; further it no longer sounds like a person."""


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


def find(name: str) -> Voice:
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
