"""How soon which tactic gets a station into the log: closed-loop trials in simulated pile-ups."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hearmark.commands.shared import FiniteRange, progress
from hearmark.commands.store import FILE
from hearmark.errors import HearmarkError

if TYPE_CHECKING:
    from hearmark.simulate.session import Habit

HABITS: tuple[Habit, ...] = ("stay", "wander", "step", "jump", "two spots", "quiet")


@click.command()
@click.option("--seeds", type=click.IntRange(1, 100_000), default=24, show_default=True, help="Pile-ups a habit.")
@click.option("--first-seed", type=click.IntRange(0), default=1, show_default=True, help="The first of them.")
@click.option("--mode", type=click.Choice(["cw", "usb", "lsb"]), default="cw", show_default=True)
@click.option(
    "--pile-up", "level", type=click.Choice(["easy", "medium", "hard", "brutal"]), default="medium", show_default=True,
    help="How big and how wild: about 20, 40, 80, 110 callers.",
)  # fmt: skip
@click.option("--habit", "habits", type=click.Choice(HABITS), multiple=True, help="How the DX moves; default all six.")
@click.option("--tactic", "tactics", multiple=True, help="A tactic to play; default all. See docs/study.md.")
@click.option(
    "--weaker-than", type=FiniteRange(0.0, 100.0), default=75.0, show_default=True,
    help="So many percent of the callers are stronger than our station at the DX.",
)  # fmt: skip
@click.option("--minutes", type=FiniteRange(1.0, 600.0), default=60.0, show_default=True, help="Given up then.")
@click.option("--thinning", is_flag=True, help="Callers who give up are not replaced: the pile-up runs dry.")
@click.option("--results", type=FILE, help="Keep each result here as it comes; an interrupted study goes on from it.")
@click.option("--processes", type=click.IntRange(1, 256), help="Processes on this machine; default one a core.")
@click.option("--scheduler", help="Address of a Dask scheduler to play on, like tcp://HOST:8786.")
@click.option("--picture", type=FILE, help="Write the plot here, as PNG.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def study(**options: Any) -> None:
    """How soon is a station in the log that calls by this habit or that, or as the program advises?

    Each trial is a whole pile-up, played on until our station is worked or the time is over.
    """
    from hearmark.files import check_outputs, write_whole
    from hearmark.study.ledger import Ledger
    from hearmark.study.runner import play_all
    from hearmark.study.summary import readable, summary
    from hearmark.study.tactics import NAMES
    from hearmark.study.trial import plan, run

    picture: Path | None = options["picture"]
    check_outputs([options["results"], picture])
    unknown = [name for name in options["tactics"] if name not in NAMES]
    if unknown:
        raise HearmarkError(f'Tactic "{unknown[0]}" is not known; choose from {", ".join(NAMES)}.')
    trials = plan(
        options["tactics"] or NAMES, options["habits"] or HABITS,
        range(options["first_seed"], options["first_seed"] + options["seeds"]),
        mode=options["mode"], level=options["level"], weaker_than=options["weaker_than"] / 100.0,
        minutes=options["minutes"], renewed=not options["thinning"],
    )  # fmt: skip
    with Ledger(options["results"]) as ledger, progress("trials", len(trials)) as bar:
        play_all(run, trials, ledger, lambda trial: trial.key, options["processes"], options["scheduler"], bar)
        found = summary([ledger.records[trial.key] for trial in trials])
    if picture:
        from hearmark.study.picture import study_png

        write_whole(picture, study_png(found))
    click.echo(json.dumps(found) if options["as_json"] else readable(found))
