"""Gain of an antenna at an elevation, over average ground: a few named types, or the user's own table."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from hearmark.errors import HearmarkError
from hearmark.settings import Settings

FloatArray = npt.NDArray[np.float64]
GROUND_PERMITTIVITY, GROUND_S_PER_M = 13.0, 0.005
"""Average ground as amateurs reckon it (common practice, no source)."""
LOWEST_ELEVATION_RAD = np.radians(3.0)
"""Rays below it count as this low, the least that P.533 reckons with (from memory): refraction and terrain decide
there, not the antenna."""
LIGHT_M_S = 299_792_458.0
KINDS = ("usual", "isotropic", "vertical", "halfwave", "dipole", "beam")
DEFAULT_HEIGHT_M = 10.0
_FREE_DBI = 2.15
"""A half-wave dipole in free space (textbooks)."""
LOWEST_HEIGHT_M = 1.0


@dataclass(frozen=True, slots=True)
class Antenna:
    """`kind`: one of KINDS, or "table" with `table` = (elevation degrees, dBi) pairs, or "own" with `parts` =
    (lowest Hz, highest Hz, antenna). Azimuth is always the best.

    "usual": a vertical or a dipole `height_m` up, whichever serves better: what one who wants the contact would take.
    `more_dbi`: gain beyond that of the kind, at every elevation.
    """

    kind: str = "usual"
    height_m: float = DEFAULT_HEIGHT_M
    table: tuple[tuple[float, float], ...] = ()
    parts: tuple[tuple[float, float, Antenna], ...] = ()
    more_dbi: float = 0.0
    name: str = ""

    def __str__(self) -> str:
        if self.kind == "own":
            return " and ".join(str(antenna) for _, _, antenna in self.parts)
        if self.name:
            return f"{self.name}, {_FREE_DBI + self.more_dbi:g} dBi" + (
                f", {self.height_m:g} m up" if self.kind == "dipole" else ", vertical"
            )
        if self.kind == "usual":
            return f"vertical or dipole {self.height_m:g} m up"
        return f"{self.kind} {self.height_m:g} m up" if self.kind in ("dipole", "beam") else self.kind

    def gain_dbi(self, elevation_rad: npt.ArrayLike, frequency_hz: npt.ArrayLike) -> FloatArray:
        """Gain towards an elevation, dBi. Arguments broadcast."""
        elevation = np.clip(np.asarray(elevation_rad, dtype=np.float64), LOWEST_ELEVATION_RAD, np.pi / 2)
        frequency = np.asarray(frequency_hz, dtype=np.float64)
        if self.kind == "isotropic":
            return np.zeros(np.broadcast_shapes(elevation.shape, frequency.shape))
        if self.kind == "table":
            angles, gains = np.array(self.table).T
            return np.asarray(np.interp(np.degrees(elevation), angles, gains) + 0.0 * frequency)
        if self.kind == "own":
            return self._part_dbi(elevation, frequency)
        if self.kind == "usual":
            either = (Antenna(kind, self.height_m).gain_dbi(elevation, frequency) for kind in ("vertical", "dipole"))
            return np.asarray(np.maximum(*either))
        horizontal, upright = _reflection(elevation, frequency)
        if self.kind in ("vertical", "halfwave"):
            return _upright_dbi(elevation, upright, np.pi / 2 if self.kind == "vertical" else np.pi) + self.more_dbi
        phase = 4.0 * np.pi * self.height_m * frequency / LIGHT_M_S * np.sin(elevation)
        field = np.abs(1.0 + horizontal * np.exp(-1j * phase))
        free_dbi = (_FREE_DBI if self.kind == "dipole" else 7.1) + self.more_dbi
        return np.asarray(free_dbi + 20.0 * np.log10(np.maximum(field, 1e-2)))

    def _part_dbi(self, elevation: FloatArray, frequency: FloatArray) -> FloatArray:
        """The best of those that are used on a frequency; where none is, the usual one."""
        best = np.full(np.broadcast_shapes(elevation.shape, frequency.shape), -np.inf)
        for low_hz, high_hz, antenna in self.parts:
            used = (frequency >= low_hz) & (frequency <= high_hz)
            best = np.where(used, np.maximum(best, antenna.gain_dbi(elevation, frequency)), best)
        return np.asarray(np.where(np.isfinite(best), best, Antenna().gain_dbi(elevation, frequency)))


def _reflection(elevation: FloatArray, frequency_hz: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Fresnel's reflection of the ground for horizontal and vertical polarisation."""
    permittivity = GROUND_PERMITTIVITY - 1j * GROUND_S_PER_M / (2 * np.pi * frequency_hz * 8.854_187_8e-12)
    sine = np.sin(elevation)
    root = np.sqrt(permittivity - np.cos(elevation) ** 2)
    horizontal = (sine - root) / (sine + root)
    upright = (permittivity * sine - root) / (permittivity * sine + root)
    return horizontal, upright


