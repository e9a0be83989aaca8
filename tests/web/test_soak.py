"""The tab does not grow: half an hour of a session in half a minute. The whole hour: bench/page_soak.py."""

import gc
import sys
import time
import tracemalloc
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from conftest import until
from script import CYCLE_S, VIEW, ScriptedEngine

from hearmark.events import Block
from hearmark.session import Remembering, SessionRecord
from hearmark.web.live import LiveSession
from hearmark.web.server import Server

sys.path.append(str(Path(__file__).parents[2] / "bench"))

FASTER = 60.0
RATE_HZ = 2000.0
SETTLE_S, WATCH_S = 15.0, 30.0
MODEL = "globalThis.hearmark.model"


def silence(duration_s: float) -> Iterator[Block]:
    """Few samples, so that time can run fast; the scripted engine does not listen to them."""
    samples, begun = np.zeros(int(RATE_HZ * 0.05), np.complex64), time.monotonic()
    for k in range(int(duration_s / 0.05)):
        time.sleep(max(0.0, begun + k * 0.05 / FASTER - time.monotonic()))
        yield Block(k * len(samples), RATE_HZ, VIEW.dx_hz, samples)


def test_half_an_hour_leaves_the_tab_as_it_was(new_page: Any) -> None:
    from page_soak import TabMeter

    session = LiveSession(silence(4000.0), ScriptedEngine(turns=340), VIEW, paced=False)
    with Server(session, port=0) as server:
        page = new_page(server.url)
        until(page, f"{MODEL}.turns.size > 5")
        page.wait_for_timeout(SETTLE_S * 1000)
        meter = TabMeter(page)
        before = meter.read()
        begun_s = page.evaluate(f"{MODEL}.nowS")
        page.wait_for_timeout(WATCH_S * 1000)
        after = meter.read()
        passed_s = page.evaluate(f"{MODEL}.nowS") - begun_s
    assert passed_s > 300.0, "the machine was too slow for this to tell anything"
    assert after[0] - before[0] < 1.0
    assert after[1] - before[1] < 60
    assert after[2] - before[2] < 5


def test_an_hour_and_more_leaves_the_server_as_it_was() -> None:
    """Story, log, forecast, sound and record of a session: what they keep is bounded, or grows by the marks alone."""
    turns = 420
    record = SessionRecord(VIEW.dx_hz, VIEW.mode)
    engine = Remembering(ScriptedEngine(turns=turns, row_step_s=1.0), record)
    held: list[float] = []

    def watched() -> Iterator[Block]:
        samples = np.zeros(int(RATE_HZ * 0.5), np.complex64)
        for k in range(int(turns * CYCLE_S / 0.5)):
            if k in (int(turns * CYCLE_S), int(2 * turns * CYCLE_S) - 1):
                gc.collect()
                only = tracemalloc.take_snapshot().filter_traces([tracemalloc.Filter(True, "*/hearmark/*")])
                held.append(sum(one.size for one in only.statistics("filename")) / 2**20)
            yield Block(k * len(samples), RATE_HZ, VIEW.dx_hz, samples)

    session = LiveSession(watched(), engine, VIEW, paced=False)
    tracemalloc.start()
    try:
        session.start()
        assert session.join(240.0)
    finally:
        tracemalloc.stop()
    assert len(record.answers()) == turns
    assert held[1] - held[0] < 1.0, held
    assert len(record._own) < 100


def test_the_meter_sees_a_tab_that_does_grow(new_page: Any, serve: Any) -> None:
    from page_soak import TabMeter

    page = new_page(serve().url)
    meter = TabMeter(page)
    before = meter.read()
    page.evaluate(
        """() => {
          globalThis.leak = Array.from({ length: 3e5 }, (_, n) => ({ n }));
          for (let n = 0; n < 500; n++) document.getElementById("heard").append(document.createElement("i"));
        }"""
    )
    after = meter.read()
    assert after[0] - before[0] > 3.0
    assert after[1] - before[1] >= 500
