"""Commands of the duplex room: split, repeaters, pass, exposure."""

from __future__ import annotations

import json as jsons
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hearmark.commands.shared import FLOAT, Announced, FiniteRange, hz
from hearmark.errors import HearmarkError
from hearmark.events import Allowed, Mode, Plan

if TYPE_CHECKING:
    from hearmark.duplex.announcement import Reading
    from hearmark.duplex.privileges import Table, Verdict
    from hearmark.settings import Settings

FILE = click.Path(path_type=Path)
DAY = click.DateTime(formats=["%Y-%m-%d"])


def licence_table(licence: str | None, own: Path | None, settings: Settings) -> Table | None:
    """The privileges that apply: by option, else by the settings; None when neither says."""
    from hearmark.duplex.privileges import table

    name = settings.station.licence if licence is None else licence
    file = own if own is not None else Path(settings.station.privileges) if settings.station.privileges else None
    if not name and file is None:
        return None
    return table(name, file)


def allowed_event(licence: str, dx_hz: float, mode: Mode | None) -> Allowed:
    """Where a licence lets us send in the band of the DX, for the engine; the band's usual mode if none is given."""
    from hearmark.duplex.bands import usual_mode
    from hearmark.duplex.privileges import allowed, table

    return allowed(table(licence), mode or usual_mode(dx_hz), dx_hz)


@click.command(cls=Announced)
@click.argument("announcement", nargs=-1, required=True)
@click.option("--on", "on_khz", type=FLOAT, required=True, help="Where the DX sends, in kHz.")
@click.option("--mode", type=click.Choice(["cw", "usb", "lsb"]), help="By the band's custom if left out.")
@click.option("--licence", help="Privileges table, like us-general; from the settings if left out.")
@click.option("--privileges", "own", type=FILE, help="TOML file with a table of your own.")
@click.option("--plan", "band_plan", help="Band plan to compare with, like iaru-1; it is no law.")
@click.option(
    "--bandwidth",
    "bandwidth_hz",
    type=FiniteRange(0.0),
    help="Occupied bandwidth in Hz; usual for the mode if left out.",
)
@click.option("--date", "day", type=DAY, help="Rules of that day; today if left out.")
@click.option(
    "--at", "at_khz", type=FLOAT, help="Where you want to call, in kHz; the middle of the window if left out."
)
@click.option("--reach", "reach_khz", type=FLOAT, default=9.99, show_default=True, help="Of your RIT or XIT, kHz.")
@click.option("--settings", "settings_path", type=FILE, help="Settings file (TOML).")
@click.option("--radio", "set_it", is_flag=True, help="Also set the radio of the settings to the likeliest reading.")
@click.option("--json", "as_json", is_flag=True, help="Print the readings as JSON.")
def split(
    announcement: tuple[str, ...], on_khz: float, mode: Mode | None, licence: str | None, own: Path | None,
    band_plan: str | None, bandwidth_hz: float | None, day: datetime | None, at_khz: float | None, reach_khz: float,
    settings_path: Path | None, set_it: bool, as_json: bool,
) -> None:  # fmt: skip
    """What an announcement like "5 to 10 up" means: where he listens, whether you may send there, how to set it."""
    from hearmark.duplex.announcement import readings
    from hearmark.duplex.bands import usual_mode
    from hearmark.duplex.privileges import table, verdict
    from hearmark.settings import read_settings

    settings = read_settings(settings_path)
    held = licence_table(licence, own, settings)
    good = band_plan or settings.station.band_plan
    practice = table(good) if good else None
    text = " ".join(announcement)
    on_hz = hz(on_khz, "--on")
    mode = mode or usual_mode(on_hz)
    found = readings(text, on_hz, mode)
    if not found:
        raise HearmarkError(
            f'"{text}" does not say where he listens; write it like "up 5 to 10", "down 2", "listening 148 to 155", '
            '"QSX 18151", "split" or "simplex".'
        )
    date = None if day is None else day.date()
    if not reach_khz > 0.0:
        raise HearmarkError(f"--reach {reach_khz:g} cannot be; give more than 0 kHz.")
    at_hz = None if at_khz is None else hz(at_khz, "--at")
    rows = [_row(reading, held, bandwidth_hz, date) for reading in found]
    transmit_hz = _transmit_hz(found[0].plan, rows[0], at_hz)
    said = _set_radio(found[0], held, bandwidth_hz, date, at_khz, settings) if set_it else None
    if as_json:
        click.echo(jsons.dumps({"readings": rows} | ({"radio": said[1]} if said else {}), indent=2))
        return
    click.echo(f'"{text}" on {on_khz:.2f} kHz, {mode.upper()}:')
    for row in rows:
        low, high = row["listen_low_hz"] / 1e3, row["listen_high_hz"] / 1e3
        where = f"{low:.2f}" if low == high else f"{low:.2f} to {high:.2f}"
        may = {True: "you may send there", False: "you may NOT send there", None: "unknown whether you may send there"}
        partly = row["lawful"] is False and row["allowed_hz"]
        said_may = "you may send in a part of it only" if partly else may[row["lawful"]]
        click.echo(f"  {100 * row['probability']:3.0f} %  he listens {where} kHz; {said_may}. {row['why']}.")
    there = None if at_hz is None else verdict(held, at_hz, mode, bandwidth_hz, date)
    _show_setting(found[0].plan, transmit_hz, there, reach_khz)
    if said:
        click.echo(f"The radio {said[0]}.")
    if practice is not None:
        click.echo(f"Band plan: {verdict(practice, found[0].plan.listen_low_hz, mode, bandwidth_hz, date).why}.")
    click.echo(
        "Privileges are a transcription: your licence and the rules where you operate decide. "
        "Hearmark never keys a transmitter."
    )


