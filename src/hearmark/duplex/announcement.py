"""What was said, sent or written about where he listens, as ranked readings.

"up 5 to 10", "listening 148 to 155", "QSX 7 dot 240", "split", "listening for fours up 3": the words leave open what
they mean. Each meaning they can have is a candidate with a weight for the wording; it is then weighed by how usual such
an offset is in this mode and by whether it lies in the DX's band. Weights, defaults and the spread of usual offsets are
common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from hearmark.duplex import callers
from hearmark.duplex.bands import band_of
from hearmark.duplex.statements import BARE_KHZ, CLOSEST_KHZ, Candidate, statements
from hearmark.duplex.words import tokens
from hearmark.errors import HearmarkError
from hearmark.events import Mode, Plan
from hearmark.units import hz_from_khz, khz_from_hz

USUAL_KHZ = {"cw": 2.0, "voice": 6.0}
"""Median distance of the window's middle from the DX."""
USUAL_SPREAD = 1.2
"""Standard deviation of the natural logarithm of that distance."""
OUTSIDE, PARTLY_OUTSIDE, TOO_CLOSE = 0.01, 0.1, 0.05
LEAST = 0.01
"""Readings less likely than this are not listed."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One meaning: the plan, its probability among all meanings, why, and whom he asks for (call areas, continents).

    `bare`: he said the way alone ("up"), no figure.
    """

    plan: Plan
    probability: float
    why: str
    who: tuple[str, ...] = ()
    bare: bool = False


def readings(text: str, receive_hz: float, mode: Mode, current: Plan | None = None) -> tuple[Reading, ...]:
    """All readings of an announcement, likeliest first; probabilities sum to 1. Empty: it says nothing of the kind.

    `receive_hz`: where the DX sends. `current`: the plan in force, kept when the words only say whom he asks for.
    Other words around the announcement (calls, reports, greetings in the comment of a spot) are passed over.
    """
    if not math.isfinite(receive_hz) or receive_hz <= 0.0:
        raise HearmarkError(f"The DX on {receive_hz!r} Hz cannot be used; give his frequency in hertz.")
    areas, given = callers.areas(tokens(text))
    who = (*areas, *callers.continents(text))
    kind = "cw" if mode == "cw" else "voice"
    found = statements(given, text, khz_from_hz(receive_hz), kind)
    if not found and (areas or (who and "only" in text.lower())):
        found = _whom_only(receive_hz, current, kind)
    weighed = [(candidate, candidate.weight * _usual(candidate, receive_hz, kind)) for candidate in found]
    return tuple(
        Reading(_plan(candidate, receive_hz, mode), probability, candidate.why, who, candidate.bare)
        for candidate, probability in _shares(weighed)
    )


def best(text: str, receive_hz: float, mode: Mode) -> Reading:
    """The likeliest reading. Raises HearmarkError when the words say nothing about where he listens."""
    found = readings(text, receive_hz, mode)
    if not found:
        raise HearmarkError(
            f'"{text}" does not say where he listens; write it like "up 5 to 10", "down 2", "listening 148 to 155", '
            '"QSX 18151", "split" or "simplex".'
        )
    return found[0]


def written(plan: Plan) -> str:
    """A split or simplex plan in words that read back as itself."""
    if plan.kind not in ("split", "simplex"):
        raise HearmarkError(f"A {plan.kind} plan cannot be said in a few words; only split and simplex can.")
    offsets = [round(khz_from_hz(hz - plan.receive_hz), 6) for hz in (plan.listen_low_hz, plan.listen_high_hz)]
    if offsets == [0.0, 0.0]:
        return "simplex"
    if offsets[0] * offsets[1] <= 0.0 or max(map(abs, offsets)) >= 100.0:
        low, high = (f"{khz_from_hz(hz):.6f}" for hz in (plan.listen_low_hz, plan.listen_high_hz))
        return f"listening {low} kHz to {high} kHz"
    near, far = sorted(abs(offset) for offset in offsets)
    span = _figure(near) if near == far else f"{_figure(near)} to {_figure(far)}"
    return f"{'up' if offsets[0] > 0 else 'down'} {span} kHz"


def _figure(khz: float) -> str:
    return f"{khz:.6f}".rstrip("0").rstrip(".")


def _plan(candidate: Candidate, receive_hz: float, mode: Mode) -> Plan:
    low_hz, high_hz = (round(receive_hz + hz_from_khz(khz), 3) for khz in (candidate.low_khz, candidate.high_khz))
    simplex = low_hz == high_hz == receive_hz
    return Plan(
        receive_hz,
        low_hz,
        high_hz,
        mode,
        duplex="simplex" if simplex else "half",
        kind="simplex" if simplex else "split",
    )


def _whom_only(receive_hz: float, current: Plan | None, kind: str) -> list[Candidate]:
    if current is not None:
        low, high = (khz_from_hz(hz - receive_hz) for hz in (current.listen_low_hz, current.listen_high_hz))
        return [Candidate(low, high, 1.0, "says whom, not where: the window stays as it was")]
    near, far = BARE_KHZ[kind]
    return [
        Candidate(near, far, 0.6, f"says whom, not where: taken as up {near:g} to {far:g} kHz"),
        Candidate(0.0, 0.0, 0.4, "says whom, not where: he may work simplex", certain=True),
    ]


def _usual(candidate: Candidate, receive_hz: float, kind: str) -> float:
    """How usual the offset is, 0 to 1."""
    low, high = candidate.low_khz, candidate.high_khz
    share = 1.0
    if band := band_of(receive_hz):
        inside = [band.low_hz <= receive_hz + 1000.0 * khz <= band.high_hz for khz in (low, high)]
        share = 1.0 if all(inside) else PARTLY_OUTSIDE if any(inside) else OUTSIDE
    if candidate.certain:
        return share
    said = max(abs(low), abs(high)) if candidate.around_khz is None else abs(candidate.around_khz)
    if low * high > 0.0 and said < CLOSEST_KHZ:
        share *= TOO_CLOSE
    middle = (low + high) / 2.0 if candidate.around_khz is None else candidate.around_khz
    middle = max(abs(middle), (high - low) / 4.0, 0.05)
    return share * math.exp(-0.5 * (math.log(middle / USUAL_KHZ[kind]) / USUAL_SPREAD) ** 2)


def _shares(weighed: Iterable[tuple[Candidate, float]]) -> list[tuple[Candidate, float]]:
    """Equal windows joined, weights to probabilities, the unlikely left out, likeliest first."""
    joined: dict[tuple[int, int], tuple[Candidate, float, float]] = {}
    for candidate, weight in weighed:
        key = (round(candidate.low_khz * 1e3), round(candidate.high_khz * 1e3))
        kept, total, top = joined.get(key, (candidate, 0.0, -1.0))
        joined[key] = (candidate if weight > top else kept, total + weight, max(top, weight))
    whole = sum(total for _, total, _ in joined.values())
    if whole <= 0.0:
        return []
    kept_ones = [(candidate, total) for candidate, total, _ in joined.values() if total >= LEAST * whole]
    whole = sum(total for _, total in kept_ones)
    return sorted(((c, total / whole) for c, total in kept_ones), key=lambda pair: -pair[1])
