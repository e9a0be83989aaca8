"""How well the DX's overs are told by level alone, on simulated pile-ups. Seeded; prints F1 by difficulty.

An over found is right if its start and stop lie within 0.3 s of the true ones, or it shares 80 % of the time. True
overs less than 0.5 s apart are one. What may be wrong is mostly a caller on the DX's own frequency.
"""

from __future__ import annotations

import sys

import numpy as np

from hearmark.events import Mode
from hearmark.simulate import speech
from hearmark.simulate.people import play
from hearmark.simulate.render import Renderer
from hearmark.simulate.scenario import preset
from hearmark.simulate.session import Session
from hearmark.spectrum.dxlevel import Sending
from hearmark.spectrum.floor import Floor
from hearmark.spectrum.transform import Transform

RATE = 48_000
BLOCK_S = 0.032
SECONDS = 120.0
Over = tuple[float, float]


def found(session: Session) -> tuple[list[Over], list[float]]:
    """Overs not withdrawn, and how long after each start it was told, seconds."""
    scenario = session.scenario
    centre_hz = scenario.dx_hz + 3_000
    renderer = Renderer(session, RATE, centre_hz)
    transform = Transform(RATE, centre_hz, scenario.dx_hz, scenario.dx_hz - 6_500, scenario.dx_hz + 6_500)
    floor, sending = Floor(transform.grid), Sending(transform.grid, scenario.mode)
    overs: list[list[float]] = []
    delays: list[float] = []
    block = round(BLOCK_S * RATE)
    for k in range(0, round(scenario.duration_s * RATE), block):
        frames = transform.feed(renderer.samples(k, block))
        for time_s, on in sending.feed(frames, floor.feed(frames.power)):
            if on:
                overs.append([time_s, scenario.duration_s])
                delays.append((k + block) / RATE - time_s)
            elif overs:
                overs[-1][1] = min(overs[-1][1], time_s)
    return [(a, b) for a, b in overs if b > a], delays


def truth(session: Session) -> list[Over]:
    """The DX's true overs, close ones joined."""
    overs: list[Over] = []
    for sent in session.transmissions:
        if sent.station == 0:
            start, stop = sent.start_s, sent.stop_s
            if overs and start - overs[-1][1] < 0.5:
                overs[-1] = (overs[-1][0], stop)
            else:
                overs.append((start, stop))
    return overs


def same(one: Over, two: Over) -> bool:
    """Is this the same over?"""
    shared = min(one[1], two[1]) - max(one[0], two[0])
    close = abs(one[0] - two[0]) < 0.3 and abs(one[1] - two[1]) < 0.3
    return close or shared > 0.8 * (max(one[1], two[1]) - min(one[0], two[0]))


def trial(level: str, mode: Mode, seed: int) -> tuple[int, int, int, list[float]]:
    """(right, true, found, delays) of one session; the over cut off by its end left out."""
    session = play(preset(level, mode, seed, duration_s=SECONDS), speech if mode != "cw" else None)  # type: ignore[arg-type]
    true = truth(session)
    end = min([a for a, b in true if b > SECONDS - 1.5], default=SECONDS - 1.5) - 0.3
    true = [o for o in true if o[0] < end]
    overs, delays = found(session)
    overs = [o for o in overs if o[0] < end]
    return sum(any(same(o, t) for o in overs) for t in true), len(true), len(overs), delays


if __name__ == "__main__":
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 4
    print(f"{'mode':5} {'pile-up':8} {'true':>5} {'found':>6} {'F1':>6}   told after, median and 95 % (s)")
    for mode in ("cw", "usb"):
        for level in ("easy", "hard"):
            trials = [trial(level, mode, seed) for seed in range(seeds)]
            right, true, given = (sum(t[k] for t in trials) for k in range(3))
            delays = np.concatenate([t[3] for t in trials])
            f1, (middle, late) = 2 * right / (true + given), np.quantile(delays, (0.5, 0.95))
            print(f"{mode:5} {level:8} {true:5} {given:6} {f1:6.3f}   {middle:.2f} {late:.2f}", flush=True)
