"""How he works: split or simplex, and where those are who respond to him.

Nothing of it has to be announced. Who waits for a station begins when that station has stopped: within two seconds of
the end of an over the window fills. What other stations beside him do has nothing to do with his overs, and in simplex
the responses are on his own frequency. So the evidence is on how many places, silent while he sent, somebody begins
when he stops; a place where a contact of others goes on is not silent. The weights are those of a logistic regression
(`bench/unannounced.py` says on which seeds, and what it is worth on others). In Morse a word that sends the callers
away from his frequency counts as well; in voice a crowd: where many call all the time nobody is seen to begin, but
nobody holds a contact within a kilohertz of another one either, and a mark elsewhere that was confirmed, because that
station fell silent when he came back.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from hearmark.events import Answer, Emission, Mode, Over, Working

LEAD_S, ZONE_S = 0.35, 2.5
"""A response begins from so long before the end of an over to so long after it."""
OWN_LEAD_S, OWN_CLEAR_S = 0.1, 0.4
"""Who begins on his own frequency from so long before he ends to so long before he begins again is not he."""
BODY_S, CLEARS_S = 0.3, 1.3
"""Callers go on for the first third of a short over, or so long into a long one, before they notice that he sends."""
PLACE_HZ = {"cw": 40.0, "voice": 250.0}
"""Nearer to each other they are on one place."""
PAUSE_S = 0.5
"""Overs with a shorter pause between them are one."""
SHORT_S = 0.3
GUARD_HZ = {"cw": 300.0, "voice": 700.0}
"""Nearer to him it counts as his own frequency."""
NEWEST = 6
"""So many overs tell how he works now; older ones are forgotten, so that a change shows."""
MOST = 5
"""More responses to one over say no more."""
LEAST = 2
"""After one over nothing is said yet."""
MOST_PLACES = 6
WEIGHTS = (-3.1, 0.85, 1.75, -1.0)
"""Constant; logarithm of the responses an over; different places they were on; share of overs with one on his own
frequency."""
SAID = 4.5
"""Added where he was read to send callers elsewhere (common practice, no source; the reader may err)."""
SUREST = 5.0
"""Six overs make nobody surer than 99.3 %."""
CROWD_HZ, CROWD, MOST_CROWD = 1_000.0, 3.0, 2.5
"""Added for each voice elsewhere that talks so near to another at the same time, mean over the time. In
12 pile-ups and 16 other recordings of voice (seeds from 2000) there were 0.2 to 4.5, and none."""
CROWD_STEP_S = 0.5
ALONE, ALONE_CROWD, ALONE_OVERS = 0.8, 0.1, 3
"""Taken off in voice for each over beyond so many, if fewer than that are a crowd and no mark counts. In 17 pile-ups of
voice whose window was heard it never was so."""
MARK, MARK_LEAST = 1.5, 0.85
"""Added in voice for each mark, times what its log odds are above those of the second. By the third over nine of 14
pile-ups of voice (seeds from 2000) had marks above it, of 26 contacts and pile-ups on his own frequency none."""
_AWAY = re.compile(r"(?:^| )(?:UP|DN|DWN|DOWN|QSX)(?= |$|\d)")
SURE = 0.8
SAME_HZ = {"cw": 40.0, "voice": 150.0}
"""Emissions so near each other are one caller's."""
CALLERS = 6
"""From so many callers on the edges of the window are theirs."""
EDGE_SHARE = 0.04
KEPT_S = 240.0


@dataclass(frozen=True, slots=True)
class Responses:
    """What was counted around his newest overs."""

    overs: int
    responses: int
    """Places elsewhere, silent through an over, where somebody began when it ended; at most `MOST` an over."""
    places: int
    """How many different places those were."""
    on_his_own: int = 0
    """Overs after which somebody else began on his own frequency; seen in Morse alone."""
    sent_away: bool = False
    crowd: float = 0.0
    """Voices elsewhere that talk within `CROWD_HZ` of another, mean over the time of those overs; none in Morse."""
    marks: float = 0.0
    """Of the marks since then, log odds above those of `MARK_LEAST`, summed; none in Morse."""
    alone: bool = False
    """Neither of the two: who began when he stopped may have done so by chance. Never in Morse."""


