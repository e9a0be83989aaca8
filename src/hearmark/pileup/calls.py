"""Calls in text, by the structure of the Radio Regulations, Article 19: a prefix with a figure, then letters."""

from __future__ import annotations

import re

_CALL = re.compile(
    r"^(?:[A-Z0-9]{1,3}/)?(?:[A-Z]{1,2}|[A-Z][0-9]|[0-9][A-Z]{1,2})"
    r"(?:[0-9]{1,2}|(?![1-5][1-9]9)[0-9]{3})[A-Z]{1,4}(?:/[A-Z0-9]{1,4})?$"
)
"""Three figures: on special occasions (19.68A), if they are no report run together with what is beside it."""
_REPORT = re.compile(r"^[1-5EA][0-9NETA]{2}$")


def is_call(word: str) -> bool:
    """Could this word be a whole call? Reports with cut figures (5NN) are none."""
    return bool(_CALL.match(word)) and not _REPORT.match(word)


def last_call(text: str) -> str | None:
    """The last whole call in a text, or None."""
    return next((word for word in reversed(text.replace("?", " ").split()) if is_call(word)), None)


_REPORTED = re.compile(r"5N|599|[5E]?NN\b|5[0-9]9|ENN|\b5[0-9N]{2}\b")


def has_report(text: str) -> bool:
    """Does a report stand in this text, whole or as much of it as a fade leaves (5NN, 599, ENN, NN)?"""
    return bool(_REPORTED.search(text))
