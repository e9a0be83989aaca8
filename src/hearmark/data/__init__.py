"""Tables, each with its origin and date in its first lines, and the one way to read them."""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files


@cache
def table(name: str) -> tuple[dict[str, str], ...]:
    """The rows of a CSV table of this folder by column name; lines that begin with # are its origin."""
    text = files("hearmark.data").joinpath(name).read_text(encoding="utf-8")
    return tuple(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
