"""An hour with the page open: does the tab's memory grow? python bench/page_soak.py [--minutes 60] [--rate 48000]

The engine hears a pile-up of two minutes over and over at the pace of life, with two-ear sound on. Once a minute the
browser collects its garbage and tells what is left: JavaScript heap, DOM nodes, listeners (Chrome DevTools Protocol,
HeapProfiler.collectGarbage and Performance.getMetrics); beside it the resident memory of engine and server (Linux).
The growth is the median slope over the minutes after the fifteenth: until then stores fill that are bounded.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import theilslopes

LOOP_S = 120
NAMES = ("JSHeapUsedSize", "Nodes", "JSEventListeners")


class TabMeter:
    """What a tab holds once its garbage is gone."""

    def __init__(self, page: Any) -> None:
        self._link = page.context.new_cdp_session(page)
        self._link.send("Performance.enable")

    def read(self) -> tuple[float, int, int]:
        """JavaScript heap in MiB, DOM nodes, listeners: the least of three looks, as messages may be on their way."""
        looks = []
        for _ in range(3):
            self._link.send("HeapProfiler.collectGarbage")
            told = {one["name"]: one["value"] for one in self._link.send("Performance.getMetrics")["metrics"]}
            looks.append([told[name] for name in NAMES])
        heap, nodes, listeners = (min(column) for column in zip(*looks, strict=True))
        return heap / 2**20, int(nodes), int(listeners)


def growth_per_hour(minutes: list[float], values: list[float], settled_min: float = 15.0) -> float:
    """Median slope (Theil and Sen) of what was measured after the stores are full; NaN for less than three points."""
    points = [(m, v) for m, v in zip(minutes, values, strict=True) if m >= settled_min]
    if len(points) < 3:
        return float("nan")
    x, y = np.array(points).T
    return float(60.0 * theilslopes(y, x).slope)


def serve(rate_hz: int) -> None:
    """Engine and server: prints the address, ends with its input."""
    from answers import centre_of, session_of

    from hearmark.engine import Engine, EngineConfig
    from hearmark.events import Block
    from hearmark.simulate import render
    from hearmark.web.live import LiveSession, View
    from hearmark.web.server import Server

    pile = session_of("hard", "cw", 50_000)
    here, centre = pile.scenario, centre_of(pile)
    samples = render.Renderer(pile, rate_hz, centre).samples(0, LOOP_S * rate_hz)
    edges = (here.window_low_hz, here.window_high_hz)
    size = rate_hz // 10

    def stream() -> Iterator[Block]:
        k = 0
        while True:
            at = k * size % len(samples)
            yield Block(k * size, rate_hz, centre, samples[at : at + size])
            k += 1

    engine = Engine(EngineConfig(here.dx_hz, here.mode, *edges))
    view = View("soak", here.dx_hz, here.mode, *edges, sum(edges) / 2, pausable=True)
    with Server(LiveSession(stream(), engine, view), port=0) as server:
        print(server.url, flush=True)
        sys.stdin.read()


def resident_mb(pid: int) -> float:
    """Resident memory of a process, MiB."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--rate", type=int, default=48_000)
    parser.add_argument("--serve", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.serve:
        serve(given.rate)
        return
    from page_frames import ARGS
    from playwright.sync_api import sync_playwright

    command = [sys.executable, __file__, "--serve", "--rate", str(given.rate)]
    child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    if child.stdin is None or child.stdout is None:
        raise SystemExit("The server has no pipes.")
    url = child.stdout.readline().strip()
    print("minute  heap MiB  nodes  listeners  server MiB   turns  state", flush=True)
    minutes: list[float] = []
    heaps: list[float] = []
    nodes: list[float] = []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=ARGS)
        page = browser.new_context(viewport={"width": 1280, "height": 720}).new_page()
        page.goto(url)
        page.wait_for_timeout(1000)
        page.keyboard.press("s")
        meter = TabMeter(page)
        for minute in range(int(given.minutes) + 1):
            heap, count, listeners = meter.read()
            turns, state = page.evaluate("[hearmark.model.turns.size, hearmark.model.status?.state]")
            minutes.append(minute)
            heaps.append(heap)
            nodes.append(count)
            print(
                f"{minute:>6} {heap:>9.2f} {count:>6} {listeners:>10} {resident_mb(child.pid):>11.0f} "
                f"{turns:>7}  {state}",
                flush=True,
            )
            if minute < int(given.minutes):
                page.wait_for_timeout(60_000)
        browser.close()
    child.stdin.close()
    child.wait(20)
    print(
        f"heap {growth_per_hour(minutes, heaps):+.2f} MiB an hour, nodes {growth_per_hour(minutes, nodes):+.0f} an hour"
    )


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent))
    main()
