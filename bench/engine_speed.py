"""How many times real time the whole engine runs on one core: 60 callers, hard channel, 48 and 192 kHz. CPU time."""

from __future__ import annotations

import time
from dataclasses import replace

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Block
from hearmark.simulate import people, render, scenario

SECONDS = 40


def main() -> None:
    sc = replace(scenario.preset("hard", "cw", 50_300, None, SECONDS), callers=60)
    session = people.play(sc)
    centre_hz = round((sc.dx_hz + sc.window_high_hz) / 2)
    for rate_hz in (48_000, 192_000):
        samples = render.render(session, rate_hz, centre_hz, 0, SECONDS)
        engine = Engine(EngineConfig(sc.dx_hz, "cw", sc.window_low_hz, sc.window_high_hz))
        begin = time.process_time()
        for k in range(0, len(samples), rate_hz // 10):
            engine.feed(Block(k, rate_hz, centre_hz, samples[k : k + rate_hz // 10]))
        print(f"{rate_hz} Hz: {SECONDS / (time.process_time() - begin):.1f} x real time on one core")


if __name__ == "__main__":
    main()
