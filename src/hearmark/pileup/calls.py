"""Calls in text, by the structure of the Radio Regulations, Article 19: a prefix with a figure, then letters."""

from __future__ import annotations

import re

_CALL = re.compile(
    r"^(?:(?P<place>[A-Z0-9]{1,3})/)?(?P<prefix>[A-Z]{1,2}|[A-Z][0-9]|[0-9][A-Z]{1,2})"
    r"(?P<figures>[0-9]{1,2}|(?![1-5][1-9]9)[0-9]{3})(?P<suffix>[A-Z]{1,4})(?:/(?P<after>[A-Z0-9]{1,4}))?$"
)
"""Three figures: on special occasions (19.68A), if they are no report run together with what is beside it."""
_REPORT = re.compile(r"^(?:[1-5EA][0-9NETA]{2}|[AC-EHJLO-QS-VX-Z]5NN)$")
"""Also with a stray sign before it: of single letters only B, F, G, I, K, M, N, R and W are prefixes (19.68)."""


def is_call(word: str) -> bool:
    """Could this word be a whole call? Reports with cut figures (5NN) are none, nor with a stray sign before (E5NN)."""
    return bool(_CALL.match(word)) and not _REPORT.match(word)


def last_call(text: str) -> str | None:
    """The last whole call in a text, or None."""
    return next((word for word in reversed(text.replace("?", " ").split()) if is_call(word)), None)


_REPORTED = re.compile(r"5N|599|[5E]?NN\b|5[0-9]9|ENN|\b5[0-9N]{2}\b")


def has_report(text: str) -> bool:
    """Does a report stand in this text, whole or as much of it as a fade leaves (5NN, 599, ENN, NN)?"""
    return bool(_REPORTED.search(text))


_USUAL_AFTER = ("P", "M", "A", "MM", "AM", "QRP")


def rarity(call: str) -> float:
    """How much rarer calls of this form are than the commonest, as a logarithm (common practice, no source): 0 for a
    prefix of letters, one figure and three letters."""
    parts = _CALL.match(call)
    if parts is None:
        return 6.0
    prefix, after = parts["prefix"], parts["after"]
    rare = {1: 2.5, 2: 0.4, 3: 0.0, 4: 4.0}[len(parts["suffix"])]
    rare += 3.0 * (len(parts["figures"]) > 1)
    rare += 1.0 * (prefix[0].isdigit() or prefix[-1].isdigit())
    rare += 2.5 * (parts["place"] is not None)
    if after is not None:
        rare += 1.5 if after in _USUAL_AFTER or after.isdigit() else 4.5
    return rare
