"""Modes by the names that ADIF gives them, and the groups in which contacts are counted."""

from __future__ import annotations

from functools import cache

from hearmark.data import table

GROUPS = ("cw", "phone", "digital")
"""Groups of modes in which contacts are counted. Common practice, no source."""


@cache
def _modes() -> dict[str, tuple[str, str]]:
    return {row["name"]: (row["mode"], row["group"]) for row in table("modes.csv")}


def mode_group(mode: str, submode: str = "") -> str:
    """The group of a mode or submode, in upper case; "digital" for names that the table does not hold."""
    for name in (submode, mode):
        found = _modes().get(name)
        if found:
            return found[1]
    return "digital"


def is_known_mode(mode: str) -> bool:
    """True if the table holds this mode or submode, in upper case."""
    return mode in _modes()


def adif_mode(mode: str) -> tuple[str, str]:
    """Mode and submode to write for what an operator calls the mode: usb gives SSB and USB."""
    name = mode.upper()
    if name in ("USB", "LSB"):
        return "SSB", name
    parent = _modes().get(name, (name, ""))[0]
    return (name, "") if parent == name else (parent, name)
