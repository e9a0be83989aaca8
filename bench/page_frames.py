"""Frames a second in headless Chromium while the engine runs beside it, and how long an event takes to the picture.

    python bench/page_frames.py [--rate 192000] [--mode cw] [--seconds 30]

The pile-up is rendered beforehand, as a receiver would send it; engine, server and two-ear sound run in one process at
the pace of life, the browser beside them. An event counts from the moment at which the engine hands it out to the end
of the frame in which the page has drawn it. Every frame is drawn anew, more than the page does by itself.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

ARGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
]  # fmt: skip
WATCHED = ("Over", "Turn", "Answer", "Advice", "Ear")
LEAD_S = 20.0
"""Played before anything is measured: the ladder has rungs by then."""
WATCH = """() => {
  const { model, field } = globalThis.hearmark;
  const seen = globalThis.seen = [], frames = globalThis.frames = [], draws = globalThis.draws = [];
  const now = () => (performance.timeOrigin + performance.now()) / 1000;
  const apply = model.apply.bind(model);
  model.apply = (message) => {
    apply(message);
    const key = JSON.stringify([message.type, message.id ?? message.time_s, message.stop_s ?? null]);
    requestAnimationFrame(() => {
      const after = new MessageChannel();
      after.port1.onmessage = () => { seen.push([key, now()]); after.port1.close(); };
      after.port2.postMessage(0);
    });
  };
  const draw = field.draw.bind(field);
  field.draw = () => { const began = performance.now(); draw(); draws.push(performance.now() - began); };
  const every = (at) => { frames.push(at); model.changed(); requestAnimationFrame(every); };
  requestAnimationFrame(every);
}"""


class Stamped:
    """An engine that notes when it hands out what."""

    def __init__(self, engine: Any) -> None:
        self._engine = engine
        self.stamps: dict[str, list[float]] = {}

    def feed(self, event: Any) -> Iterable[Any]:
        """Passes an event on."""
        for found in self._engine.feed(event):
            kind = type(found).__name__
            if kind in WATCHED:
                stop_s = getattr(found, "stop_s", None)
                number = getattr(found, "id", None)
                key = [kind, round(found.time_s, 6) if number is None else number, stop_s and round(stop_s, 6)]
                self.stamps.setdefault(json.dumps(key, separators=(",", ":")), []).append(time.time())
            yield found


def serve(rate_hz: float, mode: Any, seconds: float) -> None:
    """Engine and server: prints the address, ends with its input, then prints the stamps."""
    from hearmark.engine import Engine, EngineConfig
    from hearmark.listening import invented
    from hearmark.simulate.render import SimulatedSource
    from hearmark.web.live import LiveSession, View
    from hearmark.web.server import Server

    pile = invented("hard", mode, 8, None, LEAD_S + seconds + 40.0)
    here = pile.scenario
    middle_hz = round((here.dx_hz + here.window_high_hz) / 2)
    blocks = list(SimulatedSource(pile, rate_hz, middle_hz).events())
    edges = (here.window_low_hz, here.window_high_hz)
    engine = Stamped(Engine(EngineConfig(here.dx_hz, mode, *edges)))
    view = View("bench", here.dx_hz, mode, *edges, sum(edges) / 2, pausable=True)

    def stream() -> Iterator[Any]:
        yield from blocks

    session = LiveSession(stream(), engine, view)
    with Server(session, port=0) as server:
        print(server.url, flush=True)
        sys.stdin.read()
        print(json.dumps({"stamps": engine.stamps, "slipped_s": session.pace.slipped_s}), flush=True)


def measure(rate_hz: float, mode: str, seconds: float) -> dict[str, Any]:
    """One run; see `main` for what the figures mean."""
    from playwright.sync_api import sync_playwright

    given = [sys.executable, __file__, "--serve", "--rate", f"{rate_hz:g}", "--mode", mode, "--seconds", f"{seconds:g}"]
    child = subprocess.Popen(given, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert child.stdin is not None
    assert child.stdout is not None
    url = child.stdout.readline().strip()
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=ARGS)
        page = browser.new_context(viewport={"width": 1280, "height": 720}).new_page()
        page.goto(url)
        page.wait_for_timeout(1000)
        page.keyboard.press("s")
        page.wait_for_timeout(LEAD_S * 1000)
        page.evaluate(WATCH)
        page.wait_for_timeout(seconds * 1000)
        frames, draws, seen = page.evaluate("[globalThis.frames, globalThis.draws, globalThis.seen]")
        sound = page.evaluate("globalThis.hearmark.sound.report")
        browser.close()
    child.stdin.close()
    told = json.loads(child.stdout.read().strip().splitlines()[-1])
    child.wait(20)
    # The same state may be told twice: what is drawn is the last that was told before
    said = ((at, [made for made in told["stamps"].get(key, ()) if made <= at]) for key, at in seen)
    late = sorted(1000 * (at - made[-1]) for at, made in said if made)
    steps = sorted(after - before for before, after in itertools.pairwise(frames))
    return {
        "fps": 1000 * len(steps) / sum(steps),
        "frame_95_ms": steps[int(0.95 * len(steps))],
        "frame_most_ms": steps[-1],
        "draw_ms": statistics.median(draws),
        "events": len(late),
        "late_ms": statistics.median(late) if late else float("nan"),
        "late_95_ms": late[int(0.95 * len(late))] if late else float("nan"),
        "late_most_ms": late[-1] if late else float("nan"),
        "sound_dropped": sound["dropped"] if sound else -1,
        "slipped_s": told["slipped_s"],
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--rate", type=float, action="append")
    parser.add_argument("--mode", default="cw", choices=["cw", "usb", "lsb"])
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--serve", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    rates = given.rate or [48_000.0, 192_000.0]
    if given.serve:
        serve(rates[0], given.mode, given.seconds)
        return
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at the start")
    print("   rate mode   fps  95 % ms  most ms  drawn in  events  to pixel  95 % ms  most ms  slipped")
    for rate_hz in rates:
        r = measure(rate_hz, given.mode, given.seconds)
        print(
            f"{rate_hz / 1e3:>5.0f} k {given.mode:<4} {r['fps']:>5.1f} {r['frame_95_ms']:>8.1f} "
            f"{r['frame_most_ms']:>8.1f} {r['draw_ms']:>6.1f} ms {r['events']:>7} {r['late_ms']:>6.0f} ms "
            f"{r['late_95_ms']:>8.0f} {r['late_most_ms']:>8.0f} {r['slipped_s']:>6.1f} s",
            flush=True,
        )


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent))
    main()
