"""The picture of a path: a timeline for each band, the chance with its spread, both ends' sun below, the pointing."""

from __future__ import annotations

import io
from datetime import datetime
from typing import Any

import numpy as np

from hearmark.path.bands import name_of
from hearmark.path.chances import Chances
from hearmark.path.sun import D_REGION_KM, dip_deg, zenith_deg

# Okabe and Ito's palette (2008), told apart by colour-blind eyes
LINE, SPREAD, LONG, NOW = "#0072B2", "#56B4E9", "#D55E00", "#000000"
SUN = {"day": "#F0E442", "twilight": "#B9A77A", "night": "#3B4252"}


def timeline_png(chances: Chances, place: int = 0, now: datetime | None = None) -> bytes:
    """The picture as PNG. Where the long path is the better one the line is red and dashed."""
    from matplotlib.figure import Figure

    hours = np.arange(len(chances.times))
    bands = len(chances.frequency_hz)
    figure = Figure(figsize=(9.0, 1.6 + 0.62 * bands), dpi=110, layout="constrained")
    axes = figure.subplots(bands + 1, 1, sharex=True, height_ratios=[1.0] * bands + [0.9], squeeze=False)[:, 0]
    for band, axis in enumerate(axes[:-1]):
        at = (place, slice(None), band)
        axis.fill_between(
            hours, chances.probability_low[at], chances.probability_high[at], color=SPREAD, alpha=0.45, linewidth=0
        )
        axis.plot(hours, chances.probability[at], color=LINE, linewidth=1.6)
        long = np.where(chances.long[at], chances.probability[at], np.nan)
        axis.plot(hours, long, color=LONG, linewidth=2.2, linestyle=(0, (2, 1)))
        axis.axhline(0.5, color="0.75", linewidth=0.6, zorder=0)
        axis.set_ylim(0.0, 1.0)
        axis.set_yticks([])
        axis.set_ylabel(name_of(float(chances.frequency_hz[band])), rotation=0, ha="right", va="center")
        for side in ("top", "right", "left"):
            axis.spines[side].set_visible(False)
    _suns(axes[-1], chances, place)
    if now is not None:
        since = (now - chances.times[0]).total_seconds() / 3600.0
        if 0.0 <= since <= hours[-1]:
            for axis in axes:
                axis.axvline(since, color=NOW, linewidth=1.0, linestyle=":")
            axes[0].annotate("now", (since, 1.0), ha="center", va="bottom", fontsize=8)
    axes[-1].set_xticks(hours[::3], [f"{chances.times[h]:%H}" for h in hours[::3]])
    axes[-1].set_xlabel(f"UTC, from {chances.times[0]:%Y-%m-%d}")
    axes[-1].set_xlim(hours[0], hours[-1])
    short, long_way = chances.short_routes[place], chances.long_routes[place]
    figure.suptitle(
        f"{short.start} to {short.end}: {short.distance_km:.0f} km, point to {short.bearing_deg:.0f}°\n"
        f"long path (red, dashed): {long_way.distance_km:.0f} km, {long_way.bearing_deg:.0f}°.  "
        f"Line: chance of {chances.required_db_hz:g} dB-Hz there; shade: were the method 10 dB off",
        fontsize=9,
    )
    out = io.BytesIO()
    figure.savefig(out, format="png")
    return out.getvalue()


def _suns(axis: Any, chances: Chances, place: int) -> None:
    ends = (chances.short_routes[place].start, chances.short_routes[place].end)
    zenith = zenith_deg([e.latitude_deg for e in ends], [e.longitude_deg for e in ends], list(chances.times))
    for row, angles in enumerate(zenith):
        for hour, angle in enumerate(angles):
            kind = "day" if angle < 90.0 else "twilight" if angle < 90.0 + dip_deg(D_REGION_KM) else "night"
            axis.barh(1 - row, 1.0, left=hour - 0.5, height=0.7, color=SUN[kind])
    axis.set_yticks([1, 0], ["sun here", "there"], fontsize=8)
    axis.set_ylim(-0.6, 1.6)
    for side in ("top", "right", "left"):
        axis.spines[side].set_visible(False)
