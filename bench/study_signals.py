"""The program in the loop at signal level against the event-level study, on the same seeds.

Each session is a pile-up whose stations are rendered as I/Q behind the people as they act; the engine hears it, its
advice says where our station calls, and the DX answers that station or not. While it sends the engine is deaf. The
same pile-up is played by `hearmark study`'s tactic "program", sixteen times with other draws of the operator's luck:
of these the mean of the logarithm of the time, so that the luck of one play does not widen the interval. Printed:
medians, and the mean of the log of the ratio of the two times over the pairs with its 95 % interval (bootstrap over
the pairs). Not in the log counts as the whole time.

Resumable: each session is kept in the file given by --results as it ends. Seeds from 60000 on were never used while
developing. Run: python bench/study_signals.py [--mode cw] [--sessions N] [--results FILE] [--jobs 1]
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Advice, Answer, Event, KeyState, Mode
from hearmark.practice.band import Band
from hearmark.simulate import scoring, speech
from hearmark.simulate.people import Pileup
from hearmark.simulate.scenario import HABITS
from hearmark.simulate.session import Transmission
from hearmark.study.crowd import Crowd
from hearmark.study.ledger import Ledger
from hearmark.study.runner import play_all
from hearmark.study.station import OwnStation, Reply, strength_db
from hearmark.study.trial import Trial, run

MINUTES = 10.0
FIRST = 60_000
DRAWS = 16
"""So often each pile-up is played at event level."""


class OnAir(Pileup):
    """A pile-up whose every advance is also rendered and heard by the engine."""

    def begin(self) -> None:
        """Once the people are there: the band and the engine."""
        scenario = self.scenario
        self.band = Band(self)
        self.engine = Engine(
            EngineConfig(scenario.dx_hz, scenario.mode, scenario.window_low_hz, scenario.window_high_hz)
        )
        self.transmit_hz: float | None = None
        self.answers: list[Answer] = []
        self._own_spans: list[tuple[float, float]] = []
        self._keyed = False

    def advance(self, until_s: float, until_over: bool = False) -> list[Transmission]:
        """In steps of one page, so that the engine is as far as the people when they go on."""
        sent: list[Transmission] = []
        if not hasattr(self, "band"):
            return super().advance(until_s, until_over)
        while True:
            before_s = self._air.over_start_s
            fresh = super().advance(min(until_s, self.now_s + self.band.page_s), until_over)
            sent += fresh
            for one in fresh:
                self.band.hear(one)
            self._hear()
            if self.now_s >= until_s or (until_over and self._air.over_start_s != before_s):
                break
        return sent

    def call(self, start_s: float, frequency_hz: float, snr_at_dx_db: float, call: str, stop_s: float) -> None:
        """We send: the engine will be deaf."""
        self._own_spans.append((start_s, stop_s))
        super().call(start_s, frequency_hz, snr_at_dx_db, call, stop_s)

    def reply(self, start_s: float, stop_s: float, frequency_hz: float) -> None:
        """Likewise."""
        self._own_spans.append((start_s, stop_s))
        super().reply(start_s, stop_s, frequency_hz)

    def _hear(self) -> None:
        while self.band.needs_s <= self.now_s:
            block = self.band.block()
            keyed = any(start < block.stop_s and stop > block.start_s for start, stop in self._own_spans[-6:])
            if keyed != self._keyed:
                self._keyed = keyed
                self._take(self.engine.feed(KeyState(block.start_s, keyed)))
            self._take(self.engine.feed(block))

    def _take(self, events: Sequence[Event]) -> None:
        for event in events:
            if isinstance(event, Advice):
                self.transmit_hz = event.transmit_hz
            elif isinstance(event, Answer):
                self.answers.append(event)


class Heard:
    """The tactic: where the engine's advice says now."""

    promised = 0.0

    def __init__(self, pileup: OnAir) -> None:
        self._pileup = pileup

    def place(self, now_s: float) -> float | None:
        """None before it has said anything."""
        return self._pileup.transmit_hz

    def answered(self, reply: Reply, crowd: Crowd) -> None:
        """The engine hears for itself."""

    def confirmed(self, now_s: float) -> None:
        """The engine hears for itself."""

    def broken_off(self, now_s: float) -> None:
        """The engine hears for itself."""


