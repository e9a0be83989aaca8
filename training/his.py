"""Trains the small networks that tell, from one receiver's audio, whether it is the DX who sends.

    python his.py hear FIRST STOP FOLDER                  render and hear the sessions of these seeds, on a CPU's cores
    python his.py train MINUTES FOLDER OUT.pt [IN.pt]     on a graphics card, else on the CPU
    python his.py export voice|morse IN.pt                writes src/hearmark/pileup/his_voice.onnx or his_morse.onnx

The shipped ones: seed 1, a tenth of the sessions held back. Voice: 200000 to 200404 (half of them as part of a wideband
stream; 18 minutes), then these and 201000 to 201301 (17 minutes more). Morse: 300000 to 300479 (13 minutes). Input: the
spectrum from his suppressed carrier up, or about his carrier, on the networks' scale; output: does he send. Others who
call on his frequency are what makes it hard; his own level, place, sound, speed and rhythm are what can be learnt.
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
MORSE = 300_000
VOICE_BINS = 208


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
        centre = sc.dx_hz + {"lsb": -1500.0, "usb": 1500.0, "cw": 37.0}[sc.mode]
        yield from (b for b in render.Renderer(session, RATE, centre).events() if isinstance(b, Block))
        return
    dial = [Dial(0.0, sc.dx_hz, False)]
    heard = receiver.receive(session, dial)
    track, analytic = (
        DialTrack(dial, RATE, "lsb" if sc.mode == "lsb" else "usb", receiver.PITCH_HZ if sc.mode == "cw" else 0.0),
        Analytic(RATE),
    )
    first = 0
    for k in range(0, len(heard), 800):
        samples = analytic.feed(heard[k : k + 800])
        yield from (b for b in track.feed(first, samples) if isinstance(b, Block))
        first += len(samples)


def heard(seed: int, folder: Path) -> None:
    """One session, heard as the engine hears it, with the truth beside."""
    from hearmark.pileup.finder import MorseFinder, VoiceFinder, morse_range_hz, voice_range_hz
    from hearmark.simulate import people, scenario, speech
    from hearmark.spectrum.batches import Band
    from hearmark.spectrum.slices import Slices

    path = folder / f"{seed}.npz"
    if path.exists():
        return
    r, morse = random.Random(seed), seed >= MORSE
    late = seed >= 201_000
    kind = r.choices(["easy", "hard", "varied", "brutal"], [0.3, 0.4, 0.2, 0.1] if late else [0.2, 0.4, 0.25, 0.15])[0]
    mode = "cw" if morse else r.choice(["usb", "usb", "lsb"])
    audio = r.random() < 0.7 if morse else late or r.random() < 0.55
    length_s = r.choice([100.0, 130.0] if late else [120.0, 160.0])
    sc = (
        scenario.varied(mode, seed, length_s) if kind == "varied" else scenario.preset(kind, mode, seed, None, length_s)
    )
    session = people.play(sc, None if morse else speech)
    band, rows, times = None, [], []
    for block in blocks(session, audio):
        if band is None:
            here = (sc.dx_hz, sc.dx_hz, sc.dx_hz)
            range_hz = morse_range_hz(*here, 15.625) if morse else voice_range_hz(*here, mode)
            band = Slices(block, mode, sc.dx_hz, *range_hz) if audio else Band(block, sc.dx_hz, *range_hz)
            finder = MorseFinder(band.grid, *here[:2]) if morse else VoiceFinder(band.grid, *here[:2], mode)
        for batch in band.feed(block):
            level = finder.his(batch.ratio)
            rows.append(level.astype(np.float16))
            times.append(batch.start_s + FIRST_S + STEP_S * np.arange(len(level)))
    np.savez(path, x=np.concatenate(rows), y=sent(session, np.concatenate(times)))


def network(width: int):
    import torch
    from torch import nn

    class His(nn.Module):
        """(B, steps, `width`) and two memories -> logit that he sends, (B, steps), and the memories after."""

        def __init__(self, wide: int = 96) -> None:
            super().__init__()
            if width == VOICE_BINS:
                self.fine, self.coarse = nn.Conv1d(1, 16, 9, stride=4), nn.Conv1d(16, 24, 5, stride=2)
            self.join = nn.Linear(24 * 23 if width == VOICE_BINS else width, 64)
            self.drop = nn.Dropout(0.2)
            self.one, self.two = nn.GRU(66, wide, batch_first=True), nn.GRU(wide, wide, batch_first=True)
            self.out = nn.Linear(wide, 1)

        def forward(self, x, h_one=None, h_two=None):
            b, t, f = x.shape
            y, band = x, x
            if width == VOICE_BINS:
                y, band = torch.relu(self.coarse(torch.relu(self.fine(x.reshape(b * t, 1, f))))), x[:, :, 24:184]
            y = self.drop(torch.relu(self.join(y.reshape(b * t, -1)))).reshape(b, t, -1)
            y, h_one = self.one(torch.cat([y, band.mean(2, keepdim=True), band.amax(2, keepdim=True)], -1), h_one)
            y, h_two = self.two(self.drop(y), h_two)
            return self.out(y)[..., 0], h_one, h_two

    return His()


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
    device, size = ("cuda", 96) if torch.cuda.is_available() else ("cpu", 24)
    paths = sorted(folder.glob("*.npz"))
    held = [np.load(p) for p in paths[::10]]
    kept = [np.load(p) for k, p in enumerate(paths) if k % 10]
    xs, ys = [d["x"] for d in kept], [d["y"].astype(np.float32) for d in kept]
    width = xs[0].shape[1]
    held = [(torch.from_numpy(d["x"][None].astype(np.float32)).to(device), d["y"]) for d in held]
    print(f"{len(kept)} sessions to learn from, {len(held)} held back", flush=True)
    model = network(width).to(device)
    if begin:
        model.load_state_dict(torch.load(begin, map_location=device))
    optimizer = torch.optim.AdamW(model.parameters(), 2e-3, weight_decay=0.02)
    entropy = nn.BCEWithLogitsLoss()
    begun, step, at, which = time.time(), 0, 0, np.zeros(0, int)
    while (share := (time.time() - begun) / 60 / minutes) < 1:
        for group in optimizer.param_groups:
            group["lr"] = 2.5e-3 * min(1, (step + 1) / 30) * (0.5 + 0.5 * np.cos(np.pi * share) + 0.01)
        if step % 5 == 0 or at + PIECE > min(len(xs[k]) for k in which):
            which, at = rng.integers(0, len(xs), size), 0 if rng.random() < 0.5 else int(rng.integers(0, 1200))
            memory, shifts, gain = (
                (None, None),
                rng.integers(-1, 2, size) * (width == VOICE_BINS),
                rng.uniform(-0.1, 0.1, (size, 1, 1)),
            )
            tilt = (rng.uniform(-0.15, 0.15, (size, 1, 1)) * np.linspace(-1, 1, width) * (width == VOICE_BINS)).astype(
                np.float32
            )
        x = np.stack([np.roll(xs[k][at : at + PIECE], s, 1) for k, s in zip(which, shifts)]).astype(np.float32)
        y = np.stack([ys[k][at : at + PIECE] for k in which])
        x += (gain + tilt) * (x > 0.05)
        away(rng, x, y)
        logits, *memory = model(torch.from_numpy(x).to(device), *memory)
        memory = [m.detach() for m in memory]
        unknown = 60 if at == 0 else 0
        loss = entropy(logits[:, unknown:], torch.from_numpy(y[:, unknown:]).to(device))
        optimizer.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimizer.step()
        step, at = step + 1, at + PIECE
        if step % 200 == 0:
            model.eval()
            with torch.no_grad():
                p = np.concatenate([torch.sigmoid(model(x)[0])[0, 150:].cpu().numpy() for x, _ in held])
            model.train()
            y = np.concatenate([y[150:] for _, y in held])
            right = np.where(y, p, 1 - p)
            print(
                f"{step} steps, {share * minutes:.1f} min, loss {float(loss.detach()):.3f}, held back: right {np.mean(right > 0.5):.4f}, entropy {-np.mean(np.log(right + 1e-6)):.4f}",
                flush=True,
            )
    torch.save(model.cpu().state_dict(), out)


def export(mode: str, weights: Path) -> None:
    import torch

    held = torch.load(weights, map_location="cpu")
    width = VOICE_BINS if mode == "voice" else held["join.weight"].shape[1]
    model = network(width)
    model.load_state_dict(held)
    model.eval()
    path = HERE / "src" / "hearmark" / "pileup" / f"his_{mode}.onnx"
    torch.onnx.export(
        model,
        (torch.zeros(1, 3, width), torch.zeros(1, 1, 96), torch.zeros(1, 1, 96)),
        str(path),
        input_names=["x", "h_one", "h_two"],
        output_names=["sends", "h_one_next", "h_two_next"],
        dynamic_axes={"x": {1: "t"}, "sends": {1: "t"}},
        opset_version=17,
        dynamo=False,
    )
    print(path, path.stat().st_size)


def main() -> None:
    match sys.argv[1:]:
        case ["hear", first, stop, folder]:
            Path(folder).mkdir(parents=True, exist_ok=True)
            with ProcessPoolExecutor() as pool:
                list(pool.map(partial(heard, folder=Path(folder)), range(int(first), int(stop))))
        case ["train", minutes, folder, out, *begin]:
            train(float(minutes), Path(folder), Path(out), *map(Path, begin))
        case ["export", ("voice" | "morse") as mode, weights]:
            export(mode, Path(weights))
        case _:
            sys.exit(__doc__)


if __name__ == "__main__":
    main()
