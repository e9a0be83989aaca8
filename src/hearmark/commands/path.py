"""`hearmark path`: is there a path, when, and which way to point."""

from __future__ import annotations

import csv
import json as jsons
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hearmark.commands.repeaters import place_of
from hearmark.commands.shared import FLOAT, FiniteRange
from hearmark.errors import HearmarkError

if TYPE_CHECKING:
    from hearmark.path.heard import Heard
    from hearmark.path.places import Place

FILE = click.Path(path_type=Path)
NOISE = click.Choice(["city", "residential", "rural", "quiet"])


@click.command()
@click.option("--from", "start", help="Locator, or LAT,LON; from the settings if left out.")
@click.option("--to", "ends", required=True, multiple=True,
              help="Locator, LAT,LON, or a call or prefix; several --to give a table of today's chances.")  # fmt: skip
@click.option("--date", "day", type=click.DateTime(formats=["%Y-%m-%d"]), help="UTC; the 24 h from now if left out.")
@click.option("--frequencies-mhz", "frequencies", help="Like 18.1,21.2; the amateur bands if left out.")
@click.option("--power-w", type=FLOAT, help="At your antenna; from the settings if left out.")
@click.option("--far-power-w", type=FLOAT, default=100.0, show_default=True, help="At his antenna.")
@click.option("--antenna", "own_antenna",
              help="From the settings if left out, else usual. One of usual (the better of vertical and dipole:10), "
                   "vertical, halfwave (vertical), dipole:METRES, beam:METRES, isotropic, or CSV of "
                   "elevation_deg,gain_dbi.")  # fmt: skip
@click.option("--far-antenna", default="usual", show_default=True, help="The same, at his end.")
@click.option("--noise", "own_noise", type=NOISE, default="residential", show_default=True, help="Around you.")
@click.option("--far-noise", type=NOISE, default="residential", show_default=True, help="Around him.")
@click.option("--required-db-hz", type=FLOAT, default=27.0, show_default=True,
              help="Signal over noise density that serves: 27 for Morse, 43 for speech.")  # fmt: skip
@click.option("--solar-flux", type=FLOAT, help="10.7 cm flux, smoothed; the shipped table if left out.")
@click.option("--sunspots", type=FLOAT, help="Smoothed sunspot number, as published since 2015.")
@click.option("--cycle", "table", type=FILE, help="CSV with month,sunspots in place of the shipped table.")
@click.option("--kp", type=FiniteRange(0.0, 9.0), help="Planetary index now; quiet if left out.")
@click.option("--heard", type=FILE, help="What you hear: CSV time,place,frequency_mhz,snr_db_hz,power_w; corrects.")
@click.option("--picture", type=FILE, help="Write the timeline here, as PNG.")
@click.option("--settings", "settings_path", type=FILE, help="Settings file (TOML).")
@click.option("--json", "as_json", is_flag=True, help="Print the facts as JSON.")
def path(**options: Any) -> None:
    """Chance, hour by hour and band by band, that a station can be worked."""
    from hearmark.files import check_outputs, write_whole
    from hearmark.path import today
    from hearmark.path.antenna import read_antenna, station_antenna
    from hearmark.path.chances import predict
    from hearmark.path.conditions import Conditions, Equipment
    from hearmark.path.heard import learn
    from hearmark.path.outlook import document, readable
    from hearmark.settings import read_settings, usual_file

    antennas = [Path(name) for name in (options["own_antenna"], options["far_antenna"]) if name]
    read = [
        options["table"],
        options["heard"],
        options["settings_path"] or usual_file(),
        *filter(Path.is_file, antennas),
    ]
    check_outputs([options["picture"]], read)
    settings = read_settings(options["settings_path"])
    station = settings.station
    here = place_of(options["start"] or station.locator or _nowhere(), "--from")
    there = [resolve(text, "--to") for text in options["ends"]]
    now = datetime.now(UTC)
    begin = options["day"].replace(tzinfo=UTC) if options["day"] else now.replace(minute=0, second=0, microsecond=0)
    if not 1900 <= begin.year <= 2100:
        raise HearmarkError(f"--date {begin:%Y-%m-%d} is out of range; the maps serve from 1900 to 2100.")
    power_w = station.power_w if options["power_w"] is None else options["power_w"]
    named = options["own_antenna"]
    antenna = station_antenna(settings) if named is None else read_antenna(named)
    own = Equipment(_watts(power_w, "--power-w"), antenna, options["own_noise"])
    far = Equipment(
        _watts(options["far_power_w"], "--far-power-w"), read_antenna(options["far_antenna"]), options["far_noise"]
    )
    conditions = Conditions(_activity(options, begin.date()), options["kp"])
    times = [begin + timedelta(hours=h) for h in range(24)]
    required = options["required_db_hz"]
    if not -50.0 <= required <= 150.0:
        raise HearmarkError(f"--required-db-hz {required:g} is out of range; give dB-Hz, like 27 for Morse.")
    learnt = None
    if options["heard"]:
        learnt = learn(here, _read_heard(options["heard"]), conditions, own, far)
        conditions = learnt.conditions
    chances = predict(here, there, times, frequencies_hz(options["frequencies"]), conditions, own, far, required)
    if len(there) > 1:
        rows = today.ranked(chances, list(options["ends"]))
        click.echo(
            jsons.dumps({"schema": 1, "stations": rows}, indent=1) if options["as_json"] else today.readable(rows)
        )
        return
    content = document(chances, conditions, own, far)
    content["learnt"] = None if learnt is None else learnt.facts()
    if options["picture"]:
        from hearmark.path.timeline import timeline_png

        write_whole(options["picture"], timeline_png(chances, now=now))
    if options["as_json"]:
        click.echo(jsons.dumps(content, indent=1))
    else:
        click.echo(readable(content, chances, now=None if options["day"] else now), nl=False)
        if learnt is not None:
            click.echo("\n" + learnt.sentence())


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


def _read_heard(path: Path) -> list[Heard]:
    """Measurements from CSV; an empty snr_db_hz means that he was known to send and not heard."""
    from hearmark.path.heard import Heard

    found = []
    try:
        rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    except (OSError, UnicodeDecodeError):
        raise HearmarkError(f"Cannot read {path}; give CSV with time,place,frequency_mhz,snr_db_hz,power_w.") from None
    if not rows or not {"time", "place", "frequency_mhz"} <= set(rows[0]):
        raise HearmarkError(
            f"{path} holds no measurements; give CSV whose first line is time,place,frequency_mhz,snr_db_hz,power_w."
        )
    for number, row in enumerate(rows, 2):
        try:
            when = datetime.fromisoformat(row["time"].strip())
            level = (row.get("snr_db_hz") or "").strip()
            power_w = float((row.get("power_w") or "100").strip())
            frequency_hz, snr_db_hz = float(row["frequency_mhz"]) * 1e6, float(level) if level else None
        except (KeyError, ValueError, AttributeError):
            raise HearmarkError(
                f"{path}, line {number}: expected time,place,frequency_mhz,snr_db_hz,power_w, "
                "like 2026-03-21T15:00Z,FN31,14.02,45,100."
            ) from None
        when = when if when.tzinfo else when.replace(tzinfo=UTC)
        place = resolve(row.get("place") or "", f"{path}, line {number}: place")
        found.append(Heard(place, when, frequency_hz, snr_db_hz, _watts(power_w, f"{path}, line {number}: power_w")))
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
