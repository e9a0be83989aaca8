"""Goes on training the finder for voice on a processor: voice_tune.py SECONDS IN.pt OUT.pt FOLDER [STEPS_OF_WARMUP].

Takes stretches written by voice_data.py; half of a stretch at a time. Files whose seed ends in 7 are never trained on: on them
it prints how it does.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
import torch
from torch import nn

from voice_finder import VoiceFinder


def load(path: Path, rng: np.random.Generator | None, steps: int = 1000):
    d = np.load(path)
    w, x = d["window"], d["dx"]
    first = 0 if rng is None else int(rng.integers(0, max(1, len(w) - steps)))
    part = slice(first, None if rng is None else first + steps)
    jitter = 0.0 if rng is None else float(rng.normal(0, 0.06))
    t = lambda a: torch.from_numpy(a[part].astype(np.float32))[None] + jitter
    window, dx = t(w), t(x)
    if rng is not None and rng.random() < 0.12:
        window = torch.zeros_like(window)
        alone = True
    else:
        alone = False
    pad = lambda a: nn.functional.pad(a, (0, 0, 2, 0))
    return pad(window), pad(dx), torch.from_numpy(d["target"][part].astype(np.int64)), torch.from_numpy(d["state"][part].astype(np.int64)), \
        torch.from_numpy(d["talk"][part].astype(np.float32) / 2), d["contacts"], alone


def losses(model: VoiceFinder, sample):
    window, dx, target, truth, talk, _, alone = sample
    logits, state, talking, _, _ = model(window, dx)
    states = nn.functional.cross_entropy(state[0], truth)
    if alone:
        return None, states, None, logits, state
    log_p = logits[0].log_softmax(0)  # (S + 1, T)
    streams = log_p.shape[0] - 1
    near = torch.zeros_like(log_p)
    heard = target >= 0
    near.scatter_(0, torch.where(heard, target.clamp(0, streams - 1), torch.full_like(target, streams))[None], 1.0)
    spread = near[:streams] + 0.5 * (torch.roll(near, 1, 0) + torch.roll(near, -1, 0))[:streams]
    near = torch.cat([torch.where(heard[None], spread, near[:streams]), near[streams:]])
    ce = -(near / near.sum(0, keepdim=True) * log_p).sum(0)
    weight = torch.where(target == -2, 0.0, torch.where(heard, 1.0, 0.7))
    return (ce * weight).sum() / weight.sum().clamp(min=1), states, nn.functional.binary_cross_entropy_with_logits(talking[0].T, talk), logits, state


@torch.no_grad()
def test(model: VoiceFinder, files: list[Path]) -> str:
    rows, total = [], []
    for f in files:
        s = load(f, None)
        find, states, talk, logits, state = losses(model, s)
        p = logits.softmax(1)[0]
        q = p[:-1].clone()
        q[:-1] += p[1:-1]
        q[1:] += p[:-2]
        for _, stop, dial, completed in s[5]:
            t = min(int((stop + 0.3) / 0.032), q.shape[1] - 1)
            if completed:
                k = int(q[:, t].argmax())
                rows.append((float(q[k, t]), abs(k - dial) < 2.4))
        total.append((find.item(), states.item(), talk.item(), (state[0].argmax(-1) == s[3]).float().mean().item()))
    rows = sorted(rows, reverse=True) or [(0.0, False)]
    right = np.cumsum([r for _, r in rows])
    precision = right / np.arange(1, len(rows) + 1)
    ok = np.nonzero(precision >= 0.8)[0]
    t = np.mean(total, 0)
    return (f"held {len(files)}: {t[0]:.3f}/{t[1]:.3f}/{t[2]:.3f} state ok {t[3]:.3f}; of {len(rows)} right {right[-1] / len(rows):.3f}, "
            f"recall at 0.8: {right[ok[-1]] / len(rows) if len(ok) else 0:.3f}")


def main() -> None:
    seconds, source, out, folder = float(sys.argv[1]), sys.argv[2], sys.argv[3], Path(sys.argv[4])
    torch.set_num_threads(1)
    torch.manual_seed(9)
    rng = np.random.default_rng(9)
    model = VoiceFinder()
    model.load_state_dict(torch.load(source, map_location="cpu"))
    optimiser = torch.optim.AdamW(model.parameters(), lr=1.5e-3, weight_decay=1e-3)
    start, shown, step, sums = time.time(), -1e9, 0, np.zeros(4)
    while (passed := time.time() - start) < seconds:
        if passed - shown > 300:
            shown = passed
            held = sorted(f for f in folder.glob("*7.npz"))[:40]
            print(f"{passed:5.0f}s step {step} train {sums[:3] / max(sums[3], 1)} {test(model, held)}", flush=True)
            sums[:] = 0
            torch.save(model.state_dict(), out)
        files = [f for f in folder.glob("*.npz") if not f.stem.endswith("7") and ".tmp" not in f.name]
        for group in optimiser.param_groups:
            group["lr"] = 1.5e-3 * min(1, (step + 1) / 50) * (0.5 * (1 + np.cos(np.pi * passed / seconds)) + 0.01)
        optimiser.zero_grad()
        for _ in range(2):
            find, states, talk, _, _ = losses(model, load(files[int(rng.integers(len(files)))], rng))
            loss = 0.7 * states if find is None else find + 0.7 * states + 1.5 * talk
            (loss / 2).backward()
            if find is not None:
                sums += (find.item(), states.item(), talk.item(), 1)
        nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimiser.step()
        step += 1
    torch.save(model.state_dict(), out)
    print("done", step, test(model, sorted(folder.glob("*7.npz"))[:60]))


if __name__ == "__main__":
    main()
