"""Needs as a table and as JSON."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hearmark.errors import HearmarkError

if TYPE_CHECKING:
    from hearmark.log.entities import Entities
    from hearmark.log.needs import Kind, Worked
    from hearmark.log.store import Store

WORDS = {
    "new": "never worked",
    "band": "not on this band",
    "mode": "not in this kind of mode",
    "slot": "not in this kind of mode on this band",
    "unconfirmed": "worked, not confirmed",
    "done": "worked and confirmed",
}
NAMES = {"entity": "entity", "cq_zone": "CQ zone", "itu_zone": "ITU zone", "field": "locator field"}
HF_BANDS = ("160m", "80m", "60m", "40m", "30m", "20m", "17m", "15m", "12m", "10m", "6m", "2m", "70cm")


def all_values(kind: Kind) -> list[int | str]:
    """Everything that can be worked of a kind: current entities, 40 and 90 zones, 324 locator fields."""
    from hearmark.log.entities import entities

    if kind == "entity":
        return [code for code, entity in entities().items() if not entity.deleted]
    if kind == "field":
        letters = "ABCDEFGHIJKLMNOPQR"
        return [a + b for a in letters for b in letters]
    return list(range(1, 41 if kind == "cq_zone" else 91))


def name_of(kind: Kind, value: int | str) -> str:
    """A value for people."""
    from hearmark.log.entities import entities

    if kind == "entity" and isinstance(value, int):
        return entities()[value].name if value in entities() else f"entity {value}"
    return str(value)


def show_table(counted: Worked, kind: Kind, band: str | None, missing: bool, as_json: bool) -> None:
    """Worked and confirmed by band, over all values of a kind."""
    from hearmark.duplex.bands import EDGES_HZ
    from hearmark.log.needs import CONFIRMED

    if band is not None and band.lower() not in EDGES_HZ:
        raise HearmarkError(f'"{band}" is no band; give one like 20m, or leave it out.')
    slots = counted.slots[kind]
    values = all_values(kind)
    on = band.lower() if band else None
    done = {
        value: {key: state for key, state in slots.get(value, {}).items() if on in (None, key[0])} for value in values
    }
    never = [value for value in values if not done[value]]
    unconfirmed = [v for v in values if done[v] and not any(state & CONFIRMED for state in done[v].values())]
    used = [name for name in EDGES_HZ if any(key[0] == name for found in done.values() for key in found)]
    bands = {
        name: {
            "worked": sum(any(key[0] == name for key in done[v]) for v in values),
            "confirmed": sum(any(key[0] == name and s & CONFIRMED for key, s in done[v].items()) for v in values),
        }
        for name in used
    }
    if as_json:
        content: dict[str, Any] = {
            "by": kind,
            "band": on,
            "all": len(values),
            "worked": len(values) - len(never),
            "confirmed": len(values) - len(never) - len(unconfirmed),
            "bands": bands,
            "never_worked": [{"value": value, "name": name_of(kind, value)} for value in never],
            "not_confirmed": [{"value": value, "name": name_of(kind, value)} for value in unconfirmed],
        }
        click.echo(json.dumps(content))
        return
    where = f" on {on}" if on else ""
    click.echo(
        f"Of {len(values)} by {NAMES[kind]}: {len(values) - len(never)} worked{where}, "
        f"{len(values) - len(never) - len(unconfirmed)} confirmed, {len(never)} never worked."
    )
    if bands:
        click.echo("  band     worked  confirmed")
    for name, count in bands.items():
        click.echo(f"  {name:<8} {count['worked']:>6}  {count['confirmed']:>9}")
    if missing:
        for title, found in (("Never worked", never), ("Not confirmed", unconfirmed)):
            if found:
                click.echo(f"{title}{where}: " + ", ".join(name_of(kind, value) for value in found) + ".")


def show_wanted(store: Store, counted: Worked, path: Path, as_json: bool) -> None:
    """The user's list: what of each entry is worked and confirmed, and on which of its bands and modes it is not."""
    from hearmark.log.modes import GROUPS
    from hearmark.log.needs import CONFIRMED, slots_of
    from hearmark.log.own import read_wanted

    rows: list[dict[str, Any]] = []
    for entry in read_wanted(path):
        asked = {
            (band, group): state
            for (band, group), state in slots_of(counted, store, entry.what, entry.value).items()
            if (not entry.bands or band in entry.bands) and (not entry.modes or group in entry.modes)
        }
        slots = [(band, group) for band in entry.bands for group in entry.modes or GROUPS]
        name = name_of("entity", int(entry.value)) if entry.what == "entity" else entry.value
        rows.append(
            {
                "what": entry.what,
                "value": entry.value,
                "name": name,
                "worked": bool(asked),
                "confirmed": any(state & CONFIRMED for state in asked.values()),
                "open_slots": [{"band": band, "mode": group} for band, group in slots if (band, group) not in asked],
            }
        )
    if as_json:
        click.echo(json.dumps({"wanted": rows}))
        return
    for row in rows:
        state = "confirmed" if row["confirmed"] else "worked" if row["worked"] else "never worked"
        left = ", ".join(f"{slot['band']} {slot['mode']}" for slot in row["open_slots"])
        click.echo(f"  {row['what']:<9} {row['name']:<28} {state:<13} {f'open: {left}' if left else ''}".rstrip())
    click.echo(f"{sum(not row['worked'] for row in rows)} of {len(rows)} never worked.")


