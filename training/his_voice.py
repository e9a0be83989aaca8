"""Trains the small network that tells, from one receiver's audio in voice, whether it is the DX who sends.

    python his_voice.py hear FIRST STOP FOLDER        render and hear the sessions of these seeds; runs on a CPU's cores
    python his_voice.py train MINUTES FOLDER OUT.pt [IN.pt]   runs on a CPU
    python his_voice.py export IN.pt                  writes src/hearmark/pileup/his_voice.onnx

The shipped one: seed 1, sessions 200000 to 200404 (half of them as part of a wideband stream) and 201000 to 201301, a tenth of
them held back. Input: the spectrum from his suppressed carrier up, on the networks' scale; output: does he send. Others
who call on his frequency are what makes it hard; his own level, place, sound and rhythm are what can be learnt.
"""

from __future__ import annotations

import random
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent.parent
RATE = 8000
PIECE = 400
STEP_S, FIRST_S = 0.032, 0.012


def sent(session, at: np.ndarray) -> np.ndarray:
    """Does he send at these times? A pause of less than half a second is part of an over."""
    out, last = np.zeros(len(at), np.int8), None
    for t in sorted((t for t in session.transmissions if t.station == 0), key=lambda t: t.start_s):
        begin = last if last is not None and t.start_s - last < 0.5 else t.start_s
        out[(at >= begin) & (at < t.stop_s)] = 1
        last = t.stop_s
    return out


def blocks(session, audio: bool):
    """What a receiver on his frequency gives: its audio, or the spectrum about him as part of a wideband stream."""
    from hearmark.events import Block, Dial
    from hearmark.simulate import receiver, render
    from hearmark.sources.analytic import Analytic
    from hearmark.sources.audio import DialTrack

    sc = session.scenario
    if not audio:
        centre = sc.dx_hz + (-1500.0 if sc.mode == "lsb" else 1500.0)
        yield from (b for b in render.Renderer(session, RATE, centre).events() if isinstance(b, Block))
        return
    dial = [Dial(0.0, sc.dx_hz, False)]
    heard = receiver.receive(session, dial)
    track, analytic = DialTrack(dial, RATE, "lsb" if sc.mode == "lsb" else "usb", 0.0), Analytic(RATE)
    first = 0
    for k in range(0, len(heard), 800):
        samples = analytic.feed(heard[k : k + 800])
        yield from (b for b in track.feed(first, samples) if isinstance(b, Block))
        first += len(samples)


def heard(seed: int, folder: Path) -> None:
    """One session, heard as the engine hears it, with the truth beside."""
    from hearmark.pileup.finder import VoiceFinder, voice_range_hz
    from hearmark.simulate import people, scenario, speech
    from hearmark.spectrum.batches import Band
    from hearmark.spectrum.slices import Slices

    path = folder / f"{seed}.npz"
    if path.exists():
        return
    r, late = random.Random(seed), seed >= 201_000
    kind = r.choices(["easy", "hard", "varied", "brutal"], [0.3, 0.4, 0.2, 0.1] if late else [0.2, 0.4, 0.25, 0.15])[0]
    mode = r.choice(["usb", "usb", "lsb"])
    audio = late or r.random() < 0.55
    length_s = r.choice([100.0, 130.0] if late else [120.0, 160.0])
    sc = scenario.varied(mode, seed, length_s) if kind == "varied" else scenario.preset(kind, mode, seed, None, length_s)
    session = people.play(sc, speech)
    band, rows, times = None, [], []
    for block in blocks(session, audio):
        if band is None:
            range_hz = voice_range_hz(sc.dx_hz, sc.dx_hz, sc.dx_hz, mode)
            band = (Slices(block, mode, sc.dx_hz, *range_hz) if audio else Band(block, sc.dx_hz, *range_hz))
            finder = VoiceFinder(band.grid, sc.dx_hz, sc.dx_hz, mode)
        for batch in band.feed(block):
            level = finder.his(batch.ratio)
            rows.append(level.astype(np.float16))
            times.append(batch.start_s + FIRST_S + STEP_S * np.arange(len(level)))
    np.savez(path, x=np.concatenate(rows), y=sent(session, np.concatenate(times)))


def network():
    import torch
    from torch import nn

    class HisVoice(nn.Module):
        """(1 or B, steps, 208) and two memories -> logit that he sends, (B, steps), and the memories after."""

        def __init__(self, wide: int = 96) -> None:
            super().__init__()
            self.fine, self.coarse, self.join = nn.Conv1d(1, 16, 9, stride=4), nn.Conv1d(16, 24, 5, stride=2), nn.Linear(24 * 23, 64)
            self.drop = nn.Dropout(0.2)
            self.one, self.two = nn.GRU(66, wide, batch_first=True), nn.GRU(wide, wide, batch_first=True)
            self.out = nn.Linear(wide, 1)

        def forward(self, x, h_one=None, h_two=None):
            b, t, f = x.shape
            y = torch.relu(self.coarse(torch.relu(self.fine(x.reshape(b * t, 1, f)))))
            y = self.drop(torch.relu(self.join(y.reshape(b * t, -1)))).reshape(b, t, -1)
            band = x[:, :, 24:184]
            y, h_one = self.one(torch.cat([y, band.mean(2, keepdim=True), band.amax(2, keepdim=True)], -1), h_one)
            y, h_two = self.two(self.drop(y), h_two)
            return self.out(y)[..., 0], h_one, h_two

    return HisVoice()


