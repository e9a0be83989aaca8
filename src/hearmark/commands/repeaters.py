"""hearmark repeaters: a list from a CSV file, with pairs, tones, distance and whether one may send there."""

from __future__ import annotations

import json as jsons
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hearmark.commands.duplex import licence_table
from hearmark.commands.shared import FLOAT
from hearmark.errors import HearmarkError

if TYPE_CHECKING:
    from hearmark.duplex.privileges import Table
    from hearmark.duplex.repeaters import Repeater
    from hearmark.path.places import Place

FILE = click.Path(path_type=Path)


def place_of(text: str, option: str) -> Place:
    """A locator or LAT,LON."""
    from hearmark.path.places import read_place

    place = read_place(text)
    if place is None:
        raise HearmarkError(f"{option} {text!r} is no place; give a locator like JO50ab, or LAT,LON like 50.1,8.7.")
    return place


@click.command()
@click.argument("file", type=FILE)
@click.option("--from", "start", help="Locator or LAT,LON; from the settings if left out.")
@click.option("--band", help="Only this band, like 2m.")
@click.option("--within", "within_km", type=FLOAT, help="Only so near, in kilometres.")
@click.option("--region", type=click.IntRange(1, 3), default=1, show_default=True, help="ITU region, for usual shifts.")
@click.option("--licence", help="Privileges table; from the settings if left out.")
@click.option("--set", "chosen", help="Set the radio to the repeater of this name.")
@click.option("--address", help='Radio control at HOST:PORT, or "simulated", for --set; else from the settings.')
@click.option("--settings", "settings_path", type=FILE, help="Settings file (TOML).")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def repeaters(
    file: Path, start: str | None, band: str | None, within_km: float | None, region: int, licence: str | None,
    chosen: str | None, address: str | None, settings_path: Path | None, as_json: bool,
) -> None:  # fmt: skip
    """List repeaters from a CSV file: name, output_mhz, input_mhz or shift_mhz, tone, mode, locator, note."""
    from hearmark.duplex.bands import band_named, band_of
    from hearmark.duplex.privileges import verdict
    from hearmark.duplex.repeaters import read_repeaters, shifts
    from hearmark.path.geodesic import route
    from hearmark.path.places import read_place
    from hearmark.settings import read_settings

    settings = read_settings(settings_path)
    held = licence_table(licence, None, settings)
    if band is not None and band_named(band) is None:
        raise HearmarkError(f'There is no band "{band}"; give one like 2m or 70cm.')
    where = start or settings.station.locator
    here = place_of(where, "--from") if where else None
    if within_km is not None and here is None:
        raise HearmarkError("Your own place is not known; add --from LOCATOR.")
    known = read_repeaters(file, region)
    if chosen is not None:
        _set(known, chosen, held, settings.radio.address if address is None else address)
        return
    rows: list[dict[str, Any]] = []
    for one in known:
        if band is not None and band_of(one.output_hz) != band_named(band):
            continue
        there = read_place(one.locator) if one.locator else None
        away = route(here, there) if here and there else None
        if within_km is not None and (away is None or away.distance_km > within_km):
            continue
        said = verdict(held, one.input_hz, one.mode)
        rows.append(
            {
                "name": one.name,
                "receive_hz": one.output_hz,
                "transmit_hz": one.input_hz,
                "shift_hz": one.shift_hz,
                "shift_guessed": one.guessed,
                "tone": one.tone,
                "mode": one.mode,
                "duplex": "half",
                "distance_km": None if away is None else round(away.distance_km, 1),
                "bearing_deg": None if away is None else round(away.bearing_deg, 1),
                "lawful": said.lawful,
                "why": said.why,
                "note": one.note,
            }
        )
    rows.sort(key=lambda row: (row["distance_km"] is None, row["distance_km"] or 0.0, row["receive_hz"]))
    if as_json:
        click.echo(jsons.dumps({"repeaters": rows}, indent=2))
        return
    if not rows:
        click.echo("None in the file fits.")
    for row in rows:
        far = f"  {row['distance_km']:6.1f} km {row['bearing_deg']:3.0f} deg" if row["distance_km"] is not None else ""
        tone = f"  tone {row['tone']}" if row["tone"] else ""
        guessed = " (usual shift, not in the list)" if row["shift_guessed"] else ""
        may = {True: "", False: "  you may NOT send there", None: ""}[row["lawful"]]
        click.echo(
            f"{row['name']:12s} hear {row['receive_hz'] / 1e6:10.4f}  send {row['transmit_hz'] / 1e6:10.4f} MHz"
            f"{tone}{far}{may}{guessed}  {row['note']}".rstrip()
        )
    click.echo(f"Input and output are a pair: we are half duplex on it. {shifts()['caution']}")


def _set(known: list[Repeater], name: str, held: Table | None, where: str) -> None:
    """The radio on one repeater's pair; its tone is said, not set."""
    from hearmark.commands import radio
    from hearmark.duplex.privileges import allowed

    found = [one for one in known if one.name.lower() == name.strip().lower()]
    if not found:
        raise HearmarkError(f'No repeater "{name}" in the list.')
    plan = found[0].plan()
    transmit_hz = radio.call_hz(plan, allowed(held, plan.mode, plan.listen_low_hz), None)
    port = radio.connect(where)
    try:
        dials = radio.set_radio(port, plan, transmit_hz)
    finally:
        port.close()
    tone = f" Its tone is {plan.tone}: switch it on at the radio." if plan.tone else ""
    click.echo(f"{found[0].name}: the radio {radio.in_words(dials)}.{tone}")
