"""Memory of the page's server over an hour run in a minute and a half: python bench/server_memory.py [--minutes 60].

A scripted engine and a stream forty times as fast as life, so that only session and server can grow; one page's link
is open, with sound. Linux only (reads /proc).
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import gc
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import websockets

sys.path.append(str(Path(__file__).parents[1] / "tests/web"))

from engine_memory import resident_mb
from script import CENTER_HZ, CYCLE_S, RATE_HZ, VIEW, ScriptedEngine

from hearmark.events import Block
from hearmark.web.live import LiveSession
from hearmark.web.server import Server

FASTER = 40.0


def stream() -> Iterator[Block]:
    """Noise, the same over and over."""
    noise = np.random.default_rng(1).standard_normal((2, 2400)) * 0.01
    samples, begun, k = (noise[0] + 1j * noise[1]).astype(np.complex64), time.monotonic(), 0
    while True:
        time.sleep(max(0.0, begun + k * 0.05 / FASTER - time.monotonic()))
        yield Block(k * len(samples), RATE_HZ, CENTER_HZ, samples)
        k += 1


async def follow(server: Server) -> None:
    """A page's link: takes all that comes."""
    address = f"ws://127.0.0.1:{server.port}/link"
    async with websockets.connect(address, origin=websockets.Origin(server.url.rstrip("/")), max_size=None) as link:
        await link.send('{"verb":"sound","on":true}')
        with contextlib.suppress(websockets.ConnectionClosed):
            async for _ in link:
                pass


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--minutes", type=int, default=60)
    minutes = parser.parse_args().minutes
    session = LiveSession(stream(), ScriptedEngine(turns=int(minutes * 60 / CYCLE_S) + 20), VIEW, paced=False)
    with Server(session, port=0) as server:
        threading.Thread(target=lambda: asyncio.run(follow(server)), daemon=True).start()
        for minute in range(10, minutes + 1, 10):
            while session._now_s < minute * 60.0:
                time.sleep(0.2)
            gc.collect()
            print(f"after {minute:3d} min: {resident_mb():.1f} MiB, {len(gc.get_objects())} objects", flush=True)


if __name__ == "__main__":
    main()
