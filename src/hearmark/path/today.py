"""Today's chances: for a list of stations, the best band and hour of each, the likeliest first."""

from __future__ import annotations

from typing import Any

import numpy as np

from hearmark.path.bands import name_of
from hearmark.path.chances import Chances
from hearmark.path.outlook import OPEN


def ranked(chances: Chances, names: list[str]) -> list[dict[str, Any]]:
    """A row a station, ready for JSON: where and when his chance is best, on what bands it reaches a half, and for how
    many hours any band does."""
    rows = []
    for place, name in enumerate(names):
        chance = chances.probability[place]
        time, band = (int(i) for i in np.unravel_index(int(np.argmax(chance)), chance.shape))
        at = (place, time, band)
        long = bool(chances.long[at])
        route = (chances.long_routes if long else chances.short_routes)[place]
        rows.append(
            {
                "station": name,
                "distance_km": round(chances.short_routes[place].distance_km, 1),
                "frequency_mhz": float(chances.frequency_hz[band]) / 1e6,
                "band": name_of(float(chances.frequency_hz[band])),
                "time": chances.times[time].strftime("%Y-%m-%dT%H:%M:%SZ"),
                "probability": round(float(chance[time, band]), 4),
                "probability_both_ways": round(float(chances.probability_both[at]), 4),
                "snr_db_hz": round(float(chances.snr_db_hz[at]), 1),
                "path": "long" if long else "short",
                "bearing_deg": round(route.bearing_deg, 1),
                "open_bands": [
                    name_of(float(f)) for f, c in zip(chances.frequency_hz, chance.T, strict=True) if c.max() >= OPEN
                ],
                "open_hours": int((chance.max(axis=1) >= OPEN).sum()),
            }
        )
    return sorted(rows, key=lambda row: (-row["probability"], row["station"]))


def readable(rows: list[dict[str, Any]]) -> str:
    """The same as a table."""
    lines = [f"{'station':<16} {'best':>6} {'UTC':>6} {'chance':>6} {'dB-Hz':>6}  path  point  open hours, bands"]
    for row in rows:
        lines.append(
            f"{row['station'][:16]:<16} {row['band']:>6} {row['time'][11:16]:>6} {100 * row['probability']:>4.0f} % "
            f"{row['snr_db_hz']:>6.0f}  {row['path']:<5} {row['bearing_deg']:>5.0f}  {row['open_hours']:>4}  "
            f"{', '.join(row['open_bands']) or 'none'}"
        )
    return "\n".join(lines) + "\n"