def _set_radio(
    reading: Reading, held: Table | None, bandwidth_hz: float | None, day: Any, at_khz: float | None, settings: Settings
) -> tuple[str, dict[str, Any]]:
    """Set the radio to a reading; what it shows then, in words and values."""
    from hearmark.commands import radio
    from hearmark.duplex.privileges import allowed

    may = allowed(held, reading.plan.mode, None, bandwidth_hz, day)
    transmit_hz = radio.call_hz(reading.plan, may, at_khz)
    port = radio.counted(radio.connect(settings.radio.address), settings, lambda: reading.plan.mode == "cw")
    try:
        dials = radio.set_radio(port, reading.plan, transmit_hz)
    finally:
        port.close()
    return radio.in_words(dials), radio.dials_as_values(dials)


def _row(reading: Reading, held: Table | None, bandwidth_hz: float | None, day: Any) -> dict[str, Any]:
    from hearmark.duplex.callers import whom_words
    from hearmark.duplex.privileges import allowed, cut, window_verdict

    plan = reading.plan
    may = allowed(held, plan.mode, None, bandwidth_hz, day)
    parts = cut(plan, may)
    said = window_verdict(held, plan, parts, bandwidth_hz, day)
    whom = f"; {whom_words(reading.who)}" if reading.who else ""
    return {
        "receive_hz": plan.receive_hz,
        "listen_low_hz": plan.listen_low_hz,
        "listen_high_hz": plan.listen_high_hz,
        "probability": round(reading.probability, 4),
        "lawful": said.lawful,
        "why": f"{reading.why}{whom}; {said.why}",
        "mode": plan.mode,
        "kind": plan.kind,
        "duplex": plan.duplex,
        "who": list(reading.who),
        "allowed_hz": [list(part) for part in parts] if may.known else None,
    }


def _transmit_hz(plan: Plan, row: dict[str, Any], at_hz: float | None) -> float | None:
    """Where to call: as asked, else the middle of the widest part that may be used; None: no part may.

    Raises HearmarkError outside the bands and on top of the DX.
    """
    from hearmark.duplex.setting import start_hz
    from hearmark.radio.refusal import refuse_band, refuse_covering

    window_hz = (plan.listen_low_hz, plan.listen_high_hz)
    parts = row["allowed_hz"]
    transmit_hz = start_hz(plan, parts or [window_hz]) if at_hz is None else at_hz
    refuse_band(plan, transmit_hz)
    if at_hz is None and parts == []:
        return None
    refuse_covering(plan, transmit_hz)
    return transmit_hz


def _show_setting(plan: Plan, transmit_hz: float | None, there: Verdict | None, reach_khz: float) -> None:
    from hearmark.duplex.setting import Incremental, ways

    if there is not None and there.lawful is False:
        click.echo(f"You may NOT call where you want to: {there.why}.")
        return
    if transmit_hz is None:
        click.echo("No part of that window may be used: choose another place.")
        return
    if not plan.listen_low_hz - 0.5 <= transmit_hz <= plan.listen_high_hz + 0.5:
        click.echo(f"Note: {transmit_hz / 1e3:.2f} kHz lies outside the window.")
    click.echo(f"Set it: hear {plan.receive_hz / 1e3:.2f}, call on {transmit_hz / 1e3:.2f} kHz")
    for way in ways(plan, transmit_hz, Incremental(limit_hz=reach_khz * 1e3)):
        how = "; ".join(way.steps) if way.possible else f"cannot be done: {way.why_not}"
        rounding = f" ({way.off_hz:+.0f} Hz by its step)" if abs(way.off_hz) >= 1.0 else ""
        click.echo(f"  {way.kind}: {how}{rounding}.")