def responses(
    overs: Sequence[Over], emissions: Sequence[Emission], dx_hz: float, mode: Mode, marks: Sequence[Answer] = ()
) -> Responses:
    """Count around the newest of these overs, given in order; those that still go on do not count. `marks`: on whom he
    answered, as they stand now."""
    kind = "cw" if mode == "cw" else "voice"
    others = elsewhere(emissions, dx_hz, mode)
    kept = {emission.id for emission in others}
    own_starts = [e.start_s for e in emissions if e.id not in kept and (e.stop_s is None or e.stop_s > e.start_s)]
    spans = _spans(overs)[-NEWEST:]
    total = on_his_own = 0
    found: list[float] = []
    for index, (start_s, stop_s) in enumerate(spans):
        following_s = spans[index + 1][0] if index + 1 < len(spans) else math.inf
        until_s = min(stop_s + ZONE_S, following_s)
        settled_s = start_s + min(CLEARS_S, BODY_S + (stop_s - start_s) / 3.0)
        taken = [e.frequency_hz for e in others if _sends(e, settled_s, stop_s - LEAD_S)]
        count = 0
        for one in others:
            fresh = stop_s - LEAD_S <= one.start_s < until_s
            if fresh and all(abs(one.frequency_hz - place_hz) > PLACE_HZ[kind] for place_hz in taken):
                taken.append(one.frequency_hz)
                found.append(one.frequency_hz)
                count += 1
        total += min(count, MOST)
        on_his_own += any(stop_s - OWN_LEAD_S <= at_s < min(until_s, following_s - OWN_CLEAR_S) for at_s in own_starts)
    since_s = spans[0][0] if spans else math.inf
    away = any(_sends_away(over) for over in overs if over.start_s >= since_s - 0.1)
    crowd = 0.0 if mode == "cw" or not spans else _crowd(others, since_s, spans[-1][1] + ZONE_S)
    newest = [one for one in marks if one.start_s >= since_s and one.retracted_at_s is None]
    sure = 0.0 if mode == "cw" else sum(max(0.0, _log_odds(one.confidence) - _log_odds(MARK_LEAST)) for one in newest)
    alone = mode != "cw" and crowd < ALONE_CROWD and not sure
    return Responses(len(spans), total, len(_apart(found, PLACE_HZ[kind])), on_his_own, away, crowd, sure, alone)


def _log_odds(probability: float) -> float:
    limited = min(max(probability, 0.01), 0.99)
    return math.log(limited / (1.0 - limited))


def _crowd(others: Sequence[Emission], from_s: float, until_s: float) -> float:
    """How many talk too near to another to be in a contact, mean over the time."""
    times_s = [from_s + k * CROWD_STEP_S for k in range(math.ceil((until_s - from_s) / CROWD_STEP_S))]
    total = 0
    for time_s in times_s:
        places = sorted(one.frequency_hz for one in others if _sends(one, time_s, time_s))
        near = [b - a < CROWD_HZ for a, b in pairwise(places)]
        total += sum(a or b for a, b in zip([False, *near], [*near, False], strict=True))
    return total / max(1, len(times_s))


def split_probability(counted: Responses) -> float:
    """Probability that he listens elsewhere than he sends."""
    each, own = ((count + 0.5) / (counted.overs + 1.0) for count in (counted.responses, counted.on_his_own))
    evidence = (1.0, math.log(each), min(counted.places, MOST_PLACES), own)
    odds = sum(weight * told for weight, told in zip(WEIGHTS, evidence, strict=True))
    odds += SAID * counted.sent_away + CROWD * min(counted.crowd, MOST_CROWD) + MARK * counted.marks
    odds -= ALONE * max(0, counted.overs - ALONE_OVERS) * counted.alone
    return 1.0 / (1.0 + math.exp(-max(-SUREST, min(SUREST, odds))))


def window_hz(
    overs: Sequence[Over], emissions: Sequence[Emission], dx_hz: float, mode: Mode
) -> tuple[float, float] | None:
    """Edges of where those call who respond to him, one vote a caller; None while they are too few."""
    spans = _spans(overs)
    heard = [
        one.frequency_hz
        for one in elsewhere(emissions, dx_hz, mode)
        if any(stop_s - LEAD_S <= one.start_s < stop_s + ZONE_S for _, stop_s in spans)
    ]
    places = _apart(heard, SAME_HZ["cw" if mode == "cw" else "voice"])
    side = [place for place in places if (place > dx_hz) == (sum(p > dx_hz for p in places) * 2 >= len(places))]
    if len(side) < CALLERS:
        return None
    cut = int(EDGE_SHARE * len(side) + 0.5)
    return side[cut], side[len(side) - 1 - cut]


