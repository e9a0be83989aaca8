"""What the operator asks of the program from the page, read from a text frame and checked."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Literal

from hearmark.errors import HearmarkError
from hearmark.web.logbook import Entry, entry_of

Verb = Literal[
    "mark", "unmark", "spot", "transmit", "replay", "sound", "duck", "pause",
    "plan", "offer", "set", "back", "peek", "following", "lock", "log", "name", "filter",
]  # fmt: skip
_FREQUENCY = ("mark", "spot", "transmit", "peek")
_SWITCH = ("sound", "duck", "pause", "following", "lock")
_BARE = ("unmark", "replay", "plan", "offer", "set", "back", "log", "name", "filter")
FILTERS = tuple(f"{ear} {width}" for ear in ("left", "right") for width in ("narrow", "usual", "wide"))
LONGEST = 200


@dataclass(frozen=True, slots=True)
class Action:
    """One request. `on`: switches, `frequency_hz`: places, `time_s`: a mark not at this moment, `text`: his words.

    `on` of `transmit`: false for a place that is not to lie outside his window.
    `entry`: what goes into the log, or by its call alone who the DX is.
    """

    verb: Verb
    frequency_hz: float | None = None
    time_s: float | None = None
    answer: int | None = None
    on: bool | None = None
    text: str = ""
    entry: Entry | None = None


def _number(given: dict[str, object], name: str, verb: str, high: float) -> float | None:
    value = given.get(name)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise HearmarkError(f"'{name}' of '{verb}' must be a number, but got {value!r}.")
    if not 0 <= value <= high:
        raise HearmarkError(f"'{name}' of '{verb}' must lie between 0 and {high:g}, but got {value:g}.")
    return float(value)


def read_action(text: str) -> Action:
    """Reads one text frame from a page; raises HearmarkError with one sentence when it is no action."""
    try:
        given = json.loads(text)
    except (ValueError, RecursionError):
        raise HearmarkError("The page sent something that is not JSON; reload the page.") from None
    verb = given.get("verb") if isinstance(given, dict) else None
    if verb not in (*_FREQUENCY, *_SWITCH, *_BARE):
        raise HearmarkError(f"The page asked for {verb!r}, which this program does not know; reload the page.")
    frequency_hz = _number(given, "frequency_hz", verb, 300e9)
    if verb in _FREQUENCY and frequency_hz is None:
        raise HearmarkError(f"'{verb}' needs 'frequency_hz', in hertz.")
    on = given.get("on")
    if verb in _SWITCH and not isinstance(on, bool):
        raise HearmarkError(f"'{verb}' needs 'on', true or false, but got {on!r}.")
    answer = given.get("answer")
    if verb == "unmark" and (isinstance(answer, bool) or not isinstance(answer, int)):
        raise HearmarkError(f"'unmark' needs 'answer', the number of a mark, but got {answer!r}.")
    text_said = given.get("text", "")
    if verb == "plan" and (not isinstance(text_said, str) or not text_said.strip() or len(text_said) > LONGEST):
        raise HearmarkError(f"'plan' needs 'text', what he announced, of at most {LONGEST} characters.")
    if verb == "filter" and text_said not in FILTERS:
        raise HearmarkError(f"'filter' needs 'text', one of {', '.join(FILTERS)}.")
    return Action(
        verb=verb,
        frequency_hz=frequency_hz,
        time_s=_number(given, "time_s", verb, 1e9),
        answer=answer if isinstance(answer, int) else None,
        on=on if isinstance(on, bool) else None,
        text=text_said if isinstance(text_said, str) else "",
        entry=entry_of(given) if verb in ("log", "name") else None,
    )
