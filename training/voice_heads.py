"""Goes on training the heads of the voice finder on a processor, the spectrum's convolutions left as they are.

    voice_heads.py SECONDS IN.pt OUT.pt FOLDER

Takes stretches written by voice_data.py. What the convolutions see of a stretch is computed once and kept; then the
memories (of the whole, of each dial) are trained on random thirds of a minute, each with the answered dial's
surroundings, the busiest dials and some others. Files whose seed ends in 7 are only tested on.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
import torch
from torch import nn

from voice_finder import DIAL_STEP, DX_LEAD, SPEECH_BINS, VoiceFinder

PART = 640
KEPT_DIALS = 40


@torch.no_grad()
def seen(model: VoiceFinder, path: Path) -> dict:
    """What the convolutions make of one file."""
    d = np.load(path)
    pad = lambda a: nn.functional.pad(torch.from_numpy(a.astype(np.float32))[None], (0, 0, 2, 0))
    window, dx = pad(d["window"]), pad(d["dx"])
    inner, own, far = [], [], []
    steps = window.shape[1] - 2
    for k in range(0, steps, 250):
        w, x = window[:, k : k + 252], dx[:, k : k + 252]
        y = model.local(w)
        b, t, c, places = y.shape
        z = torch.relu(model.dial(y.reshape(b * t, c, places)))[..., : (w.shape[2] - SPEECH_BINS) // DIAL_STEP]
        inner.append(z.half())
        own.append(nn.functional.avg_pool1d(w[:, 2:, 16:], 160, DIAL_STEP)[0, :, : z.shape[-1]].half())
        far.append(model.local(x)[..., :50].reshape(t, -1).half())
    level = dx[0, 2:, DX_LEAD:]
    return {"inner": torch.cat(inner), "own": torch.cat(own), "dx": torch.cat(far),
            "level": torch.stack([level.mean(1), level.amax(1)], 1),
            "target": torch.from_numpy(d["target"].astype(np.int64)), "state": torch.from_numpy(d["state"].astype(np.int64)),
            "talk": torch.from_numpy(d["talk"]), "contacts": d["contacts"]}


def forward(model: VoiceFinder, s: dict, first: int, stop: int, dials: torch.Tensor | None, alone: bool):
    inner, own = s["inner"][first:stop].float(), s["own"][first:stop].float()
    if alone:
        inner, own = torch.zeros_like(inner) + model.nothing, own * 0
    pooled = torch.cat([torch.relu(model.dx(s["dx"][first:stop].float())), s["level"][first:stop], inner.amax(2), inner.sum(2) * 0.05], 1)
    whole, _ = model.whole(pooled[None])
    told = torch.relu(model.told(whole[0]))
    if dials is not None:
        inner, own = inner[:, :, dials], own[:, dials]
    n = inner.shape[2]
    z = torch.cat([inner.permute(2, 0, 1), own.T[..., None], told[None].expand(n, -1, -1)], 2)
    y, _ = model.stream(z)
    out = model.out(y)
    return torch.cat([out[..., 0], model.nobody(whole[0]).T]), model.state(whole[0]), out[..., 1]


def losses(model, s, first, stop, rng, alone=False):
    target, truth = s["target"][first:stop], s["state"][first:stop]
    count = s["inner"].shape[2]
    dials = None
    if rng is not None:
        heard = sorted({int(x) for x in target[target >= 0].tolist()})
        must = {k + j for k in heard for j in (-2, -1, 0, 1, 2)}
        busy = torch.argsort(s["own"][first:stop].float().mean(0), descending=True)[:15].tolist()
        must |= set(rng.choice(busy, min(8, len(busy)), replace=False).tolist())
        must |= set(rng.integers(0, count, KEPT_DIALS - min(len(must), KEPT_DIALS - 10)).tolist())
        dials = torch.tensor(sorted(k for k in must if 0 <= k < count))
    logits, state, talking = forward(model, s, first, stop, dials, alone)
    states = nn.functional.cross_entropy(state, truth)
    if alone:
        return None, states, logits, state
    n = logits.shape[0] - 1
    if dials is not None:  # the dials left out would have taken a share: count the quiet ones by their weight
        correction = torch.zeros(n + 1, 1)
        where = torch.full((count + 4,), -1, dtype=torch.long)
        where[dials] = torch.arange(n)
        place = lambda t: where[t.clamp(0, count - 1)]
    else:
        correction = torch.zeros(n + 1, 1)
        place = lambda t: t.clamp(0, count - 1)
    log_p = (logits + correction).log_softmax(0)
    near = torch.zeros_like(log_p)
    heard = target >= 0
    for shift, weight in ((0, 1.0), (-1, 0.5), (1, 0.5)):
        k = place(target + shift)
        ok = heard & (k >= 0) & (target + shift >= 0) & (target + shift < count)
        near[k[ok], torch.nonzero(ok)[:, 0]] += weight
    near[n, ~heard] = 1.0
    ce = -(near / near.sum(0, keepdim=True).clamp(min=1e-6) * log_p).sum(0)
    weight = torch.where(target == -2, 0.0, torch.where(heard, 1.0, 0.7))
    find = (ce * weight).sum() / weight.sum().clamp(min=1)
    talk = s["talk"][first:stop].float().T / 2
    talk = talk if dials is None else talk[dials]
    find = find + 0.3 * nn.functional.binary_cross_entropy_with_logits(talking, talk)
    return find, states, logits, state


@torch.no_grad()
def test(model: VoiceFinder, some: list[dict]) -> str:
    rows, total = [], []
    for s in some:
        find, states, logits, state = losses(model, s, 0, len(s["target"]), None)
        p = logits.softmax(0)
        q = p[:-1].clone()
        q[:-1] += p[1:-1]
        q[1:] += p[:-2]
        for _, stop, dial, completed in s["contacts"]:
            t = min(int((stop + 0.3) / 0.032), q.shape[1] - 1)
            if completed:
                k = int(q[:, t].argmax())
                rows.append((float(q[k, t]), abs(k - dial) < 2.4))
        total.append((find.item(), states.item(), (state.argmax(-1) == s["state"]).float().mean().item()))
    rows = sorted(rows, reverse=True) or [(0.0, False)]
    right = np.cumsum([r for _, r in rows])
    precision = right / np.arange(1, len(rows) + 1)
    ok = np.nonzero(precision >= 0.8)[0]
    t = np.mean(total, 0)
    return f"held {len(some)}: {t[0]:.3f}/{t[1]:.3f} state ok {t[2]:.3f}; of {len(rows)} right {right[-1] / len(rows):.3f}, recall at 0.8: {right[ok[-1]] / len(rows) if len(ok) else 0:.3f}"


def main() -> None:
    seconds, source, out, folder = float(sys.argv[1]), sys.argv[2], sys.argv[3], Path(sys.argv[4])
    torch.set_num_threads(1)
    torch.manual_seed(9)
    rng = np.random.default_rng(9)
    model = VoiceFinder()
    model.load_state_dict(torch.load(source, map_location="cpu"))
    heads = [model.dx, model.whole, model.state, model.nobody, model.told, model.stream, model.out]
    for p in model.parameters():
        p.requires_grad_(False)
    for h in heads:
        for p in h.parameters():
            p.requires_grad_(True)
    with torch.no_grad():  # what "nothing is known of the window" looks like to the heads
        blank = model.local(torch.zeros(1, 3, 832))
        model.nothing = torch.relu(model.dial(blank.reshape(1, -1, blank.shape[-1])))[0, :, 80][None, :, None]
    optimiser = torch.optim.AdamW([p for p in model.parameters() if p.requires_grad], lr=2e-3, weight_decay=1e-3)
    kept: dict[str, dict] = {}
    held: dict[str, dict] = {}
    start, shown, step, sums = time.time(), 0.0, 0, np.zeros(3)
    while (passed := time.time() - start) < seconds:
        if step % 4 == 0 and len(kept) < 900:  # a few new files now and then
            fresh = [f for f in sorted(folder.glob("3*.npz")) if ".tmp" not in f.name and f.stem not in kept and f.stem not in held][: 40 if not kept else 2]
            for f in fresh:
                (held if f.stem.endswith("7") else kept)[f.stem] = seen(model, f)
        if passed - shown > 180:
            shown = passed
            print(f"{passed:5.0f}s step {step} files {len(kept)} train {sums[:2] / max(sums[2], 1)} {test(model, list(held.values())[:40])}", flush=True)
            sums[:] = 0
            torch.save(model.state_dict(), out)
        names = list(kept)
        for group in optimiser.param_groups:
            group["lr"] = 2e-3 * min(1, (step + 1) / 50) * (0.5 * (1 + np.cos(np.pi * passed / seconds)) + 0.01)
        optimiser.zero_grad()
        for _ in range(4):
            s = kept[names[int(rng.integers(len(names)))]]
            first = int(rng.integers(0, max(1, len(s["target"]) - PART)))
            find, states, _, _ = losses(model, s, first, first + PART, rng, rng.random() < 0.12)
            loss = states if find is None else find + 0.7 * states
            (loss / 4).backward()
            if find is not None:
                sums += (find.item(), states.item(), 1)
        nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimiser.step()
        step += 1
    torch.save(model.state_dict(), out)
    print("done", step, test(model, list(held.values())), flush=True)


if __name__ == "__main__":
    main()
