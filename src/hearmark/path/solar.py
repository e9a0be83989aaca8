"""The sun's activity: the user's figure, or the table of the cycle that is shipped with its date."""

from __future__ import annotations

import csv
from datetime import date
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

import numpy as np

from hearmark.errors import HearmarkError
from hearmark.path.ionosphere import sunspot_number

NEW_TO_OLD = 0.7
"""The sunspot number was rescaled in 2015; the ITU's formulas and the maps want the old scale (ITU-R P.371: times 0.7;
from memory)."""
TABLE = "solar_cycle.csv"


def old_scale(published: float) -> float:
    """The 12-month smoothed sunspot number as published since 2015, on the scale of the formulas."""
    return NEW_TO_OLD * published


def from_flux(flux: float) -> float:
    """Sunspot number, old scale, from the 10.7 cm flux. Raises HearmarkError outside 60 to 400 units."""
    if not 60.0 <= flux <= 400.0:
        raise HearmarkError(f"The solar flux {flux:g} is out of range; give 60 to 400 solar flux units, like 140.")
    return sunspot_number(flux)


@lru_cache(maxsize=1)
def _shipped() -> tuple[list[float], list[float]]:
    return _read(files("hearmark").joinpath("data", TABLE), TABLE)


def _read(where: Traversable | Path, name: str) -> tuple[list[float], list[float]]:
    try:
        text = where.read_text(encoding="utf-8")
        lines = [line for line in text.splitlines() if line and not line.startswith("#")]
        rows = [(row["month"], float(row["sunspots"])) for row in csv.DictReader(lines)]
        when = [int(m[:4]) + (int(m[5:7]) - 0.5) / 12.0 for m, _ in rows]
    except (OSError, UnicodeDecodeError, KeyError, ValueError, TypeError):
        raise HearmarkError(
            f"{name} is no table of the solar cycle; give CSV with the columns month (2026-11) and sunspots."
        ) from None
    if len(rows) < 2 or when != sorted(when):
        raise HearmarkError(f"{name} needs at least two months in order.")
    return when, [value for _, value in rows]


def from_table(day: date, path: Path | None = None) -> float:
    """Sunspot number, old scale, for a day from the shipped table or a file; held at the table's ends."""
    when, value = _shipped() if path is None else _read(path, str(path))
    return old_scale(float(np.interp(day.year + (day.timetuple().tm_yday - 0.5) / 365.25, when, value)))
