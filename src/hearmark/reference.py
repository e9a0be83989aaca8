"""docs/commands.md, made from the commands themselves: `python -m hearmark.reference > docs/commands.md`."""

from __future__ import annotations

from collections.abc import Iterator

import click

HEAD = """# Commands

Made from the code: `python -m hearmark.reference > docs/commands.md`. Every command prints a readable table, and
with `--json`, where it has that, the same facts. Exit code 0; 2 with one clear line for bad input, then nothing was
lost; 130 when Ctrl+C ended it. A file that is written is whole or not there, and never one of those that are read.
"""


def _all(command: click.Command, name: str) -> Iterator[tuple[str, click.Command]]:
    """Every command that does something, with its whole name, groups opened."""
    if isinstance(command, click.Group):
        for word in sorted(command.commands):
            yield from _all(command.commands[word], f"{name} {word}")
    else:
        yield name, command


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


def _row(option: click.Option, context: click.Context) -> str:
    record = option.get_help_record(context)
    names, meaning = record if record else (", ".join(option.opts), option.help or "")
    return f"| `{_cell(names)}` | {_cell(meaning)} |"


def page() -> str:
    """The whole page."""
    from hearmark.cli import commands

    lines = [HEAD]
    for name, command in _all(commands, "hearmark"):
        context = click.Context(command, info_name=name)
        arguments = [one.make_metavar(context) for one in command.params if isinstance(one, click.Argument)]
        lines += [f"## `{' '.join([name, *arguments])}`", "", _cell(command.help or ""), ""]
        options = [one for one in command.params if isinstance(one, click.Option) and not one.hidden]
        if options:
            lines += ["| option | meaning |", "| --- | --- |", *(_row(one, context) for one in options), ""]
    return "\n".join(lines).rstrip() + "\n"


if __name__ == "__main__":
    print(page(), end="")
