"""Trains the finder for voice: which dial is the answered station's, at every step.

python voice_finder.py SECONDS OUT.pt. Whole pile-ups (see voice_scene.py), end to end from the spectrum.
"""

from __future__ import annotations

import queue
import sys
import threading
import time

import numpy as np
import torch
from torch import nn

from finder import found, stream_scenes
from functools import partial

from voice_scene import DIAL_STEP, DIALS, DX_LEAD, SPEECH_BINS, VoiceStage, make


HUMANS = ("h-en", "h-en-2", "h-en-3", "h-fr", "h-fr-2")


class VoiceFinder(nn.Module):
    """Input: log10(power over noise + 0.1), bins of 15.6 Hz, steps of 32 ms. One output a dial, every 62.5 Hz."""

    def __init__(self, fine: int = 12, coarse: int = 20, inner: int = 28, whole: int = 80, told: int = 16, hidden: int = 44) -> None:
        super().__init__()
        self.fine = nn.Conv2d(1, fine, (3, 7))
        self.coarse = nn.Conv1d(fine, coarse, 8, stride=DIAL_STEP)
        self.dial = nn.Conv1d(coarse, inner, SPEECH_BINS // DIAL_STEP)
        self.dx = nn.Linear(coarse * 50, 64)
        self.whole = nn.GRU(64 + 2 + 2 * inner, whole, batch_first=True)
        self.state = nn.Linear(whole, 4)
        self.nobody = nn.Linear(whole, 1)
        self.told = nn.Linear(whole, told)
        self.stream = nn.GRU(inner + told + 1, hidden, batch_first=True)
        self.out = nn.Linear(hidden, 2)

    def local(self, x: torch.Tensor) -> torch.Tensor:
        """(B, T + 2, bins) with two steps of the past in front -> (B, T, coarse, places). Bins padded by 3 and 2."""
        y = torch.relu(self.fine(nn.functional.pad(x[:, None], (3, 3))))
        b, c, t, f = y.shape
        y = torch.relu(self.coarse(nn.functional.pad(y.permute(0, 2, 1, 3).reshape(b * t, c, f), (2, 2))))
        return y.reshape(b, t, y.shape[1], y.shape[2])

    def forward(self, window, dx, h_whole=None, h_stream=None):
        """window (B, T + 2, BINS), dx (B, T + 2, DX_BINS): compressed power."""
        y = self.local(window)
        b, t, c, places = y.shape
        inner = torch.relu(self.dial(y.reshape(b * t, c, places)))[..., : (window.shape[2] - SPEECH_BINS) // DIAL_STEP]
        dials = inner.shape[-1]
        inner = inner.reshape(b, t, -1, dials)
        d = self.local(dx)[..., :50].reshape(b, t, -1)
        level = dx[:, 2:, DX_LEAD:]
        pooled = torch.cat([torch.relu(self.dx(d)), level.mean(2, keepdim=True), level.amax(2, keepdim=True),
                            inner.amax(3), inner.sum(3) * 0.05], -1)
        whole, h_whole = self.whole(pooled, h_whole)
        told = torch.relu(self.told(whole))
        own = nn.functional.avg_pool1d(window[:, 2:, 16:], 160, DIAL_STEP)[:, :, :dials]
        z = torch.cat([inner.permute(0, 3, 1, 2), own.permute(0, 2, 1)[..., None], told[:, None].expand(b, dials, t, told.shape[-1])], -1)
        z, h_stream = self.stream(z.reshape(b * dials, t, -1), h_stream)
        out = self.out(z).reshape(b, dials, t, 2)
        logits = torch.cat([out[..., 0], self.nobody(whole)[..., 0][:, None]], 1)
        return logits, self.state(whole), out[..., 1], h_whole, h_stream


def compress(power: torch.Tensor) -> torch.Tensor:
    """Power over noise to the network's scale, with two steps of nothing in front."""
    return nn.functional.pad(torch.log10(power + 0.1).clamp(max=5.0), (0, 0, 2, 0))


def loss_of(model, window, dx, scenes):
    logits, state, talk, _, _ = model(compress(window), compress(dx))
    device = logits.device
    t = logits.shape[2]
    target = torch.from_numpy(np.stack([x.target for x in scenes])).to(device)[:, :t]
    truth = torch.from_numpy(np.stack([x.state for x in scenes])).to(device)[:, :t]
    streams = logits.shape[1] - 1
    log_p = logits.log_softmax(1)
    near = torch.zeros_like(log_p)
    index = torch.where(target < 0, torch.full_like(target, streams), target.clamp(max=streams - 1))
    near.scatter_(1, index[:, None], 1.0)
    heard = target >= 0
    spread = near[:, :streams] + 0.5 * (torch.roll(near, 1, 1) + torch.roll(near, -1, 1))[:, :streams]
    near[:, :streams] = torch.where(heard[:, None], spread, near[:, :streams])
    near = near / near.sum(1, keepdim=True)
    ce = -(near * log_p).sum(1)
    weight = torch.where(target == -2, 0.0, torch.where(heard, 1.0, 0.7))
    find = (ce * weight).sum() / weight.sum()
    states = nn.functional.cross_entropy(state.permute(0, 2, 1), truth)
    voices = torch.zeros_like(talk)
    for i, scene in enumerate(scenes):
        for a, b, dial in scene.voices:
            k = int(round(dial))
            for j in (k - 1, k, k + 1):
                if 0 <= j < streams:
                    voices[i, j, a:b] = torch.clamp(voices[i, j, a:b], min=1.0 if abs(j - dial) < 0.8 else 0.5)
    talking = nn.functional.binary_cross_entropy_with_logits(talk, voices)
    return find, states, talking, logits, state


def main() -> None:
    seconds, out = float(sys.argv[1]), sys.argv[2]
    start = time.time()
    cuda = torch.cuda.is_available()
    device, size, workers, length = ("cuda", 8, 14, 72.0) if cuda else ("cpu", 1, 1, 40.0)
    torch.manual_seed(4)
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    model = VoiceFinder().to(device)
    stage = VoiceStage(device, 6)
    ahead: queue.Queue = queue.Queue(8)
    kept: list = []
    rng = np.random.default_rng(0)

    def fill() -> None:
        for scenes in stream_scenes(partial(make, humans=HUMANS), 2_000_000, size, workers, length):
            ahead.put(scenes)

    threading.Thread(target=fill, daemon=True).start()
    held = [ahead.get() for _ in range(6 if cuda else 1)]
    print("voice: first scenes after", round(time.time() - start, 1), flush=True)
    optimiser = torch.optim.AdamW(model.parameters(), lr=3e-3, weight_decay=1e-3)
    step, fresh, shown = 0, 0, 0.0
    while (passed := time.time() - start) < seconds:
        for group in optimiser.param_groups:
            group["lr"] = 4e-3 * min(1, (step + 1) / 50) * (0.5 * (1 + np.cos(np.pi * passed / seconds)) + 0.01)
        if ahead.qsize() or not kept:
            scenes = ahead.get()
            fresh += 1
            kept.append(scenes)
            if len(kept) > 120:
                kept.pop(0)
        else:  # the same people once more, through new channels and noise
            scenes = kept[rng.integers(len(kept))]
        optimiser.zero_grad()
        for part in (scenes[: size // 2], scenes[size // 2 :]) if size > 1 else (scenes,):
            with torch.no_grad():
                window, dx = stage.spectra(part)
                alone = rng.random() < 0.12  # one receiver on the DX: nothing is known of the window
                if alone:
                    window = torch.full_like(window, 0.9)
            find, states, talking, _, _ = loss_of(model, window, dx, part)
            (states if alone else find + 0.5 * states + 2.0 * talking).backward()
        nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimiser.step()
        step += 1
        if time.time() - start - shown > 30:
            shown = time.time() - start
            rows: list = []
            with torch.no_grad():
                total = []
                for scenes in held:
                    window, dx = stage.spectra(scenes[: size // 2 or 1])
                    scenes = scenes[: size // 2 or 1]
                    f, s, v, logits, state = loss_of(model, window, dx, scenes)
                    found(logits, scenes, rows, 2.4)
                    truth = torch.from_numpy(np.stack([x.state for x in scenes])).to(device)[:, : state.shape[1]]
                    total.append((f.item(), s.item(), v.item(), (state.argmax(-1) == truth).float().mean().item()))
            rows = sorted(rows, reverse=True) or [(0.0, False)]
            right = np.cumsum([r for _, r in rows])
            precision = right / np.arange(1, len(rows) + 1)
            ok = np.nonzero(precision >= 0.8)[0]
            t = np.mean(total, 0)
            print(f"voice {shown:4.0f}s step {step} fresh {fresh} train {find.item():.3f}/{states.item():.3f}/{talking.item():.3f} held {t[0]:.3f}/{t[1]:.3f}/{t[2]:.3f} "
                  f"state ok {t[3]:.3f}; of {len(rows)} contacts right {right[-1] / len(rows):.3f}, recall at 0.8: {right[ok[-1]] / len(rows) if len(ok) else 0:.3f}", flush=True)
            torch.save(model.state_dict(), out)
    torch.save(model.state_dict(), out)


if __name__ == "__main__":
    main()
