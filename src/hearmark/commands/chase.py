"""Whom to chase: spots joined with needs, plan and path; announced operations of today."""

from __future__ import annotations

import json
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hearmark.commands.shared import FLOAT
from hearmark.commands.store import FILE, moment, open_entities, open_store
from hearmark.errors import HearmarkError

if TYPE_CHECKING:
    from hearmark.chase.node import NodeState
    from hearmark.chase.paths import Paths
    from hearmark.chase.ranking import Known, Row
    from hearmark.chase.spots import SpotLine
    from hearmark.chase.today import Chance
    from hearmark.chase.watch import Operation
    from hearmark.log.needs import Worked
    from hearmark.settings import Settings
    from hearmark.web.board import Board
    from hearmark.web.logbook import Logbook

SHADES = " .:-=+*#"
"""Chance in eighths, for a line of text."""


@click.group()
def chase() -> None:
    """Whom to chase now: spots joined with needs, announcements and the path."""


def _settings(path: Path | None) -> Settings:
    from hearmark.settings import read_settings

    return read_settings(path)


def _operations(watch: Path | None, settings: Settings) -> tuple[Operation, ...]:
    from hearmark.chase.watch import read_watch

    path = watch or (Path(settings.log.watch).expanduser() if settings.log.watch else None)
    return read_watch(path) if path else ()


def _now(text: str | None) -> datetime:
    return moment(text)


def open_board(settings: Settings, logbook: Logbook | None) -> Board:
    """The page's list of whom to chase: from the node of the settings, and from what is pasted into it."""
    from hearmark.chase.node import Node
    from hearmark.commands.duplex import licence_table
    from hearmark.log.entities import places
    from hearmark.log.own import read_wanted
    from hearmark.web.board import Board

    path = _path(settings)
    if path is not None:
        path.warm_beside(places(), datetime.now(UTC).date())
    wanted = settings.log.wanted
    node = Node(settings.log.node, settings.station.call) if settings.log.node else None
    return Board(
        open_entities(settings),
        logbook,
        _operations(None, settings),
        read_wanted(Path(wanted).expanduser()) if wanted else (),
        path,
        licence_table(None, None, settings),
        node,
    )


@chase.command()
@click.argument("file", type=FILE, required=False)
@click.option("--node", help="Read from a node at HOST:PORT, nothing is sent but --login.")
@click.option("--login", default="", help="Your call, given once if the node asks for it.")
@click.option("--seconds", type=FLOAT, default=30.0, show_default=True, help="How long to read from a node.")
@click.option("--store", type=FILE, help="The log file; without one everything is needed.")
@click.option("--watch", type=FILE, help="Announced operations, TOML or CSV.")
@click.option("--wanted", type=FILE, help="Your own list of what is wanted, TOML or CSV.")
@click.option("--licence", help="Privileges table, like us-general; from the settings if left out.")
@click.option("--at", help='Take this UTC time for now, like "2026-03-21 18:30".')
@click.option("--limit", type=int, default=30, show_default=True, help="Rows shown; --json has all.")
@click.option("--settings", "settings_path", type=FILE, help="Settings file (TOML).")
@click.option("--json", "as_json", is_flag=True, help="Print the same facts as JSON.")
def spots(
    file: Path | None, node: str | None, login: str, seconds: float, store: Path | None, watch: Path | None,
    wanted: Path | None, licence: str | None, at: str | None, limit: int, settings_path: Path | None, as_json: bool,
) -> None:  # fmt: skip
    """Rank spots from FILE, from standard input (-), or from a node: chance times worth, best first."""
    from hearmark.chase.document import row_dict
    from hearmark.chase.ranking import rank

    if limit < 0:
        raise HearmarkError(f"--limit {limit} is less than none; give 0 or more.")
    if file is not None and node:
        raise HearmarkError("Give a file or --node HOST:PORT, not both.")
    settings = _settings(settings_path)
    now = _now(at)
    address = node or settings.log.node
    state: NodeState | None = None
    strange: list[int] = []
    if file is not None:
        found, strange = _from_file(file, now)
    elif address:
        found, state = _from_node(address, login, seconds)
    else:
        raise HearmarkError("Which spots? Give a file, - for standard input, or --node HOST:PORT.")
    known = _known(found, store, watch, wanted, licence, settings)
    rows = rank(found, known, now if at or file is not None else datetime.now(UTC))
    if as_json:
        content = {"spots": len(found), "lines_not_read": strange, "rows": [row_dict(row) for row in rows]}
        if state is not None:
            content["node"] = {name: getattr(state, name) for name in state.__slots__}
        click.echo(json.dumps(content))
        return
    for row in rows[:limit]:
        click.echo(_row_line(row))
    left = f", {len(rows) - limit} not shown" if len(rows) > limit else ""
    outside = sum(not spot.band for spot in found)
    if outside:
        left += f"; {outside} outside all bands"
    click.echo(f"{len(found)} spot{'' if len(found) == 1 else 's'}, {len(rows)} stations and bands{left}.")
    if strange:
        shown = ", ".join(map(str, strange[:10])) + (" ..." if len(strange) > 10 else "")
        click.echo(f"Not read as spots: line {shown}.")
    if state is not None:
        click.echo(_node_line(state))


def _from_file(file: Path, now: datetime) -> tuple[list[SpotLine], list[int]]:
    from hearmark.chase.spots import read_spots

    if str(file) == "-":
        data = sys.stdin.buffer.read()
    else:
        try:
            data = file.read_bytes()
        except OSError as error:
            raise HearmarkError(f"Cannot read {file}: {error.strerror}; give a file with one spot a line.") from error
    found, strange = read_spots(data.decode("utf-8", errors="replace").splitlines(), now)
    if not found:
        raise HearmarkError(
            f"{'Standard input' if str(file) == '-' else file} holds no spot that can be read; "
            'give one a line, like "18143.5 VP8AAA up 5-10".'
        )
    return found, strange


