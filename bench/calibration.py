"""What the confidence of a mark is worth: expected calibration error by mode and class.

Marks of the whole engine on simulated recordings. Of each answer the newest state counts, whatever its confidence;
one taken back stands with the confidence that it had before. Right: it meets the reply of a completed contact, first
mark of it (further marks of a found contact, and stations called but not worked, count neither way, as in the scoring).
Ten bins of equal counts; the error is the mean over the bins of |share right - mean confidence|, its 95 % interval by
bootstrap over the recordings. Beside it what chance alone makes of as many marks told without fault, and the answers
found: those marked with a confidence of a half or more.

Resumable: each recording's marks are kept in the file given by --results. Seeds from 50000 on were never used while
developing. Run: python bench/calibration.py [--mode cw|usb|lsb] [--level easy hard brutal varied] [--seeds N]
    [--results FILE] [--jobs 1]
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path
from typing import Any, Literal, get_args

import numpy as np
from answers import session_of, wideband

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Answer, FloatArray, Mode
from hearmark.marks import SURE, settled
from hearmark.simulate import scoring
from hearmark.study.ledger import Ledger
from hearmark.study.runner import play_all

Level = Literal["easy", "hard", "brutal", "varied"]
BINS = 10
FIRST = 50_000
DRAWS = 1_000
PRECISIONS = (0.75, 0.8, 0.85, 0.9)


@dataclass(frozen=True, slots=True)
class Recording:
    """One of them."""

    level: Level
    mode: Mode
    seed: int


def key(recording: Recording) -> str:
    """Its name in the file."""
    return f"{recording.level}/{recording.mode}/{recording.seed}"


def hear(recording: Recording) -> dict[str, Any]:
    """Confidence of each mark that counts, and whether it was right."""
    session = session_of(recording.level, recording.mode, recording.seed)
    sc = session.scenario
    engine = Engine(EngineConfig(sc.dx_hz, sc.mode, sc.window_low_hz, sc.window_high_hz))
    history: list[Answer] = []
    for block in wideband(session):
        history += [event for event in engine.feed(block) if isinstance(event, Answer)]
    history += [event for event in engine.finish() if isinstance(event, Answer)]
    said: dict[int, float] = {}
    for state in history:
        if state.retracted_at_s is None:
            said[state.id] = state.confidence
    final = tuple(
        replace(answer, confidence=said.get(answer.id, answer.confidence), retracted_at_s=None)
        for answer in settled(history, sc.mode)
    )
    judged = scoring.verdicts(scoring.Trial(final, session.contacts, sc.mode), threshold=0.0)
    marks = [(v.answer.confidence, v.judgement == "right") for v in judged if v.judgement in ("right", "wrong")]
    completed = sum(contact.completed for contact in session.contacts)
    return {
        "key": key(recording), "level": recording.level, "mode": recording.mode, "marks": marks, "contacts": completed,
    }  # fmt: skip


def error(confidence: FloatArray, right: FloatArray) -> float:
    """Expected calibration error in equal-count bins."""
    order = np.argsort(confidence, kind="stable")
    parts = [part for part in np.array_split(order, BINS) if len(part)]
    return float(sum(len(p) * abs(right[p].mean() - confidence[p].mean()) for p in parts) / len(order))


def found_at(marks: FloatArray, contacts: int, precision: float) -> float:
    """Share of the contacts found by the most marks, the surest first, of which so many are right."""
    right = np.cumsum(marks[np.argsort(-marks[:, 0], kind="stable"), 1])
    enough = np.nonzero(right / np.arange(1, len(right) + 1) >= precision)[0]
    return float(right[enough[-1]]) / contacts if len(enough) else 0.0


def report(name: str, records: Sequence[dict[str, Any]]) -> None:
    """The table of some recordings."""
    each = [np.array(r["marks"], dtype=np.float64).reshape(-1, 2) for r in records]
    every = np.concatenate(each)
    if len(every) < BINS:
        print(f"{len(every)} marks are too few for {BINS} bins.")
        return
    rng = np.random.default_rng(1)
    draws = [error(*np.concatenate([each[i] for i in rng.integers(0, len(each), len(each))]).T) for _ in range(DRAWS)]
    low, high = np.quantile(draws, (0.025, 0.975))
    print(
        f"{name}: {len(every)} marks of {len(records)} recordings, "
        f"expected calibration error {error(*every.T):.3f} (95 %: {low:.3f} to {high:.3f})"
    )
    chance = [error(every[:, 0], (rng.random(len(every)) < every[:, 0]).astype(np.float64)) for _ in range(DRAWS)]
    told = every[every[:, 0] >= SURE, 1]
    contacts = sum(r["contacts"] for r in records)
    right, share = told.sum() / contacts, told.sum() / max(len(told), 1)
    print(f"   by chance {np.median(chance):.3f}; found {right:.3f} of {contacts}, precision {share:.3f}")
    print("   found at precision " + ", ".join(f"{p:g}: {found_at(every, contacts, p):.3f}" for p in PRECISIONS))
    order = np.argsort(every[:, 0], kind="stable")
    for part in np.array_split(order, BINS):
        print(f"   said {every[part, 0].mean():.2f}   came {every[part, 1].mean():.2f}   ({len(part)})")


def main() -> None:
    """Hear what is missing, then print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--mode", choices=get_args(Mode), default="cw")
    parser.add_argument("--level", choices=get_args(Level), nargs="+", default=["hard"], help="several are pooled, too")
    parser.add_argument("--seeds", type=int, default=8)
    parser.add_argument("--first", type=int, default=FIRST)
    parser.add_argument("--results", type=Path)
    parser.add_argument("--jobs", type=int, default=1)
    args = parser.parse_args()
    seeds = range(args.first, args.first + args.seeds)
    every = {level: [Recording(level, args.mode, seed) for seed in seeds] for level in args.level}
    with Ledger(args.results) as ledger:
        play_all(hear, list(chain(*every.values())), ledger, key, args.jobs)
        for level, recordings in every.items():
            report(f"{args.mode} {level}", [ledger.records[key(recording)] for recording in recordings])
        if len(every) > 1:
            report(f"{args.mode} {' '.join(every)}", [ledger.records[key(r)] for r in chain(*every.values())])


if __name__ == "__main__":
    main()