@dataclass(frozen=True, slots=True)
class Pair:
    """One seed, to be played at both levels."""

    mode: Mode
    seed: int

    @property
    def trial(self) -> Trial:
        """The habits take turns."""
        return Trial("program", HABITS[self.seed % len(HABITS)], self.seed, self.mode, minutes=MINUTES)


def key(pair: Pair) -> str:
    """Its name in the file."""
    return f"{pair.mode}/{pair.seed}"


def play(pair: Pair) -> dict[str, Any]:
    """Both levels: seconds until in the log, the whole time when never."""
    trial = pair.trial
    limit_s = 60.0 * MINUTES
    by_events = [run(trial, draw) for draw in range(DRAWS)]
    events_s = [float(record["worked_at_s"] or limit_s) for record in by_events]
    began = time.perf_counter()
    pileup = OnAir(trial.scenario(), None if pair.mode == "cw" else speech, keyed=pair.mode == "cw")
    pileup.advance(0.0)
    snr_db = strength_db(pileup, trial.weaker_than)
    pileup.begin()
    scenario = pileup.scenario
    crowd = Crowd(scenario.mode, scenario.window_low_hz, scenario.window_high_hz, pileup.stations)
    result = OwnStation(pileup, Heard(pileup), crowd, snr_db, trial.seed, 60.0 * MINUTES).run()
    score = scoring.score(scoring.trial(pileup.answers, pileup.session().contacts, pair.mode))
    return {
        "key": key(pair), "mode": pair.mode, "habit": trial.habit, "seed": pair.seed,
        "signal_s": result.worked_at_s or limit_s, "events_s": events_s,
        "signal_calls": result.calls,
        "recall": score.recall, "precision": score.precision, "took_s": time.perf_counter() - began,
    }  # fmt: skip


def report(records: Sequence[dict[str, Any]]) -> None:
    """The interval of the paired log ratio."""
    signal = np.array([r["signal_s"] for r in records])
    event = np.array([r["events_s"] for r in records])
    ratio = np.log(signal) - np.log(event).mean(axis=1)
    rng = np.random.default_rng(1)
    means = ratio[rng.integers(0, len(ratio), (10_000, len(ratio)))].mean(axis=1)
    low, high = np.quantile(means, (0.025, 0.975))
    whole_s = 60.0 * MINUTES
    recalls = [r["recall"] for r in records if r["recall"] is not None]
    precisions = [r["precision"] for r in records if r["precision"] is not None]
    print(
        f"{len(records)} pairs of at most {MINUTES:g} min\n"
        f"median minutes: signal level {np.median(signal) / 60:.1f}, event level {np.median(event) / 60:.1f}; "
        f"not in the log {np.mean(signal >= whole_s):.0%} and {np.mean(event >= whole_s):.0%}\n"
        f"mean log ratio of the times {ratio.mean():+.2f} (95 %: {low:+.2f} to {high:+.2f})\n"
        f"marks of the engine in these sessions: recall {np.mean(recalls):.0%}, precision {np.mean(precisions):.0%} "
        "(mean of sessions)"
    )


def main() -> None:
    """Play what is missing, then print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--mode", choices=("cw", "usb", "lsb"), default="cw")
    parser.add_argument("--sessions", type=int, default=12)
    parser.add_argument("--first", type=int, default=FIRST)
    parser.add_argument("--results", type=Path)
    parser.add_argument("--jobs", type=int, default=1)
    args = parser.parse_args()
    pairs = [Pair(args.mode, seed) for seed in range(args.first, args.first + args.sessions)]
    with Ledger(args.results) as ledger:
        play_all(play, pairs, ledger, key, args.jobs)
        report([ledger.records[key(pair)] for pair in pairs])


if __name__ == "__main__":
    main()
