"""The radio: round trip of Set, load of polling, time from a change at the radio to the guard's warning.

    python bench/radio_speed.py [--changes N]

On the simulated radio with a lag of 10 ms a command, and on the dummy radio of Hamlib's daemon if that is installed.
"""

from __future__ import annotations

import argparse
import shutil
import socket
import subprocess
import time
from collections.abc import Callable

import numpy as np

from hearmark.events import Allowed, Block, Event, Plan, Warned
from hearmark.radio.daemon import DaemonRadio
from hearmark.radio.keeper import Keeper
from hearmark.radio.moves import Moves
from hearmark.radio.port import Dials, Port
from hearmark.radio.simulated import SimulatedRadio
from hearmark.web.live import LiveSession, View
from hearmark.web.rig import Rig

DX = 18_143_500.0
PLAN = Plan(DX, DX + 5_000.0, DX + 10_000.0, "usb")
CALL = DX + 7_500.0
LAG_S = 0.01


def round_trips(fresh: Callable[[], Port], count: int) -> np.ndarray:
    """Seconds of Set, read-back included, each from the DX's own frequency with split off."""
    taken = []
    for _ in range(count):
        port = fresh()
        began = time.perf_counter()
        outcome = Moves(port).set(PLAN, CALL)
        taken.append(time.perf_counter() - began)
        if not outcome.ok:
            raise SystemExit(outcome.why)
    return np.array(taken)


def watched(connect: Callable[[], Port], disturb: Callable[[float], None], changes: int) -> tuple[float, np.ndarray]:
    """(share of one core while polling in peace, seconds from each change to its warning)."""
    warned: list[float] = []

    def keep(event: Event) -> None:
        if isinstance(event, Warned) and event.active:
            warned.append(time.perf_counter())

    keeper = Keeper(connect, keep, time.perf_counter)
    keeper.plan = PLAN
    keeper.start()
    time.sleep(1.0)
    cpu, wall = time.process_time(), time.perf_counter()
    time.sleep(10.0)
    load = (time.process_time() - cpu) / (time.perf_counter() - wall)
    rng = np.random.default_rng(5)
    waits = []
    for _ in range(changes):
        time.sleep(float(rng.uniform(0.3, 0.5)))
        warned.clear()
        began = time.perf_counter()
        disturb(DX + 700.0)
        while not warned and time.perf_counter() - began < 5.0:
            time.sleep(0.001)
        waits.append(warned[0] - began if warned else np.inf)
        disturb(DX)
        time.sleep(0.3)
    keeper.stop()
    return load, np.array(waits)


def to_the_page(changes: int) -> np.ndarray:
    """Seconds from a change at the simulated radio to the message that every open page gets, in a running session."""
    radio = SimulatedRadio(Dials(DX, CALL, True, "usb", "usb"))
    rig = Rig(lambda: radio, PLAN, lambda _: Allowed((), False, ""))
    silence = np.zeros(2_400, np.complex64)
    blocks = (Block(k * len(silence), 48_000.0, DX, silence) for k in range(12_000))
    session = LiveSession(blocks, Nothing(), View("bench", DX, "usb", DX + 5_000.0, DX + 10_000.0), rig=rig)
    told: list[float] = []
    session.fan.put_locked = lambda lane, frame: (  # type: ignore[method-assign]
        told.append(time.perf_counter()) if lane == "text" and '"kind":"receive moved"' in str(frame) else None
    )
    session.start()
    time.sleep(2.0)
    rng = np.random.default_rng(6)
    waits = []
    for _ in range(changes):
        time.sleep(float(rng.uniform(0.3, 0.5)))
        told.clear()
        began = time.perf_counter()
        radio.by_hand(dial_hz=DX + 700.0)
        while not told and time.perf_counter() - began < 5.0:
            time.sleep(0.001)
        waits.append(told[0] - began if told else np.inf)
        radio.by_hand(dial_hz=DX)
        time.sleep(0.3)
    session.stop()
    return np.array(waits)


class Nothing:
    """An engine that finds nothing."""

    def feed(self, event: Event, /) -> list[Event]:
        """Takes it."""
        return []


def show(name: str, trips: np.ndarray, load: float, waits: np.ndarray) -> None:
    trips_ms, waits_ms = 1e3 * trips, 1e3 * waits
    print(f"{name}:")
    print(f"  set and read back: median {np.median(trips_ms):.0f} ms, largest {trips_ms.max():.0f} ms ({len(trips)})")
    print(f"  polling 10 times a second: {100 * load:.2f} % of one core")
    print(f"  change to warning: median {np.median(waits_ms):.0f} ms, largest {waits_ms.max():.0f} ms ({len(waits)})")


def simulated(changes: int) -> None:
    def start(split: bool) -> SimulatedRadio:
        return SimulatedRadio(Dials(DX, CALL if split else DX, split, "usb" if split else "cw", "usb"), lag_s=LAG_S)

    trips = round_trips(lambda: start(False), 30)
    radio = start(True)
    load, waits = watched(lambda: radio, lambda hz: radio.by_hand(dial_hz=hz), changes)
    page_ms = 1e3 * to_the_page(changes)
    show(f"simulated radio, {1e3 * LAG_S:.0f} ms a command", trips, load, waits)
    print(f"  change to the page's message: median {np.median(page_ms):.0f} ms, largest {page_ms.max():.0f} ms")


def dummy(changes: int) -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    daemon = subprocess.Popen(
        ["rigctld", "-m", "1", "--vfo", "-T", "127.0.0.1", "-t", str(port)],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        time.sleep(1.5)
        other = DaemonRadio("127.0.0.1", port)

        def fresh() -> Port:
            other.set_split(False)
            other.set_dial(DX)
            other.set_other(DX)
            return other

        trips = round_trips(fresh, 10)
        load, waits = watched(lambda: DaemonRadio("127.0.0.1", port), other.set_dial, changes)
        show("dummy radio of Hamlib's daemon", trips, load, waits)
    finally:
        daemon.kill()
        daemon.wait()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--changes", type=int, default=20)
    changes = parser.parse_args().changes
    simulated(changes)
    if shutil.which("rigctld"):
        dummy(changes)
    else:
        print("Hamlib's daemon is not installed (Debian: libhamlib-utils): not measured.")


if __name__ == "__main__":
    main()