def _from_node(address: str, login: str, seconds: float) -> tuple[list[SpotLine], NodeState]:
    from hearmark.chase.node import Node

    if not 0.0 < seconds <= 86_400.0:
        raise HearmarkError(f"--seconds {seconds:g} cannot be waited; give between 1 and 86400.")
    reader = Node(address, login)
    reader.start()
    found: list[SpotLine] = []
    until = time.monotonic() + seconds
    try:
        while time.monotonic() < until:
            time.sleep(min(0.2, max(until - time.monotonic(), 0.0)))
            found += reader.take()
    except KeyboardInterrupt:
        pass
    state = reader.state()
    reader.stop()
    if not state.lines:
        raise HearmarkError(f"Nothing came from {address} in {seconds:g} s: {state.trouble or 'it says nothing'}.")
    return found + reader.take(), state


def _node_line(state: NodeState) -> str:
    dropped = state.dropped_spots + state.dropped_lines
    return f"The node sent {state.lines} lines, {state.spots} of them spots" + (
        f"; {dropped} dropped." if dropped else "."
    )


def _known(
    found: list[SpotLine], store: Path | None, watch: Path | None, wanted: Path | None, licence: str | None,
    settings: Settings,
) -> Known:  # fmt: skip
    from hearmark.chase.ranking import Known
    from hearmark.commands.duplex import licence_table
    from hearmark.log.needs import Worked, histories, mask_of, worked
    from hearmark.log.own import read_wanted

    counted, earlier = Worked(mask=mask_of(settings.log.confirmed_by)), {}
    if store or settings.log.store:
        with open_store(store, settings) as opened:
            counted = worked(opened, settings.log.confirmed_by)
            earlier = histories(opened, [spot.call for spot in found])
    own_list = wanted or (Path(settings.log.wanted).expanduser() if settings.log.wanted else None)
    return Known(
        open_entities(settings),
        counted,
        earlier,
        _operations(watch, settings),
        read_wanted(own_list) if own_list else (),
        _path(settings),
        licence_table(licence, None, settings),
    )


def _path(settings: Settings) -> Paths | None:
    """The paths from the station of the settings; None while nobody says where it is."""
    if not settings.station.locator:
        return None
    from hearmark.chase.paths import Paths
    from hearmark.path.antenna import station_antenna
    from hearmark.path.conditions import Conditions, Equipment
    from hearmark.path.places import place_from_locator
    from hearmark.path.solar import from_table

    own = Equipment(max(settings.station.power_w, 1e-3), station_antenna(settings))
    return Paths(place_from_locator(settings.station.locator), lambda day: Conditions(from_table(day)), own)


def _row_line(row: Row) -> str:
    name = row.place.name if row.place else "?"
    return (
        f"{100 * row.score:5.1f}  {row.call:<11} {row.frequency_hz / 1000:>9.1f} {row.mode:<5} {name[:24]:<24} "
        f"{'; '.join(row.why)}"
    )


@chase.command()
@click.option("--watch", type=FILE, help="Announced operations, TOML or CSV; from the settings if left out.")
@click.option("--store", type=FILE, help="The log file; without one everything is needed.")
@click.option("--at", help='Take this UTC time for now, like "2026-03-21 18:30".')
@click.option("--settings", "settings_path", type=FILE, help="Settings file (TOML).")
@click.option("--json", "as_json", is_flag=True, help="Print the same facts as JSON.")
def today(watch: Path | None, store: Path | None, at: str | None, settings_path: Path | None, as_json: bool) -> None:
    """Announced operations that are on today: what they would bring, and when the path is open."""
    from hearmark.chase.document import chance_dict
    from hearmark.chase.today import chances
    from hearmark.log.needs import Worked, mask_of, worked

    settings = _settings(settings_path)
    operations = _operations(watch, settings)
    if not operations:
        raise HearmarkError("Which operations? Add --watch FILE, or set watch under [log] in the settings.")
    counted: Worked = Worked(mask=mask_of(settings.log.confirmed_by))
    if store or settings.log.store:
        with open_store(store, settings) as opened:
            counted = worked(opened, settings.log.confirmed_by)
    now = _now(at)
    found = chances(operations, open_entities(settings), counted, _path(settings), now)
    if as_json:
        click.echo(json.dumps({"chances": [chance_dict(chance) for chance in found]}))
        return
    if not found:
        click.echo(f"No announced operation is on within 24 h of {now:%Y-%m-%d %H:%M} UTC.")
        return
    start = found[0].start
    hours = "".join(f"{(start.hour + hour) % 24:02d}"[-1] for hour in range(len(found[0].hours)))
    click.echo(f"{'':<47}{hours}  UTC from {start:%H} h; blank none, # sure")
    for chance in found:
        click.echo(_chance_line(chance))
    if all(chance.best is None for chance in found):
        click.echo(
            "Paths are not computed: give your locator in Set-up on the page, or under [station] in the settings file."
        )


def _chance_line(chance: Chance) -> str:
    from hearmark.commands.needs import WORDS

    signs = "".join("?" if v is None else SHADES[min(int(v * len(SHADES)), len(SHADES) - 1)] for v in chance.hours)
    name = chance.place.name if chance.place else "?"
    best = chance.best_hour
    when = "" if best is None else f"   best {(chance.start.hour + best) % 24:02d} h {100 * (chance.best or 0.0):.0f} %"
    return f"{chance.call:<11} {name[:20]:<20} {chance.band:>5} {chance.group:<8}{signs}{when}   {WORDS[chance.level]}"
