"""Pile-ups in voice through the program's own front end, kept as arrays: voice_data.py FOLDER FIRST_SEED COUNT.

Slower than `voice_scene` but with the true spectrum, floor and channel code. Each file holds one stretch: window and
DX spectra (compressed, float16), the target dial, the state and who talks where.
"""

from __future__ import annotations

import random
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from hearmark.modes.network import compress
from hearmark.pileup import finder as finding
from hearmark.simulate import cast, people, render, scenario, speech
from hearmark.spectrum.floor import Floor
from hearmark.spectrum.transform import Transform

LENGTH_S = 64.0
STEP_S = 0.032
HUMANS = ("h-en", "h-en-2", "h-en-3", "h-fr", "h-fr-2")


def make(seed: int) -> dict[str, np.ndarray] | None:
    r = random.Random(seed)
    mode = r.choice(["usb", "usb", "lsb"])
    kind = r.choices(["varied", "easy", "hard", "brutal"], [0.4, 0.2, 0.3, 0.1])[0]
    total = LENGTH_S + r.choice([1.0, 15.0, 30.0])
    sc = scenario.varied(mode, seed, total) if kind == "varied" else scenario.preset(kind, mode, seed, None, total)
    if sc.window_low_hz == sc.window_high_hz:
        return None
    sc = replace(sc, human_speech=r.random() < 0.25)
    session = people.play(sc, durations=speech)
    side = -1 if mode == "lsb" else 1
    low, high = finding.voice_range_hz(sc.dx_hz, sc.window_low_hz, sc.window_high_hz, mode)
    spare = max(0.0, 160 * 62.5 - (sc.window_high_hz - sc.window_low_hz)) / 2 + 600
    low, high = low - spare, high + spare
    rate = next(x for x in (20_000, 24_000, 32_000, 40_000, 48_000, 96_000) if x > (high - low) * 1.03 or x == 96_000)
    centre = round((low + high) / 2) + r.uniform(-200, 200)
    t0 = total - LENGTH_S
    renderer = render.Renderer(session, rate, centre)
    dx_hz = sc.dx_hz + r.uniform(-30, 30)
    transform = Transform(rate, centre, dx_hz, low, high)
    transform.restart(int(t0 * rate))
    grid = transform.grid
    floor = Floor(grid)
    finder = finding.VoiceFinder(grid, sc.window_low_hz, sc.window_high_hz, mode)
    window, dx = [], []
    block = rate * 96 // 1000
    pending = np.zeros((0, grid.bins), np.float32)
    for k in range(int(t0 * rate), int(total * rate) - block, block):
        frames = transform.feed(renderer.samples(k, block))
        pending = np.concatenate([pending, frames.power])
        whole = len(pending) // 12 * 12
        if not whole:
            continue
        power, pending = pending[:whole], pending[whole:]
        ratio = power / np.maximum(floor.feed(power), np.float32(1e-30))
        level = compress(ratio.reshape(-1, 4, grid.bins).mean(axis=1)[:, ::side])
        window.append(finding._padded(level, finder._pad, finder._window).astype(np.float16))
        dx.append(finding._padded(level, finder._dx_pad, finder._dx).astype(np.float16))
    w, d = np.concatenate(window), np.concatenate(dx)
    steps = len(w)
    dials = finder.frequency_hz
    at = lambda s: int(np.clip(round((s - t0) / STEP_S), 0, steps))
    near = lambda f: (f - dials[0]) / (dials[1] - dials[0])
    overs = [t for t in session.transmissions if t.station == 0]
    state = np.zeros(steps, np.int8)
    for t, until in zip(overs, [o.start_s for o in overs[1:]] + [total], strict=True):
        answers = t.role in ("answer", "again")
        state[at(t.start_s) : at(t.stop_s)] = 2 if answers else 1
        if answers:
            state[at(t.stop_s) : at(until)] = 3
    target = np.full(steps, -1, np.int16)
    contacts = []
    for c in session.contacts:
        dial = near(c.frequency_hz)
        inside = -0.5 < dial < len(dials) - 0.5
        last = max([b for _, b in c.reports], default=c.answered_at_s)
        following = min([t.start_s for t in overs if t.start_s > last - 0.3], default=total)
        a, b = at(c.answered_at_s), at(min(following + 0.8, last + 6.0))
        if c.reports:
            target[a:b] = int(round(dial)) if inside else -1
            if inside and t0 < c.reports[0][0] < total - 1:
                contacts.append((c.reports[0][0] - t0, c.reports[0][1] - t0, dial, c.completed))
        else:
            target[a:b] = -2
    talk = np.zeros((steps, len(dials)), np.uint8)
    for t in session.transmissions:
        if t.station == 0 or abs(t.frequency_hz - sc.dx_hz) < 300:
            continue
        k = near(t.frequency_hz)
        for j in range(max(0, int(np.ceil(k - 1.4))), min(len(dials), int(np.floor(k + 1.4)) + 1)):
            talk[at(t.start_s) : at(t.stop_s), j] = np.maximum(talk[at(t.start_s) : at(t.stop_s), j], 2 if abs(j - k) < 0.8 else 1)
    return {"window": w, "dx": d, "state": state, "target": target, "talk": talk, "contacts": np.array(contacts, np.float64).reshape(-1, 4)}


def main() -> None:
    speech.human_voices = lambda: HUMANS  # type: ignore[assignment]
    if hasattr(cast, "speech"):
        cast.speech.human_voices = lambda: HUMANS  # type: ignore[attr-defined]
    folder, first, count = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    folder.mkdir(parents=True, exist_ok=True)
    for seed in range(first, first + count):
        try:
            made = make(seed)
        except Exception as error:  # one bad session must not end the work
            print(seed, repr(error), flush=True)
            continue
        if made is not None:
            path = folder / f"{seed}.tmp.npz"
            np.savez(path, **made)
            path.rename(folder / f"{seed}.npz")


if __name__ == "__main__":
    main()
