"""What is said of one path: hours, openings, what holds now and how long; for machines and in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from hearmark.path.bands import name_of
from hearmark.path.chances import Chances
from hearmark.path.conditions import Conditions, Equipment
from hearmark.path.ionosphere import solar_flux
from hearmark.path.places import Place, locator_of
from hearmark.path.solar import NEW_TO_OLD
from hearmark.path.sun import common_twilight, day, light, zenith_deg

OPEN = 0.5
NO_CHANCE = 0.005
SIGNS = " .:-=+*#"
"""Chance in eighths, for a line of text."""


@dataclass(frozen=True, slots=True)
class Opening:
    """A span in which a band's chance stays at OPEN or above; `stop` is the end of its last hour."""

    frequency_hz: float
    start: datetime
    stop: datetime
    best: datetime
    best_probability: float


def openings(chances: Chances, place: int = 0) -> list[Opening]:
    """All spans, by band and then by time."""
    step = chances.times[1] - chances.times[0] if len(chances.times) > 1 else timedelta(hours=1)
    found = []
    for band, frequency_hz in enumerate(chances.frequency_hz):
        chance = chances.probability[place, :, band]
        open_now = np.concatenate(([False], chance >= OPEN, [False]))
        edges = np.flatnonzero(open_now[1:] != open_now[:-1])
        for a, b in zip(edges[::2], edges[1::2], strict=True):
            best = a + int(np.argmax(chance[a:b]))
            found.append(
                Opening(float(frequency_hz), chances.times[a], chances.times[b - 1] + step, chances.times[best],
                        float(chance[best]))
            )  # fmt: skip
    return found


