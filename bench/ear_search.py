"""How many answers one receiver finds within the reply: the planned search against a plain sweep.

Pile-ups of the simulator, played as events; both searches hear the same replies and are equally deaf to what lies
outside their slice, each with its own draws of what is overlooked or taken for the answered station. The belief is fed
by the search's own finds, mistakes and silences, from nothing. A plain sweep goes slice by slice from the near edge of
the window. Development seeds from 1, held-back seeds from 5 000 000.

Run: python bench/ear_search.py [--held-back] [--sessions N]
"""

from __future__ import annotations

import argparse
import random
import time
from dataclasses import dataclass

import numpy as np

from hearmark.ear import search
from hearmark.ear.belief import Belief
from hearmark.events import Mode
from hearmark.simulate.people import Pileup
from hearmark.simulate.scenario import HABITS
from hearmark.study.crowd import Crowd
from hearmark.study.marks import peeked
from hearmark.study.station import Reply
from hearmark.study.trial import Trial

MINUTES = 15.0
CASES: tuple[tuple[str, Mode, tuple[search.Receiver, ...]], ...] = (
    ("CW, 500 Hz slice, 5 kHz window", "cw", (search.NARROW,)),
    ("CW, wide slice, 5 kHz window", "cw", (search.WIDE,)),
    ("CW, the better of both filters", "cw", (search.NARROW, search.WIDE)),
    ("SSB, window 5 to 10 kHz", "usb", (search.VOICE,)),
)


@dataclass
class Count:
    """Answers, and how many of them each search found or mistook."""

    answers: int = 0
    planned: int = 0
    swept: int = 0
    wrong: int = 0


def session(trial: Trial, receivers: tuple[search.Receiver, ...]) -> tuple[Count, list[float], list[float]]:
    """One pile-up: answers and finds, seconds of planning, chances promised."""
    scenario = trial.scenario()
    pileup = Pileup(scenario)
    crowd = Crowd(scenario.mode, scenario.window_low_hz, scenario.window_high_hz, pileup.stations)
    belief = Belief(scenario.window_low_hz, scenario.window_high_hz, scenario.mode, dx_hz=scenario.dx_hz)
    expected = search.REPLY[scenario.mode]
    plain = search.sweep(scenario.window_low_hz, scenario.window_high_hz, scenario.dx_hz, receivers[0], expected)
    rng, rng_plain = random.Random(trial.seed), random.Random(trial.seed + 1)
    count, took, promised = Count(), [], []
    sent = pileup.advance(0.0)
    while pileup.now_s < 60.0 * trial.minutes:
        over = next((one for one in reversed(sent) if one.station == 0), None)
        fragment = pileup.asked_for
        call = pileup.answering
        sent = pileup.advance(60.0 * trial.minutes, until_over=True)
        crowd.takes(sent)
        if over is None or over.role not in ("answer", "again") or fragment is not None:
            continue
        replies = [s for s in sent if s.role == "reply" and pileup.stations[s.station].call == call]
        if not replies:
            continue
        heard = Reply(replies[0], over.stop_s, over.start_s, over.stop_s)
        began = time.perf_counter()
        best = search.plan(belief.ear(pileup.now_s), scenario.dx_hz, receivers, expected, most_nodes=3_000)
        took.append(time.perf_counter() - began)
        promised.append(best.found)
        mark, peeks = peeked(best, heard, crowd, rng)
        right = mark is not None and abs(mark.frequency_hz - replies[0].frequency_hz) < 150.0
        other, _ = peeked(plain, heard, crowd, rng_plain)
        count.answers += 1
        count.planned += right
        count.wrong += mark is not None and not right
        count.swept += other is not None and abs(other.frequency_hz - replies[0].frequency_hz) < 150.0
        if mark is None:
            belief = search.unheard(belief, pileup.now_s, best, expected, peeks)
        else:
            belief = belief.mark(mark.known_at_s, mark.frequency_hz, mark.confidence)
        crowd.turn([])
    return count, took, promised


def table(seeds: range) -> None:
    search.warm()
    for title, mode, receivers in CASES:
        print(f"\n{title}; {len(seeds)} pile-ups of {MINUTES:g} min a habit")
        print(
            f"{'habit':10s} {'answers':>8s} {'planned':>8s} {'sweep':>8s} {'ratio':>6s} {'promised':>9s} {'wrong':>6s}"
        )
        every, times = [], []
        for habit in HABITS:
            counts, promises = [], []
            for seed in seeds:
                trial = Trial("program", habit, seed, mode, "hard", minutes=MINUTES)
                count, took, promised = session(trial, receivers)
                counts.append((count.answers, count.planned, count.swept, count.wrong))
                times += took
                promises += promised
            answers, planned, swept, wrong = np.sum(counts, axis=0)
            every.append((answers, planned, swept, wrong))
            print(
                f"{habit:10s} {answers:8d} {planned / answers:8.1%} {swept / answers:8.1%} {planned / swept:6.2f} "
                f"{np.mean(promises):9.1%} {wrong / answers:6.1%}",
                flush=True,
            )
        answers, planned, swept, wrong = np.sum(every, axis=0)
        print(
            f"{'all':10s} {answers:8d} {planned / answers:8.1%} {swept / answers:8.1%} {planned / swept:6.2f} "
            f"{'':9s} {wrong / answers:6.1%}   planning {1e3 * np.median(times):.1f} ms, "
            f"95 % {1e3 * np.quantile(times, 0.95):.0f} ms"
        )


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--held-back", action="store_true")
    parser.add_argument("--sessions", type=int, default=6)
    args = parser.parse_args()
    first = 5_000_000 if args.held_back else 1
    table(range(first, first + args.sessions))