def away(rng: np.random.Generator, x: np.ndarray, y: np.ndarray) -> None:
    """The receiver looks elsewhere for a while when he listens: nothing is heard of his frequency."""
    for k in np.flatnonzero(rng.random(len(x)) < 0.3):
        for begin in np.flatnonzero(np.diff(y[k]) < 0):
            a = int(begin) + int(rng.integers(5, 40))
            x[k, a : a + int(rng.integers(15, 110))] = 0.0


def train(minutes: float, folder: Path, out: Path, begin: Path | None = None) -> None:
    import torch
    from torch import nn

    torch.manual_seed(1)
    rng = np.random.default_rng(1)
    paths = sorted(folder.glob("2*.npz"))
    held = [np.load(p) for p in paths[::10]]
    kept = [np.load(p) for k, p in enumerate(paths) if k % 10]
    xs, ys = [d["x"] for d in kept], [d["y"].astype(np.float32) for d in kept]
    held = [(torch.from_numpy(d["x"][None].astype(np.float32)), d["y"]) for d in held]
    model = network()
    if begin:
        model.load_state_dict(torch.load(begin))
    optimizer = torch.optim.AdamW(model.parameters(), 2e-3, weight_decay=0.02)
    entropy = nn.BCEWithLogitsLoss()
    begun, step, at, which = time.time(), 0, 0, np.zeros(0, int)
    while (share := (time.time() - begun) / 60 / minutes) < 1:
        for group in optimizer.param_groups:
            group["lr"] = 2.5e-3 * min(1, (step + 1) / 30) * (0.5 + 0.5 * np.cos(np.pi * share) + 0.01)
        if step % 5 == 0 or at + PIECE > min(len(xs[k]) for k in which):
            which, at = rng.integers(0, len(xs), 24), 0 if rng.random() < 0.5 else int(rng.integers(0, 1200))
            memory, shifts, gain = (None, None), rng.integers(-1, 2, 24), rng.uniform(-0.1, 0.1, (24, 1, 1))
            tilt = (rng.uniform(-0.15, 0.15, (24, 1, 1)) * np.linspace(-1, 1, 208)).astype(np.float32)
        x = np.stack([np.roll(xs[k][at : at + PIECE], s, 1) for k, s in zip(which, shifts)]).astype(np.float32)
        y = np.stack([ys[k][at : at + PIECE] for k in which])
        x += (gain + tilt) * (x > 0.05)
        away(rng, x, y)
        logits, *memory = model(torch.from_numpy(x), *memory)
        memory = [m.detach() for m in memory]
        unknown = 60 if at == 0 else 0
        loss = entropy(logits[:, unknown:], torch.from_numpy(y[:, unknown:]))
        optimizer.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimizer.step()
        step, at = step + 1, at + PIECE
        if step % 200 == 0:
            model.eval()
            with torch.no_grad():
                p = np.concatenate([torch.sigmoid(model(x)[0])[0, 150:].numpy() for x, _ in held])
            model.train()
            y = np.concatenate([y[150:] for _, y in held])
            right = np.where(y, p, 1 - p)
            print(f"{step} steps, {share * minutes:.1f} min, loss {float(loss.detach()):.3f}, held back: right {np.mean(right > 0.5):.4f}, entropy {-np.mean(np.log(right + 1e-6)):.4f}", flush=True)
    torch.save(model.state_dict(), out)


def export(weights: Path) -> None:
    import torch

    model = network()
    model.load_state_dict(torch.load(weights))
    model.eval()
    path = HERE / "src" / "hearmark" / "pileup" / "his_voice.onnx"
    torch.onnx.export(model, (torch.zeros(1, 3, 208), torch.zeros(1, 1, 96), torch.zeros(1, 1, 96)), str(path), input_names=["x", "h_one", "h_two"], output_names=["sends", "h_one_next", "h_two_next"], dynamic_axes={"x": {1: "t"}, "sends": {1: "t"}}, opset_version=17, dynamo=False)
    print(path, path.stat().st_size)


def main() -> None:
    match sys.argv[1:]:
        case ["hear", first, stop, folder]:
            Path(folder).mkdir(parents=True, exist_ok=True)
            with ProcessPoolExecutor() as pool:
                list(pool.map(partial(heard, folder=Path(folder)), range(int(first), int(stop))))
        case ["train", minutes, folder, out, *begin]:
            train(float(minutes), Path(folder), Path(out), *map(Path, begin))
        case ["export", weights]:
            export(Path(weights))
        case _:
            sys.exit(__doc__)


if __name__ == "__main__":
    main()