def elsewhere(emissions: Sequence[Emission], dx_hz: float, mode: Mode) -> list[Emission]:
    """Those that are neither on his frequency nor taken back."""
    guard_hz = GUARD_HZ["cw" if mode == "cw" else "voice"]
    return [
        one
        for one in emissions
        if abs(one.frequency_hz - dx_hz) > guard_hz and (one.stop_s is None or one.stop_s > one.start_s)
    ]


def _apart(frequency_hz: Sequence[float], near_hz: float) -> list[float]:
    """Those of them, ascending, that lie further than this from the one before."""
    kept: list[float] = []
    for place_hz in sorted(frequency_hz):
        if not kept or place_hz - kept[-1] > near_hz:
            kept.append(place_hz)
    return kept


def _sends(emission: Emission, from_s: float, until_s: float) -> bool:
    """Does it go on, or begin, between the two times?"""
    return emission.start_s < until_s and (emission.stop_s is None or emission.stop_s > from_s)


def _spans(overs: Sequence[Over]) -> list[tuple[float, float]]:
    """(start, stop) of his overs, without the pauses within."""
    spans: list[tuple[float, float]] = []
    for over in overs:
        if over.stop_s is None or over.stop_s - over.start_s < SHORT_S:
            continue
        if spans and over.start_s - spans[-1][1] < PAUSE_S:
            spans[-1] = (spans[-1][0], over.stop_s)
        else:
            spans.append((over.start_s, over.stop_s))
    return spans


def _sends_away(over: Over) -> bool:
    """Was he read to say where he listens, or "up"?"""
    for found in _AWAY.finditer(over.text):
        sure = over.sure[found.start() : found.end()] if len(over.sure) == len(over.text) else ()
        if min(sure, default=0.0) >= SURE:
            return True
    return False


class Responders:
    """Follows what the engine finds; `told` gives a `Working` once a response to the newest over must have begun."""

    def __init__(self, dx_hz: float, mode: Mode) -> None:
        self._dx_hz, self._mode = dx_hz, mode
        self._overs: dict[int, Over] = {}
        self._emissions: dict[int, Emission] = {}
        self._marks: dict[int, Answer] = {}
        self._due_s: float | None = None

    def emission(self, emission: Emission) -> None:
        """One that is new or changed."""
        self._emissions[emission.id] = emission

    def mark(self, answer: Answer) -> None:
        """One that is new or changed; the operator's own do not count."""
        if answer.by != "operator":
            self._marks[answer.id] = answer

    def over(self, over: Over) -> None:
        """One that is new or changed."""
        self._overs[over.id] = over
        if over.stop_s is not None and over.stop_s - over.start_s >= SHORT_S:
            self._due_s = over.stop_s + ZONE_S

    def told(self, now_s: float) -> Working | None:
        """How he works, if there is news."""
        if self._due_s is None or now_s < self._due_s + SETTLES_S:
            return None
        self._due_s = None
        self._forget(now_s - KEPT_S)
        overs = sorted(self._overs.values(), key=lambda over: over.start_s)
        emissions = list(self._emissions.values())
        counted = responses(overs, emissions, self._dx_hz, self._mode, list(self._marks.values()))
        if counted.overs < LEAST:
            return None
        edges = window_hz(overs, emissions, self._dx_hz, self._mode)
        low_hz, high_hz = edges if edges is not None else (None, None)
        return Working(now_s, split_probability(counted), self._mode, counted.overs, low_hz, high_hz)

    def _forget(self, before_s: float) -> None:
        self._overs = {k: o for k, o in self._overs.items() if o.start_s >= before_s}
        self._emissions = {k: e for k, e in self._emissions.items() if e.start_s >= before_s}
        self._marks = {k: m for k, m in self._marks.items() if m.start_s >= before_s}


SETTLES_S = 0.6
"""An emission is known to be one so long after it began."""
