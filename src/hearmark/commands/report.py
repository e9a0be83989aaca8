"""What a session taught: from the log, a review, or a recording."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hearmark.commands.shared import FLOAT, absolute_window_hz, hz, progress, recording_files
from hearmark.commands.store import FILE, common, log_files, open_store
from hearmark.errors import HearmarkError

if TYPE_CHECKING:
    from hearmark.events import Mode
    from hearmark.log.store import Store
    from hearmark.session import Facts, SessionRecord
    from hearmark.web.logbook import Logbook


@click.command()
@click.argument("source", type=FILE, required=False)
@click.option("--session", "number", type=int, help="A session of the log, by its number.")
@click.option("--dx", "dx_khz", type=FLOAT, help="Of a recording: frequency of the DX in kHz.")
@click.option("--mode", type=click.Choice(["cw", "usb", "lsb"]), help="Of a recording; estimated if left out.")
@click.option("--window", help='Of a recording: where he says he listens, like "up 5-10".')
@click.option("--center", "center_khz", type=FLOAT, help="Centre of an I/Q WAV in kHz.")
@click.option("--keep", help="Keep the session in the log under this name.")
@click.option("--picture", type=FILE, help="Write the session here, as PNG.")
@click.option("--html", "page", type=FILE, help="Write the whole report here, as one page.")
@common
def report(
    source: Path | None, number: int | None, dx_khz: float | None, mode: Mode | None, window: str | None,
    center_khz: float | None, keep: str | None, picture: Path | None, page: Path | None, settings_path: Path | None,
    as_json: bool, store: Path | None,
) -> None:  # fmt: skip
    """What a session taught. SOURCE: JSON of a review, or a recording (with --dx); without it: the kept sessions."""
    from hearmark.files import check_outputs, write_whole
    from hearmark.lessons import comparison, lessons, readable
    from hearmark.settings import read_settings, usual_file

    settings = read_settings(settings_path)
    read = [*recording_files(source), *log_files(store, settings), settings_path or usual_file()]
    check_outputs([picture, page], read)
    if source is None and number is None:
        with open_store(store, settings) as opened:
            _show_sessions(opened, as_json, comparison)
        return
    if source is not None:
        facts, title = _facts_of(source, dx_khz, mode, window, center_khz), source.name
    else:
        with open_store(store, settings) as opened:
            facts, title = _kept(opened, number)
    if keep is not None:
        from hearmark.log.sessions import keep_session

        start_s = int(datetime.fromisoformat(facts["start"]).timestamp()) if facts["start"] else int(_now().timestamp())
        with open_store(store, settings, create=True) as opened:
            keep_session(opened, keep, start_s, facts)
    if picture or page:
        from hearmark.chart import session_html, session_png

        if picture:
            write_whole(picture, session_png(facts))
        if page:
            write_whole(page, session_html(facts, f"Session: {title}"))
    found = lessons(facts)
    click.echo(json.dumps({**found, "facts": facts}) if as_json else readable(found), nl=as_json)


def _now() -> datetime:
    return datetime.now(UTC)


def _show_sessions(opened: Store, as_json: bool, compare: Any) -> None:
    from hearmark.lessons import lessons
    from hearmark.log.sessions import kept_sessions

    rows = compare([(number, name, lessons(facts)) for number, name, facts in kept_sessions(opened)])
    if as_json:
        click.echo(json.dumps({"sessions": rows}))
        return
    if not rows:
        click.echo("No session is kept yet: a live session with --store is, or a recording with --keep NAME.")
        return
    click.echo("  no  name                      mode  turns marks  calls  worked after  ear bits  advised    you")
    for row in rows:
        took = "" if row["seconds_to_work"] is None else f"{row['seconds_to_work']:.0f} s"
        click.echo(
            f"{row['session']:>4}  {row['name'][:24]:<24}  {row['mode']:<4} {row['turns']:>6} {row['marks']:>5}  "
            f"{row['calls_made'] or '':>5}  {('yes ' + took if row['worked'] else 'no'):>12}  "
            f"{'' if row['ear_bits'] is None else format(row['ear_bits'], '+.1f'):>8}  "
            f"{_percent(row['advised_within_reach']):>7}  {_percent(row['own_within_reach']):>5}"
        )


def _percent(share: float | None) -> str:
    return "" if share is None else f"{100 * share:.0f} %"


def _kept(opened: Store, number: int | None) -> tuple[Facts, str]:
    from hearmark.log.sessions import kept_sessions

    for found, name, facts in kept_sessions(opened):
        if found == number:
            return facts, name
    raise HearmarkError(f"There is no session number {number}; the command without it lists them.")


def _facts_of(
    source: Path, dx_khz: float | None, mode: Mode | None, window: str | None, center_khz: float | None
) -> Facts:
    from hearmark.session import facts_of_review

    if source.suffix.lower() == ".json":
        try:
            content = json.loads(source.read_text(encoding="utf-8"))
            return facts_of_review(content)
        except OSError as error:
            raise HearmarkError(f"Cannot read {source}: {error.strerror}; give the JSON of a review.") from error
        except (ValueError, KeyError, TypeError, AttributeError):
            raise HearmarkError(
                f"{source} is no review; make one with `hearmark review REC --json {source}`."
            ) from None
    if dx_khz is None:
        raise HearmarkError("The frequency of the DX is not known; add --dx KHZ.")
    return _heard(source, hz(dx_khz, "--dx"), mode, window, None if center_khz is None else hz(center_khz, "--center"))


def _heard(source: Path, dx_hz: float, mode: Mode | None, window: str | None, center_hz: float | None) -> Facts:
    """A recording through the engine, remembered; with its truth, where it carries one."""
    from hearmark.engine import Engine, EngineConfig
    from hearmark.listening import check_band
    from hearmark.review import hear
    from hearmark.session import Remembering, SessionRecord
    from hearmark.sources.recording import open_recording

    window_hz = absolute_window_hz(window, dx_hz, mode)
    opened = open_recording(source, center_hz, None, "lsb" if mode == "lsb" else "usb", 0.0, False)
    check_band(opened, dx_hz, window_hz)
    low_hz, high_hz = window_hz or (None, None)
    record = SessionRecord(dx_hz, mode or "usb", window_hz)
    engine = Engine(EngineConfig(dx_hz=dx_hz, mode=mode, window_low_hz=low_hz, window_high_hz=high_hz))
    with progress("Listening", opened.duration_s or 1.0) as advance:
        hear(opened, Remembering(engine, record), advance)
    facts = record.facts()
    _judge(facts, source, record)
    return facts


def _judge(facts: Facts, source: Path, record: SessionRecord) -> None:
    """Says of each mark whether it was right, if the recording was simulated and carries its truth."""
    from hearmark.simulate.recording import read_truth
    from hearmark.simulate.scoring import Trial, verdicts

    if source.suffix != ".sigmf-meta":
        return
    try:
        truth = read_truth(source)
    except HearmarkError:
        return
    judged = verdicts(Trial(record.answers(), truth.session.contacts, record.mode))
    by_id = {verdict.answer.id: verdict.judgement for verdict in judged}
    for answer in facts["answers"]:
        answer["judgement"] = by_id.get(answer["id"])


def keep_live(logbook: Logbook | None, record: SessionRecord, begun: datetime) -> None:
    """Keeps what a live session taught, once it is over; sessions in which nothing was heard are not kept."""
    from hearmark.log.sessions import keep_session

    if logbook is None:
        return
    facts = record.facts(logbook.call, begun.strftime("%Y-%m-%dT%H:%M:%SZ"), logbook.worked)
    if not facts["turns"]:
        return
    name = f"{begun:%Y-%m-%d %H:%M} {logbook.call}".strip()
    try:
        number = keep_session(logbook.store, name, int(begun.timestamp()), facts)
    except HearmarkError as error:
        click.echo(f"hearmark: the session was not kept: {error}", err=True)
        return
    click.echo(f"Kept as session {number}: hearmark log report --session {number} --store {logbook.store.path}")