def document(
    chances: Chances, conditions: Conditions, own: Equipment, far: Equipment, place: int = 0
) -> dict[str, Any]:
    """The facts of one path, ready for JSON."""
    short, long = chances.short_routes[place], chances.long_routes[place]
    grey = common_twilight(short.start, short.end, chances.times[0])
    hours = [_hour(chances, place, t, f) for t in range(len(chances.times)) for f in range(len(chances.frequency_hz))]
    return {
        "schema": 1,
        "from": _place(short.start),
        "to": _place(short.end),
        "start": _utc(chances.times[0]),
        "distance_km": round(short.distance_km, 1),
        "bearing_deg": round(short.bearing_deg, 1),
        "back_bearing_deg": round(short.back_bearing_deg, 1),
        "long_path": {
            "distance_km": round(long.distance_km, 1),
            "bearing_deg": round(long.bearing_deg, 1),
            "back_bearing_deg": round(long.back_bearing_deg, 1),
        },
        "required_db_hz": chances.required_db_hz,
        # the chance above which to call a path open, if a missed opening weighs as much as a wait for nothing, each by
        # its own number (Manzato, Weather and Forecasting 22, 1148, 2007)
        "usual_probability": round(float(chances.probability[place].mean()), 4),
        "sunspots": round(conditions.effective_sunspots / NEW_TO_OLD, 1),
        "solar_flux": round(solar_flux(conditions.effective_sunspots), 1),
        "kp": conditions.kp,
        "own": _end(own),
        "far": _end(far),
        "sun": {"here": _sun(short.start, chances.times[0]), "there": _sun(short.end, chances.times[0])},
        "grey_line": [[_utc(a), _utc(b)] for a, b in grey],
        "grey_line_minutes": sum(int((b - a).total_seconds()) // 60 for a, b in grey),
        "openings": [
            {
                "frequency_mhz": o.frequency_hz / 1e6,
                "band": name_of(o.frequency_hz),
                "start": _utc(o.start),
                "stop": _utc(o.stop),
                "best": _utc(o.best),
                "probability": round(o.best_probability, 3),
                **_pointing(chances, place, o),
            }
            for o in openings(chances, place)
        ],
        "hours": hours,
    }


def _hour(chances: Chances, place: int, time: int, band: int) -> dict[str, Any]:
    at = (place, time, band)
    when = chances.times[time]
    long = bool(chances.long[at])
    route = (chances.long_routes if long else chances.short_routes)[place]
    hour = when.hour + when.minute / 60.0
    return {
        "utc_hour": int(hour) if hour == int(hour) else round(hour, 3),
        "time": _utc(when),
        "frequency_mhz": float(chances.frequency_hz[band]) / 1e6,
        "snr_db_hz": round(float(chances.snr_db_hz[at]), 1),
        "probability": round(float(chances.probability[at]), 4),
        "probability_low": round(float(chances.probability_low[at]), 4),
        "probability_high": round(float(chances.probability_high[at]), 4),
        "probability_both_ways": round(float(chances.probability_both[at]), 4),
        "heard_db_hz": round(float(chances.heard_db_hz[at]), 1),
        "path": "long" if long else "short",
        "bearing_deg": round(route.bearing_deg, 1),
        "mode": chances.mode_names[int(chances.mode[at])],
        "elevation_deg": round(float(chances.elevation_deg[at]), 1),
        "muf_mhz": round(float((chances.long_muf_mhz if long else chances.muf_mhz)[place, time]), 1),
    }


def _pointing(chances: Chances, place: int, opening: Opening) -> dict[str, Any]:
    """Which way at the best hour of an opening."""
    band = int(np.flatnonzero(chances.frequency_hz == opening.frequency_hz)[0])
    long = bool(chances.long[place, chances.times.index(opening.best), band])
    route = (chances.long_routes if long else chances.short_routes)[place]
    return {"path": "long" if long else "short", "bearing_deg": round(route.bearing_deg, 1)}


def _place(place: Place) -> dict[str, Any]:
    return {
        "name": place.name,
        "latitude_deg": round(place.latitude_deg, 4),
        "longitude_deg": round(place.longitude_deg, 4),
        "locator": locator_of(place),
    }


def _end(end: Equipment) -> dict[str, Any]:
    return {"power_w": end.power_w, "antenna": str(end.antenna), "noise": end.environment}


def _sun(place: Place, start: datetime) -> dict[str, str | None]:
    today = day(place, start)
    return {
        "rise": _utc(today.rise), "set": _utc(today.set), "dawn": _utc(today.dawn), "dusk": _utc(today.dusk),
        "d_region_rise": _utc(today.d_region_rise), "d_region_set": _utc(today.d_region_set),
        "begins": light(float(zenith_deg(place.latitude_deg, place.longitude_deg, [start])[0])),
    }  # fmt: skip


def _utc(when: datetime | None) -> str | None:
    return None if when is None else when.strftime("%Y-%m-%dT%H:%M:%SZ")


def readable(content: dict[str, Any], chances: Chances, place: int = 0, now: datetime | None = None) -> str:
    """The same facts in words, with one line a band: the chance hour by hour."""
    a, b, way = content["from"], content["to"], content["long_path"]
    lines = [
        f"From {a['name'] or a['locator']} to {b['name'] or b['locator']}: {content['distance_km']:.0f} km, "
        f"point to {content['bearing_deg']:.0f} degrees; he points to {content['back_bearing_deg']:.0f}. "
        f"Long path: {way['distance_km']:.0f} km, {way['bearing_deg']:.0f} degrees.",
        f"24 h from {chances.times[0]:%Y-%m-%d %H:%M} UTC; smoothed sunspot number {content['sunspots']:.0f} "
        f"(flux {content['solar_flux']:.0f}).",
        f"{content['own']['power_w']:g} W, {content['own']['antenna']}; there "
        f"{content['far']['power_w']:g} W, {content['far']['antenna']}, "
        f"{content['far']['noise']} noise; {content['required_db_hz']:g} dB-Hz needed.",
    ]
    for end, name in (("here", "here"), ("there", "there")):
        sun = content["sun"][end]
        if sun["rise"] is None and sun["set"] is None:
            lines.append(f"Sun {name}: {'up' if sun['begins'] == 'day' else 'down'} all 24 h.")
        else:
            lines.append(f"Sun {name}: rises {_clock(sun['rise'])}, sets {_clock(sun['set'])} UTC.")
    grey = content["grey_line"]
    spans = ", ".join(f"{_clock(x)} to {_clock(y)}" for x, y in grey)
    lines.append(f"Both in twilight: {spans}." if grey else "The two ends are never in twilight together.")
    hours = "".join(f"{t.hour:02d}"[-1] for t in chances.times)
    lines += ["", f"{'':>9}  {hours}   chance by the hour, UTC: blank none, # sure"]
    for band, frequency_hz in enumerate(chances.frequency_hz):
        chance = chances.probability[place, :, band]
        signs = "".join(SIGNS[min(int(p * len(SIGNS)), len(SIGNS) - 1)] for p in chance)
        best = int(np.argmax(chance))
        at = (place, best, band)
        low, high = 100 * chances.probability_low[at], 100 * chances.probability_high[at]
        name = name_of(float(frequency_hz))
        if chance[best] < NO_CHANCE:
            lines.append(f"{name:>9}  {signs}   closed")
            continue
        lines.append(
            f"{name:>9}  {signs}   best {chances.times[best]:%H} h: {100 * chance[best]:3.0f} % "
            f"({low:.0f} to {high:.0f}), {chances.snr_db_hz[at]:.0f} dB-Hz, {_way(chances, at)} path"
        )
    around = _around(chances, place)
    lines += ["", f"Long path, point to {way['bearing_deg']:.0f} degrees: {around}."] if around else []
    lines += ["", now_sentence(chances, place, now)] if now is not None else []
    return "\n".join(lines) + "\n"


def _around(chances: Chances, place: int) -> str:
    """When the long path is the better one and likely enough, band by band."""
    step = chances.times[1] - chances.times[0] if len(chances.times) > 1 else timedelta(hours=1)
    spans = []
    for band, frequency_hz in enumerate(chances.frequency_hz):
        there = chances.long[place, :, band] & (chances.probability[place, :, band] >= OPEN)
        edges = np.flatnonzero(np.diff(np.concatenate(([False], there, [False])).astype(int)))
        hours = [
            f"{chances.times[a]:%H} to {chances.times[b - 1] + step:%H} h"
            for a, b in zip(edges[::2], edges[1::2], strict=True)
        ]
        spans += [f"{name_of(float(frequency_hz))} {' and '.join(hours)}"] if hours else []
    return ", ".join(spans)


def _way(chances: Chances, at: tuple[int, int, int]) -> str:
    return "long" if chances.long[at] else "short"


def now_sentence(chances: Chances, place: int, now: datetime) -> str:
    """Which band serves at this moment, how long it will, and where to point."""
    at = [i for i, t in enumerate(chances.times) if t <= now]
    if not at:
        return "The span begins later than now."
    index = at[-1]
    chance = chances.probability[place, index]
    band = int(np.argmax(chance))
    frequency_hz = float(chances.frequency_hz[band])
    if chance[band] < OPEN:
        later = [o for o in openings(chances, place) if o.start > now]
        first = min(later, key=lambda o: o.start, default=None)
        then = f"; {name_of(first.frequency_hz)} opens about {first.start:%H:%M}" if first else ""
        return f"Now: no band is likely, the best is {name_of(frequency_hz)} with {100 * chance[band]:.0f} %{then}."
    now_open = [o for o in openings(chances, place) if o.frequency_hz == frequency_hz and o.start <= now < o.stop]
    until = f" until about {now_open[0].stop:%H:%M}" if now_open and now_open[0].stop <= chances.times[-1] else ""
    long = bool(chances.long[place, index, band])
    route = (chances.long_routes if long else chances.short_routes)[place]
    return (
        f"Now: {name_of(frequency_hz)}, {100 * chance[band]:.0f} %{until}, {'long' if long else 'short'} path, "
        f"point to {route.bearing_deg:.0f} degrees."
    )


def _clock(text: str | None) -> str:
    return "not at all" if text is None else text[11:16]
