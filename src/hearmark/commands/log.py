"""The log: contacts in and out, what is needed, what sessions taught."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from hearmark.commands.contact import as_dict, line_text, mode_text, utc_text
from hearmark.commands.shared import FLOAT, hz, progress
from hearmark.commands.store import FILE, chosen, common, filtering, log_files, moment, open_entities, open_store
from hearmark.errors import HearmarkError

SHOWN = 20
"""So many refusals and remarks are shown; --json holds all."""


AHEAD_S = 600.0
"""So far ahead a clock may be before a contact is said to lie in the future."""


@click.group()
def log() -> None:
    """Contacts: add, list, import, export; what is still needed; what a session taught."""


@log.command("add")
@click.argument("call")
@click.option("--freq", "freq_khz", type=FLOAT, required=True, help="Own transmit frequency in kHz.")
@click.option("--freq-rx", "freq_rx_khz", type=FLOAT, help="Where he was heard, in kHz, if elsewhere.")
@click.option("--mode", required=True, help="Like cw, usb, FT8; any name that ADIF has.")
@click.option("--at", "start", help='UTC start, like "2026-03-21 18:30"; now if left out.')
@click.option("--end", "stop", help="UTC end.")
@click.option("--sent", default="", help="Report sent.")
@click.option("--received", default="", help="Report received.")
@click.option("--power-w", type=FLOAT, help="Own power in watts; from the settings if left out.")
@click.option("--locator", default="", help="His locator.")
@click.option("--sat-name", default="", help="Satellite.")
@click.option("--prop-mode", default="", help="Propagation mode by its ADIF name.")
@click.option("--notes", default="", help="Words of your own.")
@click.option("--calls-made", type=int, help="How often you called.")
@click.option("--took-s", "seconds", type=FLOAT, help="Seconds from the first call to the contact.")
@click.option("--habit", default="", help="How the DX moved.")
@click.option("--field", "more", multiple=True, help="A further ADIF field, NAME=VALUE; may be repeated.")
@common
def add(call: str, settings_path: Path | None, as_json: bool, store: Path | None, **options: Any) -> None:
    """Log a contact. It is on the disk when the command returns; an earlier contact is named."""
    from hearmark.log.contact import read_contact
    from hearmark.log.making import Draft, fields_of
    from hearmark.log.needs import before
    from hearmark.settings import read_settings

    settings = read_settings(settings_path)
    freq_khz, freq_rx_khz = options.pop("freq_khz"), options.pop("freq_rx_khz")
    stop, power_w = options.pop("stop"), options.pop("power_w")
    frequency_hz = hz(freq_khz, "--freq")
    receive_hz = None if freq_rx_khz is None else hz(freq_rx_khz, "--freq-rx")
    draft = Draft(
        call=call,
        frequency_hz=frequency_hz,
        receive_hz=receive_hz,
        start=moment(options.pop("start")),
        stop=moment(stop) if stop else None,
        # A power that nobody gave is not ours to write down
        power_w=settings.station.power_w if power_w is None and settings_path is not None else power_w,
        own_call=settings.station.call,
        own_locator=settings.station.locator,
        offset_hz=None if receive_hz is None else frequency_hz - receive_hz,
        more=tuple(_pair(text) for text in options.pop("more")),
        **options,
    )
    contact = open_entities(settings).complete(read_contact(fields_of(draft)))
    with open_store(store, settings, create=True) as opened:
        earlier = before(opened, [contact.call], contact.band, contact.group)[contact.call]
        kept = opened.add(contact)
    if as_json:
        click.echo(json.dumps({**as_dict(kept), "worked_before": earlier.count, "duplicate": earlier.same_slot}))
        return
    name = as_dict(kept)["entity_name"]
    click.echo(f"Logged {kept.call}{f' ({name})' if name else ''} on {kept.band}, {mode_text(kept)}, number {kept.id}.")
    if kept.start_s > moment(None).timestamp() + AHEAD_S:
        click.echo("Note: its time lies in the future.")
    if earlier.same_slot and earlier.last_s is not None:
        click.echo(f"It was worked before on this band in this kind of mode; last on {utc_text(earlier.last_s)[:10]}.")


def _pair(text: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not equals:
        raise HearmarkError(f'--field "{text}" has no value; write it like NAME=VALUE.')
    return name, value


@log.command("list")
@click.option("--limit", type=int, help="So many at most, the newest.")
@filtering
@common
def list_contacts(
    settings_path: Path | None, as_json: bool, store: Path | None, limit: int | None, **options: Any
) -> None:
    """Show contacts, oldest first."""
    from hearmark.settings import read_settings

    wanted = chosen(options, limit)
    with open_store(store, read_settings(settings_path)) as opened:
        found = opened.find(wanted) if limit is None else iter(list(opened.find(wanted, newest_first=True))[::-1])
        if as_json:
            # One contact a line, and still one JSON document
            click.echo('{"contacts": [', nl=False)
            for number, contact in enumerate(found):
                click.echo(("," if number else "") + "\n" + json.dumps(as_dict(contact)), nl=False)
            click.echo("\n]}")
            return
        total = 0
        for contact in found:
            if not total:
                click.echo("  UTC               call          band   mode       kHz          he (kHz)     entity")
            click.echo(line_text(contact))
            total += 1
        click.echo(f"{total} contact{'' if total == 1 else 's'}.")


@log.command("change")
@click.argument("number", type=int)
@click.option("--field", "changes", multiple=True, required=True, help="ADIF field, NAME=VALUE; NAME= takes it out.")
@common
def change(
    number: int, changes: tuple[str, ...], settings_path: Path | None, as_json: bool, store: Path | None
) -> None:
    """Correct fields of the contact with this number."""
    from hearmark.log.contact import with_fields
    from hearmark.log.making import with_changes
    from hearmark.settings import read_settings

    settings = read_settings(settings_path)
    with open_store(store, settings) as opened:
        old = opened.get(number)
        try:
            new = with_fields(old, with_changes(old.fields, tuple(_pair(text) for text in changes)))
        except HearmarkError as error:
            raise HearmarkError(f"Not changed: {str(error).rstrip('.')}.") from error
        contact = open_entities(settings).complete(new)
        opened.change(contact)
    click.echo(json.dumps(as_dict(contact)) if as_json else f"Changed:\n{line_text(contact)}")


@log.command("remove")
@click.argument("number", type=int)
@common
def remove(number: int, settings_path: Path | None, as_json: bool, store: Path | None) -> None:
    """Take the contact with this number out of the log, and show what it was."""
    from hearmark.settings import read_settings

    with open_store(store, read_settings(settings_path)) as opened:
        contact = opened.get(number)
        opened.remove(number)
    click.echo(json.dumps(as_dict(contact)) if as_json else f"Removed:\n{line_text(contact)}")


@log.command("import")
@click.argument("file", type=FILE)
@click.option("--encoding", help="Of the text, if it is neither UTF-8 nor Windows-1252.")
@common
def import_log(file: Path, encoding: str | None, settings_path: Path | None, as_json: bool, store: Path | None) -> None:
    """Take an ADIF file (ADI or ADX) into the log. Doing it again changes nothing."""
    from hearmark.log.exchange import import_file, size_of
    from hearmark.settings import read_settings

    settings = read_settings(settings_path)
    entities = open_entities(settings)
    total = size_of(file)
    with open_store(store, settings, create=True) as opened, progress("Importing", total) as advance:
        report = import_file(opened, file, entities, encoding, advance)
    if as_json:
        content = {
            "read": report.read,
            "added": report.added,
            "unchanged": report.unchanged,
            "completed": report.completed,
            "refused": [{"line": r.line, "call": r.call or None, "why": r.why} for r in report.refused],
            "remarks": [{"line": line, "call": call, "what": what} for line, call, what in report.remarks],
        }
        click.echo(json.dumps(content))
        return
    records = "record" if report.read == 1 else "records"
    click.echo(
        f"{report.read} {records} read: {report.added} added, {report.unchanged} there already, "
        f"{report.completed} completed, {len(report.refused)} refused."
    )
    _say("Refused", [f"line {r.line}{f', {r.call}' if r.call else ''}: {r.why}" for r in report.refused])
    _say("Noticed", [f"line {line}, {call}: {what}" for line, call, what in report.remarks])


def _say(title: str, lines: list[str]) -> None:
    if lines:
        click.echo(f"{title}:")
    for line in lines[:SHOWN]:
        click.echo(f"  {line}")
    if len(lines) > SHOWN:
        click.echo(f"  and {len(lines) - SHOWN} more; --json lists all.")


@log.command("export")
@click.argument("file", type=FILE)
@filtering
@common
def export_log(file: Path, settings_path: Path | None, as_json: bool, store: Path | None, **options: Any) -> None:
    """Write contacts to an ADIF file: ADX if its name ends in .adx, else ADI."""
    from hearmark.files import check_outputs
    from hearmark.log.exchange import export_file
    from hearmark.log.filters import Filter
    from hearmark.settings import read_settings, usual_file

    settings = read_settings(settings_path)
    check_outputs([file], [*log_files(store, settings), settings_path or usual_file()])
    wanted = chosen(options)
    with open_store(store, settings) as opened, progress("Writing", opened.count()) as advance:
        written, spoilt = export_file(opened, file, None if wanted == Filter() else wanted, advance=advance)
    if as_json:
        click.echo(json.dumps({"written": written, "with_characters_replaced": spoilt}))
        return
    click.echo(f"{written} contact{'' if written == 1 else 's'} written to {file}.")
    if spoilt:
        click.echo(f"{spoilt} hold characters that XML cannot carry, which were replaced; ADI carries them.")


@log.command("needs")
@click.argument("call", required=False)
@click.option("--freq", "freq_khz", type=FLOAT, help="Where he is, in kHz: needs on that band first.")
@click.option("--mode", help="In which mode: cw, usb, FT8 ...")
@click.option("--locator", default="", help="His locator, for fields.")
@click.option(
    "--by", type=click.Choice(["entity", "cq_zone", "itu_zone", "field"]), default="entity", show_default=True
)
@click.option("--band", help="Only this band.")
@click.option("--missing", is_flag=True, help="Name those that were never worked.")
@click.option("--list", "wanted", type=FILE, help="Your own list of what is wanted, TOML or CSV.")
@common
def needs(
    call: str | None, settings_path: Path | None, as_json: bool, store: Path | None, freq_khz: float | None,
    mode: str | None, locator: str, by: Any, band: str | None, missing: bool, wanted: Path | None,
) -> None:  # fmt: skip
    """What is still needed: over all, of your own list, or from the station with this CALL."""
    from hearmark.commands.needs import show_call, show_table, show_wanted
    from hearmark.log.needs import worked
    from hearmark.settings import read_settings

    settings = read_settings(settings_path)
    entities = open_entities(settings)
    with open_store(store, settings) as opened:
        counted = worked(opened, settings.log.confirmed_by)
        if wanted is not None:
            show_wanted(opened, counted, wanted, as_json)
        elif call is None:
            show_table(counted, by, band, missing, as_json)
        else:
            frequency_hz = None if freq_khz is None else hz(freq_khz, "--freq")
            show_call(opened, counted, entities, call, frequency_hz, mode, locator, as_json)
