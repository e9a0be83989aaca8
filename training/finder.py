"""Trains the finder for Morse: which stream is the answered station's, at every step.

python finder.py SECONDS READER.pt OUT.pt [START.pt]. Works on whole pile-ups (see scene.py); the reader stays as it is.
"""

from __future__ import annotations

import multiprocessing as mp
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import torch
from torch import nn

from reader import Reader, widened
from scene import CONTEXT, Scene, Stage, make

STREAMS = 172


class Finder(nn.Module):
    """Per step: one logit a stream and one for "nobody", and the state of the exchange (4)."""

    def __init__(self, reader_hidden: int = 112, inner: int = 24, whole: int = 64, told: int = 16, hidden: int = 40) -> None:
        super().__init__()
        self.inner = nn.Linear(reader_hidden, inner)
        self.dx = nn.Linear(reader_hidden, 32)
        self.whole = nn.GRU(32 + 2 + 2 * inner + 4, whole, batch_first=True)
        self.state = nn.Linear(whole, 4)
        self.nobody = nn.Linear(whole, 1)
        self.told = nn.Linear(whole, told)
        self.stream = nn.GRU(inner + 4 + told, hidden, batch_first=True)
        self.out = nn.Linear(hidden, 1)

    def forward(self, hidden, level, match, dx_hidden, dx_level, h_whole=None, h_stream=None):
        """hidden (B,S,T,112), level (B,S,T,2), match (B,S,T), dx_hidden (B,T,112), dx_level (B,T,2)."""
        b, s, t, _ = hidden.shape
        inner = torch.relu(self.inner(hidden))
        best = match.amax(1)
        pooled = torch.cat([torch.relu(self.dx(dx_hidden)), dx_level, inner.amax(1), inner.sum(1) * 0.05,
                            best[..., None], (match > 0.6).float().sum(1)[..., None] * 0.2,
                            level[..., 0].amax(1)[..., None], (level[..., 0] > 0.8).float().sum(1)[..., None] * 0.05], -1)
        whole, h_whole = self.whole(pooled, h_whole)
        told = torch.relu(self.told(whole))
        x = torch.cat([inner, level, match[..., None], (match - best[:, None])[..., None],
                       told[:, None].expand(b, s, t, told.shape[-1])], -1)
        y, h_stream = self.stream(x.reshape(b * s, t, -1), h_stream)
        logits = self.out(y).reshape(b, s, t)
        return torch.cat([logits, self.nobody(whole)[..., 0][:, None]], 1), self.state(whole), h_whole, h_stream


def levels(features: torch.Tensor) -> torch.Tensor:
    """Level of each stream and how far it stands above its neighbourhood: (B,S,T,2) from reader input (B,S,T,36)."""
    b, s, t, _ = features.shape
    x = features.reshape(b, s, t, 4, 2 * CONTEXT + 1)
    own = x[..., CONTEXT - 1 : CONTEXT + 2].amax(-1).mean(-1)
    around = torch.nn.functional.max_pool1d(own.permute(0, 2, 1).reshape(b * t, 1, s), 7, 1, 3).reshape(b, t, s).permute(0, 2, 1)
    return torch.stack([own, own - around], -1)


def matches(symbols: np.ndarray, dx: np.ndarray) -> np.ndarray:
    from hearmark.pileup.match import Matcher

    return Matcher(symbols.shape[1]).feed(symbols, dx)