def _upright_dbi(elevation: FloatArray, reflection: FloatArray, height_rad: float) -> FloatArray:
    """A vertical wire on the ground, `height_rad` tall in radians of the wave, mirrored in it.

    Over a perfect ground a quarter wave has 5.15 dBi, a half wave 6.8 (textbooks); 1 dB is lost in a usual set of
    radials (common practice, no source).
    """
    best_dbi = 5.15 if height_rad < 2.0 else 6.8
    low = 1.0 - np.cos(height_rad)
    wire = (np.cos(height_rad * np.sin(elevation)) - np.cos(height_rad)) / low
    wire = wire / np.cos(np.minimum(elevation, np.pi / 2 - 1e-3))
    field = np.abs(1.0 + reflection) / 2.0 * np.abs(wire)
    return np.asarray(best_dbi - 1.0 + 20.0 * np.log10(np.maximum(field, 1e-2)))


def read_antenna(text: str) -> Antenna:
    """An antenna as written: a kind, with :METRES for the height, or a CSV file of elevation_deg,gain_dbi.

    Raises HearmarkError.
    """
    kind, _, height = text.partition(":")
    if kind in KINDS:
        try:
            metres = float(height) if height else DEFAULT_HEIGHT_M
        except ValueError:
            metres = -1.0
        if not 0.0 < metres <= 300.0:
            raise HearmarkError(f"The antenna {text!r} has no usable height; write it in metres, like dipole:12.")
        return Antenna(kind, metres)
    path = Path(text)
    if not path.is_file():
        raise HearmarkError(
            f"{text!r} is no antenna; give {', '.join(KINDS)}, with :METRES for the height, "
            "or a CSV file of elevation_deg,gain_dbi."
        )
    try:
        rows = [row for row in csv.reader(path.read_text(encoding="utf-8").splitlines()) if row]
        pairs = sorted((float(row[0]), float(row[1])) for row in rows if row[0].lstrip("-")[:1].isdigit())
    except (OSError, UnicodeDecodeError, ValueError, IndexError):
        pairs = []
    if len(pairs) < 2 or not all(-90.0 <= a <= 90.0 and -60.0 <= g <= 60.0 for a, g in pairs):
        raise HearmarkError(
            f"{path} is no antenna table; give at least two lines of elevation_deg,gain_dbi, such as 5,-2.5."
        )
    return Antenna("table", 0.0, tuple(pairs))


def station_antenna(settings: Settings) -> Antenna:
    """What the settings say of the station's antennas; the usual one if they say nothing.

    The gain given there is that in free space; the ground is added. A vertical of 2.15 dBi is a quarter wave.
    """
    if "antenna" not in settings.model_fields_set:
        return Antenna()
    parts = tuple(
        (
            one.low_mhz * 1e6, one.high_mhz * 1e6,
            Antenna("vertical" if one.upright else "dipole", max(one.height_m, LOWEST_HEIGHT_M),
                    more_dbi=one.gain_dbi - _FREE_DBI, name=one.name or "antenna"),
        )
        for one in settings.antenna
    )  # fmt: skip
    return Antenna("own", parts=parts) if parts else Antenna()
