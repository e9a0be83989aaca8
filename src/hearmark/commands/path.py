"""`hearmark path`: is there a path, when, and which way to point."""

from __future__ import annotations

import json as jsons
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hearmark.errors import HearmarkError

if TYPE_CHECKING:
    from hearmark.path.places import Place

FILE = click.Path(path_type=Path)
NOISE = click.Choice(["city", "residential", "rural", "quiet"])


@click.command()
@click.option("--from", "start", help="Locator, or LAT,LON; from the settings if left out.")
@click.option("--to", "end", required=True, help="Locator, LAT,LON, or a call or prefix of his entity.")
@click.option("--date", "day", type=click.DateTime(formats=["%Y-%m-%d"]), help="UTC; the 24 h from now if left out.")
@click.option("--frequencies-mhz", "frequencies", help="Like 18.1,21.2; the amateur bands if left out.")
@click.option("--power-w", type=float, help="At your antenna; from the settings if left out.")
@click.option("--far-power-w", type=float, default=100.0, show_default=True, help="At his antenna.")
@click.option("--antenna", "own_antenna", default="usual", show_default=True,
              help="usual (the better of vertical and dipole:10), vertical, dipole:METRES, beam:METRES, isotropic, "
                   "or CSV of elevation_deg,gain_dbi.")  # fmt: skip
@click.option("--far-antenna", default="usual", show_default=True, help="The same, at his end.")
@click.option("--noise", "own_noise", type=NOISE, default="residential", show_default=True, help="Around you.")
@click.option("--far-noise", type=NOISE, default="residential", show_default=True, help="Around him.")
@click.option("--required-db-hz", type=float, default=27.0, show_default=True,
              help="Signal over noise density that serves: 27 for Morse, 43 for speech.")  # fmt: skip
@click.option("--solar-flux", type=float, help="10.7 cm flux, smoothed; the shipped table if left out.")
@click.option("--sunspots", type=float, help="Smoothed sunspot number, as published since 2015.")
@click.option("--cycle", "table", type=FILE, help="CSV with month,sunspots in place of the shipped table.")
@click.option("--kp", type=click.FloatRange(0.0, 9.0), help="Planetary index now; quiet if left out.")
@click.option("--picture", type=FILE, help="Write the timeline here, as PNG.")
@click.option("--settings", "settings_path", type=FILE, help="Settings file (TOML).")
@click.option("--json", "as_json", is_flag=True, help="Print the facts as JSON.")
def path(**options: Any) -> None:
    """Chance, hour by hour and band by band, that a station can be worked."""
    from hearmark.files import check_writable, write_whole
    from hearmark.path.antenna import read_antenna
    from hearmark.path.chances import predict
    from hearmark.path.conditions import Conditions, Equipment
    from hearmark.path.outlook import document, readable
    from hearmark.settings import read_settings

    if options["picture"]:
        check_writable(options["picture"])
    station = read_settings(options["settings_path"]).station
    here = resolve(options["start"] or station.locator or _nowhere(), "--from")
    there = resolve(options["end"], "--to")
    now = datetime.now(UTC)
    begin = options["day"].replace(tzinfo=UTC) if options["day"] else now.replace(minute=0, second=0, microsecond=0)
    power_w = station.power_w if options["power_w"] is None else options["power_w"]
    own = Equipment(_watts(power_w, "--power-w"), read_antenna(options["own_antenna"]), options["own_noise"])
    far = Equipment(
        _watts(options["far_power_w"], "--far-power-w"), read_antenna(options["far_antenna"]), options["far_noise"]
    )
    conditions = Conditions(_activity(options, begin.date()), options["kp"])
    times = [begin + timedelta(hours=h) for h in range(24)]
    required = options["required_db_hz"]
    chances = predict(here, [there], times, frequencies_hz(options["frequencies"]), conditions, own, far, required)
    content = document(chances, conditions, own, far)
    if options["picture"]:
        from hearmark.path.timeline import timeline_png

        write_whole(options["picture"], timeline_png(chances, now=now))
    if options["as_json"]:
        click.echo(jsons.dumps(content, indent=1))
    else:
        click.echo(readable(content, chances, now=None if options["day"] else now), nl=False)


def resolve(text: str, option: str) -> Place:
    """A place from coordinates, a locator, or what the call of a station tells."""
    from hearmark.log.whereabouts import find_place

    place = find_place(text)
    if place is None:
        raise HearmarkError(
            f"{option} {text!r} is no known place; give a locator like JO50ab, LAT,LON like 50.1,8.7, or a call."
        )
    return place


def frequencies_hz(text: str | None) -> list[float]:
    """Frequencies in Hz from "18.1,21.2" in MHz, or one a band."""
    from hearmark.path.bands import BANDS

    if text is None:
        return [middle for _, _, middle in BANDS.values()]
    try:
        found = [float(part) * 1e6 for part in text.split(",")]
    except ValueError:
        raise HearmarkError(f"--frequencies-mhz {text!r} are no frequencies; give MHz like 18.1,21.2.") from None
    return found


def _watts(power_w: float, option: str) -> float:
    if not 1e-3 <= power_w <= 1e7:
        raise HearmarkError(f"{option} {power_w:g} is no power; give watts, like 100.")
    return power_w


def _activity(options: dict[str, Any], day: date) -> float:
    from hearmark.path import solar

    if options["solar_flux"] is not None and options["sunspots"] is not None:
        raise HearmarkError("Give --solar-flux or --sunspots, not both.")
    if options["solar_flux"] is not None:
        return solar.from_flux(options["solar_flux"])
    if options["sunspots"] is not None:
        if not 0.0 <= options["sunspots"] <= 400.0:
            raise HearmarkError(f"--sunspots {options['sunspots']:g} is out of range; give 0 to 400.")
        return solar.old_scale(options["sunspots"])
    return solar.from_table(day, options["table"])


def _nowhere() -> str:
    raise HearmarkError("Your own place is not known; add --from LOCATOR, or station.locator to the settings.")
