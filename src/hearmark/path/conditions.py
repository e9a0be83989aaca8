"""What the prediction takes as given: the sun's activity, the earth's field, both stations."""

from __future__ import annotations

from dataclasses import dataclass, field

from hearmark.path.antenna import Antenna

DEFAULT_POWER_W = 100.0
DEFAULT_REQUIRED_DB_HZ = 27.0
"""0 dB in 500 Hz: Morse that can be read by most (see `needs_db_hz`)."""


@dataclass(frozen=True, slots=True)
class Conditions:
    """`sunspots`: 12-month smoothed sunspot number. `kp`: planetary index of the day, 0 to 9; None: quiet.

    `level_db`: added to every level, `index_shift` to the sunspot number: what was learnt from what is heard.
    """

    sunspots: float
    kp: float | None = None
    level_db: float = 0.0
    index_shift: float = 0.0
    coefficients: str = "CCIR"

    @property
    def effective_sunspots(self) -> float:
        """Sunspot number that the maps are read at."""
        return max(self.sunspots + self.index_shift, 0.0)


@dataclass(frozen=True, slots=True)
class Equipment:
    """One end: power at the antenna, antenna, and the noise around it (a name in `noise.MEDIANS`)."""

    power_w: float = DEFAULT_POWER_W
    antenna: Antenna = field(default_factory=Antenna)
    environment: str = "residential"
