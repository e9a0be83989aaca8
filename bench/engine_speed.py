"""How many times real time the whole engine runs on one core, hard channel. CPU time.

60 callers in 5 kHz at 48 and 192 kHz; 60 callers, and 200, in 15 kHz at 48 kHz. With --picture: over the number of
callers, at 48 kHz, in a window of 15 kHz. Other work on the same processor makes it slower than a free core is.

    python bench/engine_speed.py [--picture docs/engine_speed.png]
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Block
from hearmark.simulate import people, render, scenario

SECONDS = 40
CALLERS = (1, 20, 60, 120, 200)


def speed(callers: int, rate_hz: int, wide: bool = False) -> float:
    """Seconds heard in a second of one core."""
    sc = replace(scenario.preset("hard", "cw", 50_300, None, SECONDS), callers=callers)
    if wide:
        sc = replace(sc, window_low_hz=sc.dx_hz + 1_000.0, window_high_hz=sc.dx_hz + 16_000.0)
    session = people.play(sc)
    centre_hz = round((sc.dx_hz + sc.window_high_hz) / 2)
    samples = render.render(session, rate_hz, centre_hz, 0, SECONDS)
    engine = Engine(EngineConfig(sc.dx_hz, "cw", sc.window_low_hz, sc.window_high_hz))
    begin = time.process_time()
    for k in range(0, len(samples), rate_hz // 10):
        engine.feed(Block(k, rate_hz, centre_hz, samples[k : k + rate_hz // 10]))
    return SECONDS / (time.process_time() - begin)


def picture(path: str, found: list[float]) -> None:
    """Speed over the number of callers."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(figsize=(6, 3.6), layout="constrained")
    axes.plot(CALLERS, found, "o-", color="#0072B2", label="whole engine")
    axes.plot([60, 200], [12, 4], "k_", ms=14, label="wanted at least")
    axes.set(xlabel="callers in 15 kHz", ylabel="times real time, one core", ylim=(0, None))
    axes.legend(fontsize=8)
    axes.grid(alpha=0.3)
    figure.savefig(path, dpi=120)


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--picture")
    given = ask.parse_args()
    speed(5, 48_000)  # whatever is loaded or compiled once
    for rate_hz, must in ((48_000, " (must 12)"), (192_000, "")):
        told = speed(60, rate_hz)
        print(f"60 callers in 5 kHz, {rate_hz} Hz: {told:.1f} x real time on one core{must}", flush=True)
    for callers, must in () if given.picture else ((60, " (must 12)"), (200, " (must 4)")):
        told = speed(callers, 48_000, wide=True)
        print(f"{callers} callers in 15 kHz, 48000 Hz: {told:.1f} x real time on one core{must}", flush=True)
    if given.picture:
        found = []
        for callers in CALLERS:
            found.append(speed(callers, 48_000, wide=True))
            print(f"{callers:4} callers in 15 kHz, 48 kHz: {found[-1]:.1f} x real time", flush=True)
        picture(given.picture, found)


if __name__ == "__main__":
    main()
