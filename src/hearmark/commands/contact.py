"""A contact as people and programs see it."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hearmark.log.contact import Contact


def as_dict(contact: Contact) -> dict[str, Any]:
    """A contact as JSON shows it; `adif` holds every field as it is stored."""
    from hearmark.log.contact import CALLS_MADE, CONFIRMED_BY, HABIT, OFFSET, SECONDS
    from hearmark.log.entities import entities

    name = entities()[contact.entity].name if contact.entity in entities() else None
    return {
        "id": contact.id,
        "call": contact.call,
        "start": utc_text(contact.start_s),
        "stop": None if contact.stop_s is None else utc_text(contact.stop_s),
        "band": contact.band,
        "band_rx": contact.band_rx,
        "frequency_hz": contact.freq_hz,
        "receive_hz": contact.freq_rx_hz,
        "mode": contact.mode,
        "submode": contact.submode or None,
        "report_sent": contact.text("RST_SENT") or None,
        "report_received": contact.text("RST_RCVD") or None,
        "power_w": contact.number("TX_PWR"),
        "locator": contact.locator or None,
        "entity": contact.entity,
        "entity_name": name,
        "continent": contact.continent or None,
        "cq_zone": contact.cq_zone or None,
        "itu_zone": contact.itu_zone or None,
        "prop_mode": contact.prop_mode or None,
        "sat_name": contact.sat_name or None,
        "own_call": contact.own_call or None,
        "notes": contact.text("COMMENT") or contact.text("NOTES") or None,
        "confirmed": [way for way, bit in CONFIRMED_BY.items() if contact.confirmed & bit],
        "offset_hz": contact.number(OFFSET),
        "calls_made": contact.number(CALLS_MADE),
        "seconds_to_work": contact.number(SECONDS),
        "habit": contact.text(HABIT) or None,
        "adif": {field.name: field.value for field in contact.fields},
    }


def utc_text(seconds: float) -> str:
    """2026-03-21T18:30:00Z."""
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def mode_text(contact: Contact) -> str:
    """The submode if there is one, like USB or FT4."""
    return contact.submode or contact.mode


def line_text(contact: Contact) -> str:
    """One line of the list."""
    khz = [f"{value / 1000:.2f}" if value else "" for value in (contact.freq_hz, contact.freq_rx_hz)]
    return (
        f"  {utc_text(contact.start_s)[:16].replace('T', ' ')}  {contact.call:<13} {contact.band:<6} "
        f"{mode_text(contact):<10} {khz[0]:>11}  {khz[1]:>11}   {as_dict(contact)['entity_name'] or ''}"
    ).rstrip()
