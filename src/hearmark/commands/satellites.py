"""hearmark pass: when a satellite passes, and what to tune on both ends."""

from __future__ import annotations

import json as jsons
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hearmark.commands.repeaters import place_of
from hearmark.commands.shared import FLOAT, FiniteRange
from hearmark.errors import HearmarkError

if TYPE_CHECKING:
    from hearmark.duplex.doppler import Transponder
    from hearmark.duplex.elements import Elements
    from hearmark.duplex.orbit import Pass
    from hearmark.path.places import Place

FILE = click.Path(path_type=Path)
MODE = click.Choice(["fm", "cw", "usb", "lsb"])
TIME = click.DateTime(formats=["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d"])
HELD = click.Choice(["satellite", "downlink", "uplink"])
"""The frequency at the satellite, our receive dial, or our transmit dial."""
ROWS = 9
"""Lines of tuning in each pass."""


@click.command("pass")
@click.option("--elements", "path", type=FILE, required=True, help="TLE or OMM file.")
@click.option("--satellite", "name", help="Name or number; all of the file if left out.")
@click.option("--from", "start", help="Locator or LAT,LON; from the settings if left out.")
@click.option("--height-m", type=FLOAT, default=0.0, show_default=True, help="Of the place above the sea.")
@click.option("--date", "begin", type=TIME, help="Begin, UTC; now if left out.")
@click.option("--hours", type=FLOAT, default=24.0, show_default=True)
@click.option("--min-elevation", "least_deg", type=FLOAT, default=5.0, show_default=True, help="Degrees at the top.")
@click.option(
    "--oldest", "oldest_days", type=FLOAT, default=30.0, show_default=True, help="Days; older elements are refused."
)
@click.option("--uplink", help="MHz, or LOW-HIGH of a linear transponder.")
@click.option("--downlink", help="MHz, or LOW-HIGH of a linear transponder.")
@click.option("--inverting", is_flag=True, help="The transponder turns the band around.")
@click.option("--uplink-mode", type=MODE, default="fm", show_default=True)
@click.option("--downlink-mode", type=MODE, default="fm", show_default=True)
@click.option("--tone", default="", help="Tone that opens the uplink.")
@click.option("--hold", type=HELD, default="satellite", show_default=True, help="Frequency that stays constant.")
@click.option("--at", "at_mhz", type=FLOAT, help="What is held, in MHz; the middle if left out.")
@click.option("--dead-band", "dead_band_hz", type=FLOAT, default=50.0, show_default=True, help="Hz; with --radio.")
@click.option("--radio", "address", help='Follow live with the radio at HOST:PORT, or "simulated".')
@click.option("--seconds", type=FiniteRange(0.0), help="With --radio: end after so long.")
@click.option("--settings", "settings_path", type=FILE, help="Settings file (TOML).")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def passes(path: Path, as_json: bool, **options: Any) -> None:
    """Passes of satellites over a place, and with --uplink and --downlink what to tune on both ends."""
    from hearmark.duplex import orbit
    from hearmark.duplex.elements import choose, read_elements
    from hearmark.settings import read_settings

    where = options["start"] or read_settings(options["settings_path"]).station.locator
    if not where:
        raise HearmarkError("Your own place is not known; add --from LOCATOR, or station.locator to the settings.")
    here = place_of(where, "--from")
    begin = options["begin"].replace(tzinfo=UTC) if options["begin"] else datetime.now(UTC).replace(microsecond=0)
    hours = options["hours"]
    if not 0.0 < hours <= 24.0 * 31:
        raise HearmarkError(f"--hours {hours:g} cannot be; give more than 0 and at most {24 * 31}.")
    if not -90.0 <= options["least_deg"] < 90.0:
        raise HearmarkError(f"--min-elevation {options['least_deg']:g} cannot be; give degrees below 90.")
    chosen = choose(read_elements(path), options["name"])
    for one in chosen:
        one.check_age(begin, options["oldest_days"])
    through = _transponder(options)
    if options["address"]:
        if through is None or len(chosen) != 1:
            raise HearmarkError("To follow live, name one --satellite with its --uplink and --downlink.")
        _follow(chosen[0], here, through, options)
        return
    found = sorted(
        (
            (one, each)
            for one in chosen
            for each in orbit.passes(
                one, here.latitude_deg, here.longitude_deg, begin, hours, options["least_deg"], options["height_m"]
            )
        ),
        key=lambda pair: pair[1].rise,
    )
    if as_json:
        rows = [_values(one, each, here, through, options) for one, each in found]
        click.echo(jsons.dumps({"place": str(here), "passes": rows}, indent=2))
        return
    if not found:
        click.echo(f"No pass above {options['least_deg']:g} degrees within {hours:g} h.")
    for one, each in found:
        _show(one, each, here, through, options)


def _transponder(options: dict[str, Any]) -> Transponder | None:
    from hearmark.duplex.doppler import Transponder

    if not options["uplink"] and not options["downlink"]:
        return None
    if not options["uplink"] or not options["downlink"]:
        raise HearmarkError("Give both --uplink and --downlink.")
    up, down = _span(options["uplink"], "--uplink"), _span(options["downlink"], "--downlink")
    return Transponder(
        *up, *down, options["inverting"], options["uplink_mode"], options["downlink_mode"], options["tone"]
    )


