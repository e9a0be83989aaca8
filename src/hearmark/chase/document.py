"""Ranked spots and today's chances as plain JSON values, for the command line and the page."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from hearmark.chase.ranking import Row
from hearmark.chase.today import Chance


def utc_text(moment: datetime) -> str:
    """2026-03-21T18:30:00Z."""
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def row_dict(row: Row) -> dict[str, Any]:
    """A row as JSON shows it."""
    plan = row.reading.plan if row.reading else None
    return {
        "call": row.call,
        "frequency_hz": row.frequency_hz,
        "band": row.band,
        "mode": row.mode,
        "at": utc_text(row.at),
        "reported_by": row.people,
        "comment": row.comment,
        "entity": row.place.entity if row.place else None,
        "entity_name": row.place.name if row.place else None,
        "needs": [{"by": need.kind, "value": need.value, "level": need.level} for need in row.needs],
        "duplicate": row.duplicate,
        "announced": row.announced,
        "probably": row.probably or None,
        "listens": None
        if plan is None or row.reading is None
        else {
            "low_hz": plan.listen_low_hz,
            "high_hz": plan.listen_high_hz,
            "probability": round(row.reading.probability, 4),
            "lawful": row.lawful,
        },
        "path": None if row.path is None else round(row.path, 4),
        "chance": round(row.chance, 4),
        "worth": round(row.worth, 4),
        "score": round(row.score, 4),
        "why": list(row.why),
    }


def chance_dict(chance: Chance) -> dict[str, Any]:
    """One operation on one band as JSON shows it."""
    best = chance.best_hour
    return {
        "call": chance.call,
        "entity": chance.place.entity if chance.place else None,
        "entity_name": chance.place.name if chance.place else None,
        "band": chance.band,
        "mode": chance.group,
        "level": chance.level,
        "worth": round(chance.worth, 4),
        "best_utc_hour": None if best is None else (chance.start.hour + best) % 24,
        "probability": None if chance.best is None else round(chance.best, 4),
        "start": utc_text(chance.start),
        "hours": [None if value is None else round(value, 4) for value in chance.hours],
        "score": round(chance.score, 4),
        "notes": chance.notes or None,
    }