def show_call(
    store: Store, counted: Worked, entities: Entities, call: str, frequency_hz: float | None, mode: str | None,
    locator: str, as_json: bool,
) -> None:  # fmt: skip
    """What one station would bring, and its entity's slots at a glance."""
    from hearmark.duplex.bands import EDGES_HZ, band_name
    from hearmark.log.calls import parts_of
    from hearmark.log.modes import GROUPS, adif_mode, mode_group
    from hearmark.log.needs import CONFIRMED, before, highest

    if parts_of(call) is None:
        raise HearmarkError(f'"{call}" is no call; a call has letters and at least one figure, like T0ST.')
    place = entities.lookup(call)
    band = band_name(frequency_hz) if frequency_hz else ""
    if frequency_hz and not band:
        raise HearmarkError(f"{frequency_hz / 1000:.2f} kHz lies in no amateur band.")
    group = mode_group(*adif_mode(mode)) if mode else ""
    found = counted.needs(place, locator, band, group)
    best = highest(found)
    earlier = before(store, [call.upper()], band, group)[call.upper()]
    slots = counted.slots["entity"].get(place.entity, {}) if place else {}
    grid = {
        name: {
            how: ("confirmed" if slots[name, how] & CONFIRMED else "worked") for how in GROUPS if (name, how) in slots
        }
        for name in EDGES_HZ
        if name in HF_BANDS or any(key[0] == name for key in slots)
    }
    if as_json:
        content: dict[str, Any] = {
            "call": call.upper(),
            "entity": place.entity if place else None,
            "entity_name": place.name if place else None,
            "continent": (place.continent or None) if place else None,
            "cq_zone": (place.cq_zone or None) if place else None,
            "itu_zone": (place.itu_zone or None) if place else None,
            "band": band or None,
            "mode": group or None,
            "needs": [{"by": need.kind, "value": need.value, "level": need.level} for need in found],
            "worked_before": earlier.count,
            "duplicate": earlier.same_slot,
            "slots": grid,
        }
        click.echo(json.dumps(content))
        return
    if place is None:
        click.echo(f"{call.upper()}: no entity is known for this call.")
    else:
        zones = f", CQ zone {place.cq_zone}, ITU zone {place.itu_zone}" if place.cq_zone else ""
        click.echo(f"{call.upper()}: {place.name}{f', {place.continent}' if place.continent else ''}{zones}.")
    for need in found if band and group else [need for need in found if need.level == "new"]:
        click.echo(f"  {NAMES[need.kind]} {name_of(need.kind, need.value)}: {WORDS[need.level]}")
    if best is not None and best.level != "new" and not (band and group):
        click.echo("  Add --freq and --mode to see what this band and mode would bring.")
    if earlier.count:
        what = (
            "a duplicate on this band in this kind of mode" if earlier.same_slot else "on other bands or in other modes"
        )
        click.echo(f"  This station was worked {earlier.count} times before: {what}.")
    if slots:
        click.echo("  " + " " * 7 + "".join(f"{how:<11}" for how in GROUPS))
        for name, row in grid.items():
            click.echo(f"  {name:<7}" + "".join(f"{row.get(how, '·'):<11}" for how in GROUPS).rstrip())
