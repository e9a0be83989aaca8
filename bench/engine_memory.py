"""Memory of the whole engine over an hour of stream: python bench/engine_memory.py [--minutes 60].

A pile-up of two minutes is played over and over, so that only the engine can grow. Linux only (reads /proc).
"""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from answers import RATE, centre_of, session_of

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Block
from hearmark.simulate import render

LOOP_S = 120


def resident_mb() -> float:
    """Resident memory of this process, MiB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=int, default=60)
    minutes = parser.parse_args().minutes
    session = session_of("hard", "cw", 50_000)
    sc, centre = session.scenario, centre_of(session)
    samples = render.Renderer(session, RATE, centre).samples(0, LOOP_S * RATE)
    engine = Engine(EngineConfig(sc.dx_hz, sc.mode, sc.window_low_hz, sc.window_high_hz))
    size = RATE // 10
    for k in range(minutes * 600):
        at = k * size % len(samples)
        engine.feed(Block(k * size, RATE, centre, samples[at : at + size]))
        if (k + 1) % 6000 == 0:
            print(f"after {(k + 1) // 600:3d} min: {resident_mb():.0f} MiB", flush=True)


if __name__ == "__main__":
    main()
