"""Nothing given but the recording and the DX's frequency: split or simplex, his mode, the window that he uses.

    python bench/unannounced.py [--mode cw,usb,lsb] [--kind easy,hard,varied,simplex,ordinary] [--seeds N] [--first N]
        [--jobs 2]

Recordings of 75 s through the whole engine as in `hearmark review`. Split: pile-ups easy, hard and varied (one in five
below the DX). Not split: pile-ups on his own frequency, and ordinary contacts of two stations with up to five others
beside them. Split or not counts 3.5 s after his third true over (what is told within the turn that follows it), and at
the end. A window is compared with the true one: the share that both have of what either has.

The weights in `pileup/working.py` were fitted on seeds 1 to 16; seeds from 50000 on were not used while developing.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from answers import centre_of

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Block, Mode, Plan, Working
from hearmark.simulate import people, render, scenario, speech
from hearmark.simulate.ordinary import ordinary
from hearmark.simulate.session import Session

RATE, SECONDS, LATE_S = 48_000, 75.0, 3.5
KINDS = ("easy", "hard", "varied", "simplex", "ordinary")


@dataclass(frozen=True)
class Result:
    """What was found in one recording. `early`, `late`: probability of split, None: nothing said."""

    seed: int
    mode_right: bool
    early: float | None
    late: float | None
    share: float | None


def session_of(kind: str, mode: Mode, seed: int) -> Session:
    """The recording of a kind and seed."""
    speaks = speech if mode != "cw" else None
    if kind == "ordinary":
        return ordinary(mode, seed, SECONDS, durations=speaks)
    if kind == "simplex":
        return people.play(scenario.simplex(mode, seed, SECONDS), speaks)
    if kind == "varied":
        drawn = scenario.varied(mode, seed, SECONDS)
        return people.play(scenario.varied(mode, seed + 777_000, SECONDS) if drawn.name == "simplex" else drawn, speaks)
    level: Any = kind
    return people.play(scenario.preset(level, mode, seed, None, SECONDS), speaks)


def third_over_s(session: Session) -> float:
    """When the third over of station 0 has ended."""
    stops: list[float] = []
    for sent in session.transmissions:
        if sent.station == 0:
            if stops and sent.start_s - stops[-1] < 0.5:
                stops[-1] = sent.stop_s
            else:
                stops.append(sent.stop_s)
    return stops[2] if len(stops) > 2 else SECONDS


def run(kind: str, mode: Mode, seed: int) -> Result:
    """One recording through the engine."""
    session = session_of(kind, mode, seed)
    sc = session.scenario
    centre_hz, size = centre_of(session), RATE // 10
    renderer = render.Renderer(session, RATE, centre_hz)
    engine = Engine(EngineConfig(sc.dx_hz))
    told: list[Working] = []
    plans: list[Plan] = []
    for k in range(0, round(SECONDS * RATE), size):
        events = engine.feed(Block(k, RATE, centre_hz, renderer.samples(k, size)))
        told += [e for e in events if isinstance(e, Working)]
        plans += [e for e in events if isinstance(e, Plan)]
    until_s = third_over_s(session) + LATE_S
    early = [one for one in told if one.time_s <= until_s]
    edges = next(
        ((w.low_hz, w.high_hz) for w in reversed(told) if w.low_hz is not None and w.high_hz is not None), None
    )
    share = None
    if edges is not None and sc.window_high_hz > sc.window_low_hz:
        both = min(edges[1], sc.window_high_hz) - max(edges[0], sc.window_low_hz)
        share = max(0.0, both) / (max(edges[1], sc.window_high_hz) - min(edges[0], sc.window_low_hz))
    return Result(
        seed, bool(plans) and plans[0].heard_as == mode, early[-1].split if early else None,
        told[-1].split if told else None, share,
    )  # fmt: skip


def show(kind: str, mode: Mode, results: Sequence[Result]) -> None:
    """Two lines."""
    split = kind not in ("simplex", "ordinary")
    count = len(results)

    def right(values: Sequence[float | None]) -> str:
        good = [v is not None and (v > 0.5) == split for v in values]
        silent = sum(v is None for v in values)
        wrong = count - sum(good) - silent
        return f"right {sum(good)}, wrong {wrong}, nothing said {silent}"

    print(f"{mode} {kind}: {count} recordings; mode right {sum(r.mode_right for r in results)}")
    print(f"   by the third over: {right([r.early for r in results])}; at the end: {right([r.late for r in results])}")
    shares = [r.share for r in results if r.share is not None]
    if split:
        middle = f"{np.median(shares):.2f}" if shares else "-"
        print(f"   window told in {len(shares)}, share in common with the true one: median {middle}")
    for r in results:
        bad = [v for v in (r.early, r.late) if v is not None and (v > 0.5) != split]
        if bad or not r.mode_right:
            print(f"   seed {r.seed}: mode right {r.mode_right}, split {r.early} then {r.late}")
    print(end="", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--mode", default="cw,usb")
    parser.add_argument("--kind", default=",".join(KINDS))
    parser.add_argument("--seeds", type=int, default=8)
    parser.add_argument("--first", type=int, default=50_000)
    parser.add_argument("--jobs", type=int, default=2)
    o = parser.parse_args()
    with ProcessPoolExecutor(o.jobs) as pool:
        for mode in o.mode.split(","):
            for kind in o.kind.split(","):
                show(kind, mode, list(pool.map(partial(run, kind, mode), range(o.first, o.first + o.seeds))))


if __name__ == "__main__":
    main()