def _span(text: str, option: str) -> tuple[float, float]:
    try:
        ends = [round(float(part) * 1e6, 3) for part in text.split("-")]
    except ValueError:
        ends = []
    if len(ends) not in (1, 2) or not all(0.0 < hz < 300e9 for hz in ends):
        raise HearmarkError(f"{option} {text!r} is no frequency; give MHz like 145.96, or a span like 145.93-145.99.")
    return ends[0], ends[-1]


def _values(
    one: Elements, each: Pass, here: Place, through: Transponder | None, options: dict[str, Any]
) -> dict[str, Any]:
    return {
        "satellite": each.name,
        "rise_utc": each.rise.isoformat(timespec="seconds"),
        "culmination_utc": each.culmination.isoformat(timespec="seconds"),
        "set_utc": each.set.isoformat(timespec="seconds"),
        "rise_azimuth_deg": round(each.rise_azimuth_deg, 1),
        "culmination_azimuth_deg": round(each.top_azimuth_deg, 1),
        "set_azimuth_deg": round(each.set_azimuth_deg, 1),
        "max_elevation_deg": round(each.top_elevation_deg, 1),
        "elements_age_days": round(each.age_days, 2),
        "tuning": _tuning_rows(one, each, here, through, options),
    }


def _tuning_rows(
    one: Elements, each: Pass, here: Place, through: Transponder | None, options: dict[str, Any]
) -> list[dict[str, Any]]:
    import numpy as np

    from hearmark.duplex.doppler import tuning
    from hearmark.duplex.orbit import sky

    if through is None:
        return []
    seconds = np.linspace(0.0, (each.set - each.rise).total_seconds(), ROWS)
    seen = sky(one, here.latitude_deg, here.longitude_deg, each.rise, seconds, options["height_m"])
    at_hz = None if options["at_mhz"] is None else options["at_mhz"] * 1e6
    rows = []
    for k, second in enumerate(seconds):
        now = tuning(through, float(seen.rate_km_s[k]), options["hold"], at_hz)
        rows.append(
            {
                "utc": (each.rise + timedelta(seconds=float(second))).isoformat(timespec="seconds"),
                "azimuth_deg": round(float(seen.azimuth_deg[k]), 1),
                "elevation_deg": round(float(seen.elevation_deg[k]), 1) + 0.0,
                "range_km": round(float(seen.range_km[k]), 1),
                "range_rate_km_s": round(float(seen.rate_km_s[k]), 4),
                "receive_hz": round(now.receive_hz),
                "transmit_hz": round(now.transmit_hz),
            }
        )
    return rows


def _show(one: Elements, each: Pass, here: Place, through: Transponder | None, options: dict[str, Any]) -> None:
    click.echo(
        f"{each.name}: {each.rise:%Y-%m-%d %H:%M:%S} at {each.rise_azimuth_deg:.0f} deg, "
        f"top {each.culmination:%H:%M:%S} {each.top_elevation_deg:.0f} deg high, "
        f"down {each.set:%H:%M:%S} at {each.set_azimuth_deg:.0f} deg UTC; "
        f"elements {each.age_days:.1f} days old"
    )
    for row in _tuning_rows(one, each, here, through, options):
        click.echo(
            f"    {row['utc'][11:19]}  az {row['azimuth_deg']:5.1f}  el {row['elevation_deg']:4.1f}  "
            f"hear {row['receive_hz'] / 1e6:11.5f}  send {row['transmit_hz'] / 1e6:11.5f} MHz"
        )


def _follow(one: Elements, here: Place, through: Transponder, options: dict[str, Any]) -> None:
    """Live: both dials whenever one of them is further off than the dead band; nothing while the key is down."""
    from hearmark.commands.radio import connect
    from hearmark.duplex.doppler import plan, steps
    from hearmark.duplex.orbit import sky
    from hearmark.radio.moves import Moves
    from hearmark.radio.port import KeyDown

    at_hz = None if options["at_mhz"] is None else options["at_mhz"] * 1e6
    port = connect(options["address"])
    moves = Moves(port)
    end_s = None if options["seconds"] is None else time.monotonic() + options["seconds"]
    set_rate: float | None = None
    try:
        while end_s is None or time.monotonic() < end_s:
            now = datetime.now(UTC)
            one.check_age(now, options["oldest_days"])
            seen = sky(one, here.latitude_deg, here.longitude_deg, now, 0.0, options["height_m"])
            rate = float(seen.rate_km_s[0])
            rates = [rate] if set_rate is None else [set_rate, rate]
            *_, (index, tuned) = steps(through, rates, options["hold"], at_hz, options["dead_band_hz"])
            if set_rate is None or index == 1:
                try:
                    outcome = moves.set(plan(through, tuned), tuned.transmit_hz)
                except KeyDown:
                    pass  # the dials wait until the key is up
                else:
                    if not outcome.ok:
                        raise HearmarkError(f"Do not send: {outcome.why}.")
                    set_rate = rate
                    click.echo(f"{now:%H:%M:%S}  el {seen.elevation_deg[0]:5.1f}  {outcome.why}")
            time.sleep(0.2)
    finally:
        port.close()
