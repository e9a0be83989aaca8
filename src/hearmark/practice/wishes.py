"""What the learner asks of the program from the page, read from a text frame and checked."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Any, Literal, cast, get_args

from hearmark.errors import HearmarkError

Verb = Literal[
    "begin", "leave", "turn", "put", "split", "lock", "rit", "level", "exchange", "peek", "send", "mark", "log",
    "aid", "sound", "quiet", "pause",
]  # fmt: skip
VERBS: tuple[str, ...] = get_args(Verb)
LONGEST = 80
_NEEDS: dict[str, tuple[str, ...]] = {
    "begin": ("name",), "turn": ("dial", "hz"), "put": ("dial", "text"), "split": ("on",), "lock": ("on",),
    "rit": ("hz",), "peek": ("on",), "send": ("what",), "log": ("text",), "aid": ("what", "on"), "sound": ("on",),
    "quiet": ("on",), "pause": ("on",),
}  # fmt: skip
_TYPES: dict[str, type | tuple[type, ...]] = {
    "name": str, "mode": str, "call": str, "text": str, "what": str, "dial": str, "on": bool, "hz": (int, float),
    "heard_s": (int, float), "seed": int,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Wish:
    """One request. `name`, `mode`, `seed`, `call`: of a lesson to begin; `dial` and `hz` or `text`: the radio."""

    verb: Verb
    name: str = ""
    mode: str = ""
    call: str = ""
    text: str = ""
    what: str = ""
    dial: str = ""
    on: bool = False
    hz: float = 0.0
    heard_s: float | None = None
    seed: int | None = None


def read_wish(text: str) -> Wish:
    """Reads one text frame; raises HearmarkError with one sentence when it is no wish."""
    try:
        given = json.loads(text)
    except (ValueError, RecursionError):
        raise HearmarkError("The page sent something that is not JSON; reload the page.") from None
    verb = given.get("verb") if isinstance(given, dict) else None
    if verb not in VERBS:
        raise HearmarkError(f"The page asked for {verb!r}, which practice does not know; reload the page.")
    values: dict[str, Any] = {}
    for name, value in given.items():
        if name == "verb" or value is None:
            continue
        if name not in _TYPES or not isinstance(value, _TYPES[name]) or (name != "on" and isinstance(value, bool)):
            raise HearmarkError(f"'{name}' of '{verb}' cannot be {str(value)[:40]!r}; reload the page.")
        if isinstance(value, str) and len(value) > LONGEST:
            raise HearmarkError(f"'{name}' of '{verb}' is too long: at most {LONGEST} characters.")
        if isinstance(value, (int, float)) and not (math.isfinite(value) and abs(value) <= 1e12):
            raise HearmarkError(f"'{name}' of '{verb}' is no usable number.")
        values[name] = value
    lacking = [name for name in _NEEDS.get(verb, ()) if name not in values]
    if lacking:
        raise HearmarkError(f"'{verb}' needs '{lacking[0]}'.")
    return Wish(cast(Verb, verb), **values)


def frequency_hz(text: str, dx_hz: float) -> float:
    """A frequency as typed: kHz ("14028.5"), or an offset from the DX ("+5", "up 5", "down 1.5")."""
    given = text.strip().lower().replace("\N{MINUS SIGN}", "-").removesuffix("khz").strip()
    for word, sign in (("up", "+"), ("down", "-"), ("dn", "-")):
        if given.startswith(word):
            given = sign + given.removeprefix(word).strip()
    try:
        khz = float(given.replace(",", "."))
    except ValueError:
        khz = math.nan
    if not math.isfinite(khz) or abs(khz) > 1e9:
        raise HearmarkError(f'"{text}" is no frequency: type kHz, like {dx_hz / 1e3 + 5.0:.1f}, or +5 from him.')
    return dx_hz + 1e3 * khz if given[0] in "+-" else 1e3 * khz