@torch.no_grad()
def prepare(stage: Stage, reader: Reader, scenes: list[Scene], pool: ThreadPoolExecutor):
    window, dx = stage.spectra(scenes)
    f = stage.features(window)
    fd = stage.features(dx)[:, (dx.shape[2] // 2 - CONTEXT) // 2]
    b, s, t, _ = f.shape
    logits, hidden, _, _ = reader(f.reshape(b * s, t, -1))
    symbols = logits.argmax(-1).reshape(b, s, t).permute(0, 2, 1).to(torch.int8).cpu().numpy()
    dlogits, dhidden, _, _ = reader(fd)
    dsymbols = dlogits.argmax(-1).to(torch.int8).cpu().numpy()
    scores = list(pool.map(matches, [np.ascontiguousarray(x) for x in symbols], dsymbols))
    match = torch.from_numpy(np.stack(scores)).permute(0, 2, 1).to(stage.device)
    dlevel = torch.cat([levels(fd[:, None])[:, 0, :, :1], fd.reshape(b, t, 4, 9).amax(-1).amax(-1)[..., None]], -1)
    return hidden.reshape(b, s, t, -1), levels(f), match, dhidden, dlevel


def loss_of(model: Finder, data, scenes: list[Scene]):
    logits, state, _, _ = model(*data)
    device = logits.device
    target = torch.from_numpy(np.stack([x.target for x in scenes])).to(device)[:, : logits.shape[2]]
    truth = torch.from_numpy(np.stack([x.state for x in scenes])).to(device)[:, : logits.shape[2]]
    streams = logits.shape[1] - 1
    log_p = logits.log_softmax(1)  # (B, S+1, T)
    near = torch.zeros_like(log_p)
    index = torch.where(target < 0, torch.full_like(target, streams), target.clamp(max=streams - 1))
    near.scatter_(1, index[:, None], 1.0)
    heard = target >= 0
    near[:, :streams] = torch.where(heard[:, None], near[:, :streams] + 0.3 * (torch.roll(near, 1, 1) + torch.roll(near, -1, 1))[:, :streams], near[:, :streams])
    near = near / near.sum(1, keepdim=True)
    ce = -(near * log_p).sum(1)
    weight = torch.where(target == -2, 0.0, torch.where(heard, 1.0, 0.7))
    find = (ce * weight).sum() / weight.sum()
    states = nn.functional.cross_entropy(state.permute(0, 2, 1), truth)
    return find, states, logits, state


def found(logits: torch.Tensor, scenes: list, rows: list, near: float = 1.6) -> None:
    """Collects (P of the true place near the reply's end, best place's P, right?) of completed contacts, and false peaks."""
    p = logits.softmax(1)
    streams = p.shape[1] - 1
    q = p[:, :streams]
    q = q + torch.nn.functional.pad(q[:, 1:], (0, 0, 0, 1)) + torch.nn.functional.pad(q[:, :-1], (0, 0, 1, 0))
    for i, scene in enumerate(scenes):
        for start, stop, stream, completed in scene.contacts:
            if not completed or stop > scene.length_s - 0.5:
                continue
            t = min(int((stop + 0.3) / 0.032), p.shape[2] - 1)
            place = int(q[i, :, t].argmax())
            rows.append((float(q[i, place, t]), abs(place - stream) < near))


def stream_scenes(maker, seed: int, size: int, workers: int, length_s: float):
    """Scenes made ahead on the processor's cores, in lists of `size`."""
    context = mp.get_context("spawn")
    with context.Pool(workers, maxtasksperchild=200) as pool:
        made = []
        for scene in pool.imap_unordered(_make, ((maker, seed + i, length_s) for i in range(10_000_000)), chunksize=2):
            if scene is None:
                continue
            made.append(scene)
            if len(made) == size:
                yield made
                made = []


def _make(job):
    maker, seed, length_s = job
    try:
        return maker(seed, length_s)
    except Exception as error:  # one bad session must not end the training
        print("session", seed, repr(error), flush=True)
        return None


def main() -> None:
    import queue
    import threading

    seconds, where, out = float(sys.argv[1]), sys.argv[2], sys.argv[3]
    start = time.time()
    cuda = torch.cuda.is_available()
    device, size, workers, length = ("cuda", 8, 8, 90.0) if cuda else ("cpu", 1, 1, 40.0)
    torch.manual_seed(3)
    torch.backends.cuda.matmul.allow_tf32 = True
    reader = Reader().to(device)
    reader.load_state_dict(torch.load(where, map_location=device))
    reader.eval()
    model = Finder().to(device)
    if len(sys.argv) > 4:  # the reader may have grown since
        widened(model, torch.load(sys.argv[4], map_location=device))
    stage = Stage(device, 5)
    threads = ThreadPoolExecutor(8)
    ahead: queue.Queue = queue.Queue(24)

    def fill() -> None:
        for scenes in stream_scenes(make, 1_000_000, size, workers, length):
            ahead.put(scenes)

    threading.Thread(target=fill, daemon=True).start()
    held = [ahead.get() for _ in range(4 if cuda else 1)]
    print("first scenes after", round(time.time() - start, 1), flush=True)
    optimiser = torch.optim.AdamW(model.parameters(), lr=3e-3, weight_decay=1e-3)
    step, shown = 0, 0.0
    while (passed := time.time() - start) < seconds:
        for group in optimiser.param_groups:
            group["lr"] = 4e-3 * min(1, (step + 1) / 50) * (0.5 * (1 + np.cos(np.pi * passed / seconds)) + 0.01)
        scenes = ahead.get()
        data = prepare(stage, reader, scenes, threads)
        find, states, _, _ = loss_of(model, data, scenes)
        optimiser.zero_grad()
        (find + 0.5 * states).backward()
        nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimiser.step()
        step += 1
        if time.time() - start - shown > 30:
            shown = time.time() - start
            rows: list = []
            with torch.no_grad():
                total = []
                for scenes in held:
                    f, s, logits, state = loss_of(model, prepare(stage, reader, scenes, threads), scenes)
                    found(logits, scenes, rows)
                    truth = torch.from_numpy(np.stack([x.state for x in scenes])).to(device)[:, : state.shape[1]]
                    total.append((f.item(), s.item(), (state.argmax(-1) == truth).float().mean().item()))
            rows.sort(reverse=True)
            rows = rows or [(0.0, False)]
            right = np.cumsum([r for _, r in rows])
            precision = right / np.arange(1, len(rows) + 1)
            ok = np.nonzero(precision >= 0.9)[0]
            t = np.mean(total, 0)
            print(f"{shown:4.0f}s step {step} queue {ahead.qsize()} train {find.item():.3f}/{states.item():.3f} held {t[0]:.3f}/{t[1]:.3f} state ok {t[2]:.3f}; "
                  f"of {len(rows)} contacts right {right[-1] / len(rows):.3f}, recall at 0.9: {right[ok[-1]] / len(rows) if len(ok) else 0:.3f}, "
                  f"P>=.5: {np.mean([p >= .5 for p, _ in rows]):.3f} right {np.mean([r for p, r in rows if p >= .5] or [0]):.3f}", flush=True)
            torch.save(model.state_dict(), out)
    torch.save(model.state_dict(), out)


if __name__ == "__main__":
    main()
