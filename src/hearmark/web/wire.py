"""Events as JSON text frames: type, version and the event's own fields."""

from __future__ import annotations

import json
import math
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from hearmark.events import Ear, Event
from hearmark.web.frames import DESCRIPTION

EVENT_VERSION: int = DESCRIPTION["events"]["version"]
EVENT_NAMES: frozenset[str] = frozenset(DESCRIPTION["events"]["names"])
EAR_POINTS = 400


def _plain(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return [float(f"{x:.6g}") for x in value.tolist()]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float):
        return round(value, 6) if math.isfinite(value) else None
    if isinstance(value, (tuple, list)):
        return [_plain(x) for x in value]
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    return value


def _ear(ear: Ear) -> dict[str, Any]:
    """A belief as low, step and densities: at most 400 points, neighbours averaged so that the sum stays."""
    count = len(ear.frequency_hz)
    step_hz = float(ear.frequency_hz[1] - ear.frequency_hz[0]) if count > 1 else 1.0
    group = max(1, -(-count // EAR_POINTS))
    padded = np.zeros(-(-count // group) * group)
    padded[:count] = ear.density_per_hz
    density = padded.reshape(-1, group).mean(axis=1)
    low_hz = float(ear.frequency_hz[0]) + step_hz * (group - 1) / 2 if count else 0.0
    return {
        "time_s": ear.time_s,
        "low_hz": low_hz,
        "step_hz": step_hz * group,
        "density_per_hz": [float(f"{x:.4g}") for x in density.tolist()],
        "habit": ear.habit,
        "habit_weights": _plain(ear.habit_weights),
    }


def as_message(event: Event) -> dict[str, Any] | None:
    """The event as a JSON-ready object; None for kinds that the page does not read as text."""
    name = type(event).__name__
    if name not in EVENT_NAMES:
        return None
    body = _ear(event) if isinstance(event, Ear) else {f.name: _plain(getattr(event, f.name)) for f in fields(event)}
    return {"version": EVENT_VERSION, "type": name, **body}


def as_text(message: dict[str, Any]) -> str:
    """A JSON text frame without spare spaces; refuses NaN, which JSON does not have."""
    return json.dumps(message, separators=(",", ":"), allow_nan=False)
