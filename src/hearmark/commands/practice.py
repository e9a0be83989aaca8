"""hearmark practice: a pile-up that hurts nobody."""

from __future__ import annotations

import json as jsons
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hearmark.errors import HearmarkError

if TYPE_CHECKING:
    from hearmark.practice.lesson import Lesson

FILE = click.Path(path_type=Path)


@click.command()
@click.option("--level", help="The lesson to offer first; --list names them.")
@click.option("--lesson", "lesson_path", type=FILE, help="A lesson of your own (TOML): docs/practice.md.")
@click.option("--mode", type=click.Choice(["cw", "usb", "lsb"]), help="Morse, or voice; the page asks.")
@click.option("--seed", type=click.IntRange(0, 10**9), help="Number of the pile-up: the same gives the same.")
@click.option("--call", default="", help="Your call; from the settings if left out.")
@click.option("--list", "listed", is_flag=True, help="Print the lessons and end.")
@click.option("--check", is_flag=True, help="Play the lesson without a learner: what the two others need. And end.")
@click.option("--sheets", type=FILE, help="Append each score sheet to this file, one JSON object a line.")
@click.option("--json", "as_json", is_flag=True, help="With --list or --check: print as JSON.")
@click.option("--port", type=int, help="Port of the page; 0 takes any free one.")
@click.option(
    "--host", default="127.0.0.1", show_default=True, help="Address of this machine to serve on; wider: with a key."
)
@click.option("--settings", "settings_path", type=FILE, help="Settings file (TOML).")
def practice(
    level: str | None, lesson_path: Path | None, mode: Any, seed: int | None, call: str, listed: bool, check: bool,
    sheets: Path | None, as_json: bool, port: int | None, host: str,
    settings_path: Path | None,
) -> None:  # fmt: skip
    """Practise on an invented pile-up with an invented radio. Nothing is ever transmitted."""
    from hearmark.files import check_outputs
    from hearmark.practice.lesson import levels, read_lesson
    from hearmark.settings import read_settings, usual_file

    check_outputs([sheets], [lesson_path, settings_path or usual_file()])
    settings = read_settings(settings_path)
    lessons = levels() if lesson_path is None else {"yours": read_lesson(lesson_path)}
    if level is not None and level not in lessons:
        raise HearmarkError(f"There is no lesson {level!r}: choose one of {', '.join(lessons)}.")
    if as_json and not (listed or check):
        raise HearmarkError("--json goes with --list or --check; the score sheets are JSON with --sheets FILE.")
    if listed:
        click.echo(_listing(lessons, as_json), nl=False)
        return
    name = level or next(iter(lessons))
    if check:
        click.echo(_checked(lessons[name], mode, seed, call or settings.station.call, as_json), nl=False)
        return
    _serve(lessons, name if level else "", mode, seed, call or settings.station.call, sheets,
           settings.page.port if port is None else port, host)  # fmt: skip


def _serve(
    lessons: dict[str, Lesson],
    name: str,
    mode: str | None,
    seed: int | None,
    call: str,
    sheets: Path | None,
    port: int,
    host: str,
) -> None:
    from hearmark.practice.served import PracticeServer
    from hearmark.practice.showing import Chosen

    click.echo("Preparing the practice room ...")
    room = open_room(lessons, call, sheets, Chosen(name or next(iter(lessons)), mode or "", seed))
    server = PracticeServer(room, host, port)
    click.echo(f"Hearmark practice: {server.door('practice')}  (Ctrl+C ends it)")
    server.run()


def open_room(
    lessons: dict[str, Lesson], call: str = "", sheets: Path | None = None, chosen: Any = None, alone: bool = True
) -> Any:
    """A practice room for a server."""
    from hearmark.practice.room import Room
    from hearmark.simulate.synthesiser import library_paths

    try:
        library_paths()
        voice = True
    except HearmarkError:
        voice = False
    return Room(lessons, call, None if sheets is None else _keeper(sheets), voice, chosen, alone)


def _keeper(path: Path) -> Callable[[dict[str, Any]], None]:
    """Appends sheets to a file."""
    from hearmark.files import check_writable

    check_writable(path)

    def keep(sheet: dict[str, Any]) -> None:
        try:
            with path.open("a", encoding="utf-8") as file:
                file.write(jsons.dumps(sheet, ensure_ascii=False) + "\n")
        except OSError as error:
            raise HearmarkError(f"The score sheet could not be kept in {path}: {error.strerror}.") from None

    return keep


def _listing(lessons: dict[str, Lesson], as_json: bool) -> str:
    from hearmark.practice.lesson import modes

    if as_json:
        rows = [
            {
                "name": name,
                "title": one.title,
                "modes": list(modes(one)),
                "goal": one.goal,
                "callers": one.callers,
                "undisciplined": one.undisciplined,
                "receivers": one.receivers,
                "aids": list(one.aids),
                "minutes": one.minutes,
                "seed": one.seed,
            }
            for name, one in lessons.items()
        ]
        return jsons.dumps({"lessons": rows}, indent=2, ensure_ascii=False) + "\n"
    lines = ["  name          lesson                         callers  receivers  aids shown         minutes"]
    for name, one in lessons.items():
        aids = ", ".join(one.aids) or "none"
        lines.append(f"  {name:<13} {one.title:<30} {one.callers:>7}  {one.receivers:>9}  {aids:<18} {one.minutes:>7g}")
    return "\n".join(lines) + "\n"


def _checked(lesson: Lesson, mode: Any, seed: int | None, call: str, as_json: bool) -> str:
    """What the two others need in this pile-up."""
    from hearmark.commands.shared import progress
    from hearmark.practice import yardstick
    from hearmark.practice.play import OWN_CALL, Practice
    from hearmark.report import clock

    probe = Practice(lesson, mode, seed, call, samples=False)
    given = (lesson, probe.mode, probe.seed, probe.call or OWN_CALL)
    with progress("Playing", 1.0) as advance:
        tail_ender_s = yardstick.perfect_tail_ender(*given)
        program_s = yardstick.program(*given, progress=advance or (lambda _: None))
    if as_json:
        found = {"lesson": lesson.title, "mode": probe.mode, "seed": probe.seed,
                 "duration_s": probe.scenario.duration_s,
                 "tail_ender_s": tail_ender_s, "program_s": program_s}  # fmt: skip
        return jsons.dumps(found, indent=2, ensure_ascii=False) + "\n"

    def said(value: float | None) -> str:
        return "no contact in that time" if value is None else clock(value)

    return (
        f'"{lesson.title}" can be played: {probe.mode.upper()}, pile-up number {probe.seed}, '
        f"{clock(probe.scenario.duration_s)} long\n"
        f"  the perfect tail-ender: {said(tail_ender_s)}\n  the program: {said(program_s)}\n"
    )
