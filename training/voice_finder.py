"""Trains the finder for voice: which dial is the answered station's, at every step.

    python voice_finder.py SECONDS OUT.pt [IN.pt|-] [WORKERS] [ROUND] [RATE]

Each ROUND has people of its own, so that training on goes on with people never met. RATE: of learning, at first; what
has learnt much is set back for a quarter of an hour by the full one.

Whole pile-ups (see voice_scene.py), end to end from the spectrum. Each stretch is rendered once on the card and kept
there as compressed spectra, and stretches are rendered anew, through other channels and noise, as long as no fresh
people have arrived from the processor's cores. The network learns in lanes: each goes through a stretch from its
beginning, piece after piece, and its memories go with it, so that what was heard minutes ago is of use.
"""

from __future__ import annotations

import os
import queue
import sys
import threading
import time
from functools import partial

import numpy as np
import torch
from torch import nn

from finder import found, stream_scenes
from reader import widened
from one_receiver import seen
from voice_scene import DIAL_STEP, DIALS, DX_LEAD, HALF_HEARD, SPEECH_BINS, VoiceStage, make

HUMANS = ("h-en", "h-en-2", "h-en-3", "h-fr", "h-fr-2")
STATES = 6
RENDER = 0.3
"""Share of the time in which new stretches are rendered."""
LATE_STEPS = 96
"""The second look back: who was answered 3.1 s ago, now that it is known who fell silent then and who went on."""
WHOLE, STREAM = (64, 128), (64, 96)
"""Memory of the whole: of the DX, of all; memory of each dial: of who talks, of whom he answered."""


class VoiceFinder(nn.Module):
    """Input: log10(power over noise + 0.1), bins of 15.6 Hz, steps of 32 ms. Two outputs a dial, every 62.5 Hz: is
    it his whom he answers, and was it, `LATE_STEPS` ago."""

    def __init__(self, fine: int = 24, coarse: int = 48, inner: int = 64, told: int = 24, beside: int = 16) -> None:
        super().__init__()
        self.fine = nn.Conv2d(1, fine, (3, 7))
        self.coarse = nn.Conv1d(fine, coarse, 8, stride=DIAL_STEP)
        self.dial = nn.Conv1d(coarse, inner, SPEECH_BINS // DIAL_STEP)
        self.dx = nn.Linear(coarse * 50, 64)
        self.dx_memory = nn.GRU(64 + 2, WHOLE[0], batch_first=True)
        self.talker = nn.GRU(inner + 1, STREAM[0], batch_first=True)
        self.talk = nn.Linear(STREAM[0], 1)
        self.whole = nn.GRU(WHOLE[0] + 2 * STREAM[0] + 1, WHOLE[1], batch_first=True)
        self.state = nn.Linear(WHOLE[1], STATES)
        self.nobody = nn.Linear(WHOLE[1], 1)
        self.told = nn.Linear(WHOLE[1], told)
        self.beside = nn.Conv1d(STREAM[0], beside, 7, padding=3)
        self.stream = nn.GRU(STREAM[0] + beside + told, STREAM[1], batch_first=True)
        self.out = nn.Linear(STREAM[1], 1)
        self.late = nn.Linear(STREAM[1], 1)
        self.nobody_late = nn.Linear(WHOLE[1], 1)

    def local(self, x: torch.Tensor) -> torch.Tensor:
        """(B, T + 2, bins) with two steps of the past in front -> (B, T, coarse, places). Bins padded by 3 and 2."""
        y = torch.relu(self.fine(nn.functional.pad(x[:, None], (3, 3))))
        b, c, t, f = y.shape
        y = torch.relu(self.coarse(nn.functional.pad(y.permute(0, 2, 1, 3).reshape(b * t, c, f), (2, 2))))
        return y.reshape(b, t, y.shape[1], y.shape[2])

    def forward(self, window, dx, h_dx=None, h_talker=None, h_whole=None, h_stream=None):
        """window (B, T + 2, BINS), dx (B, T + 2, DX_BINS): compressed power."""
        with torch.autocast("cuda", torch.bfloat16, enabled=window.is_cuda):
            y = self.local(window)
            b, t, c, places = y.shape
            inner = torch.relu(self.dial(y.reshape(b * t, c, places)))[..., : (window.shape[2] - SPEECH_BINS) // DIAL_STEP]
            d = torch.relu(self.dx(self.local(dx)[..., :50].reshape(b, t, -1)))
        inner, d = inner.float(), d.float()
        dials = inner.shape[-1]
        level = dx[:, 2:, DX_LEAD:]
        d, h_dx = self.dx_memory(torch.cat([d, level.mean(2, keepdim=True), level.amax(2, keepdim=True)], -1), h_dx)
        own = nn.functional.avg_pool1d(window[:, 2:, 16:], 160, DIAL_STEP)[:, :, :dials]
        z = torch.cat([inner.reshape(b, t, -1, dials).permute(0, 3, 1, 2), own.permute(0, 2, 1)[..., None]], -1)
        who, h_talker = self.talker(z.reshape(b * dials, t, -1), h_talker)
        talk = self.talk(who).reshape(b, dials, t)
        each = who.reshape(b, dials, t, -1)
        pooled = torch.cat([d, each.amax(1), each.mean(1), torch.sigmoid(talk).sum(1)[..., None] * 0.1], -1)
        whole, h_whole = self.whole(pooled, h_whole)
        told = torch.relu(self.told(whole))
        beside = torch.relu(self.beside(each.permute(0, 2, 3, 1).reshape(b * t, -1, dials)))
        beside = beside.reshape(b, t, -1, dials).permute(0, 3, 1, 2)
        z = torch.cat([each, beside, told[:, None].expand(b, dials, t, told.shape[-1])], -1)
        z, h_stream = self.stream(z.reshape(b * dials, t, -1), h_stream)
        logits = torch.cat([self.out(z).reshape(b, dials, t), self.nobody(whole)[..., 0][:, None]], 1)
        late = torch.cat([self.late(z).reshape(b, dials, t), self.nobody_late(whole)[..., 0][:, None]], 1)
        return logits, late, self.state(whole), talk, h_dx, h_talker, h_whole, h_stream


def compress(power: torch.Tensor) -> torch.Tensor:
    """Power over noise to the network's scale."""
    return torch.log10(power + 0.1).clamp(max=5.0)


def grown(model: VoiceFinder, old: dict) -> nn.Module:
    """`model` begins as the smaller network `old`; see `widened`. Joined inputs keep their order."""
    was, now = dict(old), dict(model.named_parameters())
    for late, of in (("late", "out"), ("nobody_late", "nobody")):
        for part in ("weight", "bias"):
            was.setdefault(f"{late}.{part}", old[f"{of}.{part}"])
    width = lambda net, name, dim: net[name].shape[dim]
    joined = {
        "talker.weight_ih_l0": lambda net: (width(net, "dial.weight", 0), 1),
        "whole.weight_ih_l0": lambda net: (width(net, "dx_memory.weight_hh_l0", 1), *[width(net, "talk.weight", 1)] * 2, 1),
        "stream.weight_ih_l0": lambda net: (width(net, "talk.weight", 1), width(net, "beside.weight", 0), width(net, "told.weight", 0)),
    }
    for name, parts in joined.items():
        cut = was[name].split(parts(old), 1)
        was[name] = torch.cat([nn.functional.pad(x, (0, n - x.shape[1])) for x, n in zip(cut, parts(now))], 1)
    return widened(model, was)


class Kept:
    """Rendered stretches on the card; the oldest makes room."""

    def __init__(self, device: str, room: int, steps: int, bins: int, dx_bins: int) -> None:
        make_room = lambda *shape, dtype: torch.zeros((room, *shape), dtype=dtype, device=device)
        self.window = make_room(steps, bins, dtype=torch.float16)
        self.dx = make_room(steps, dx_bins, dtype=torch.float16)
        self.talk = make_room(steps, DIALS, dtype=torch.uint8)
        self.target = make_room(steps, dtype=torch.long)
        self.state = make_room(steps, dtype=torch.long)
        self.room, self.steps, self.count = room, steps, 0
        self.born = [-1] * room

    def put(self, stage: VoiceStage, scene) -> None:
        with torch.no_grad():
            window, dx = stage.spectra([scene])
        if not (torch.isfinite(window).all() and torch.isfinite(dx).all()):
            return
        k = self.count % self.room
        self.window[k], self.dx[k] = compress(window[0]).half(), compress(dx[0]).half()
        talk = np.zeros((self.steps, DIALS), np.uint8)
        middle = scene.low_bin + DIAL_STEP * np.arange(DIALS) + SPEECH_BINS / 2
        for a, b, dial in scene.voices:
            for j in range(int(np.ceil(dial - 1.4)), int(np.floor(dial + 1.4)) + 1):
                if 0 <= j < DIALS:
                    talk[a:b, j] = np.maximum(talk[a:b, j], 2 if abs(j - dial) < 0.8 else 1)
        if scene.heard is not None:
            talk *= np.stack([seen(scene.heard, x, HALF_HEARD) for x in middle], 1)[: self.steps]
        self.talk[k] = torch.from_numpy(talk).to(self.talk.device)
        self.target[k] = torch.from_numpy(scene.target[: self.steps]).to(self.target.device)
        self.state[k] = torch.from_numpy(scene.state[: self.steps]).to(self.state.device)
        self.born[k] = self.count
        self.count += 1

    def piece(self, which: list[int], first: list[int], length: int):
        """Window and DX with two steps of the past in front, talk, target, target then, state."""
        def cut(x: torch.Tensor, lead: int, void: int) -> torch.Tensor:
            rows = [x[k, max(0, a - lead) : a + length] for k, a in zip(which, first)]
            short = (0,) * 2 * (rows[0].dim() - 1)
            return torch.stack([nn.functional.pad(r, (*short, lead + length - len(r), 0), value=void) for r in rows])

        then = cut(self.target, LATE_STEPS, -2)[:, :length]
        return (cut(self.window, 2, 0).float(), cut(self.dx, 2, 0).float(), cut(self.talk, 0, 0), cut(self.target, 0, 0), then,
                cut(self.state, 0, 0))

    def whole(self, which: slice):
        """As `piece`, of whole stretches."""
        each = range(self.room)[which]
        return self.piece(list(each), [0] * len(each), self.steps)


class Lanes:
    """Each goes through a stretch, piece after piece, with its memories; at the end, or if the stretch was rendered
    anew meanwhile, it begins another. The first begin anywhere, so that they are not in step."""

    def __init__(self, kept: Kept, rng: np.random.Generator, size: int, length: int) -> None:
        self.kept, self.rng, self.length = kept, rng, length
        self.which, self.at, self.born = [0] * size, [kept.steps] * size, [-1] * size
        self.memory: list[torch.Tensor] | None = None
        self.begun = False

    def next(self):
        """The next piece of every lane, and the memories to begin with (None: none yet)."""
        goes_on = []
        for k in range(len(self.which)):
            stays = self.at[k] + self.length <= self.kept.steps and self.born[k] == self.kept.born[self.which[k]]
            if not stays:
                self.which[k] = int(self.rng.integers(0, min(self.kept.count, self.kept.room)))
                self.at[k] = 0 if self.begun else int(self.rng.integers(0, self.kept.steps - self.length + 1))
                self.born[k] = self.kept.born[self.which[k]]
            goes_on.append(stays)
        self.begun = True
        if self.memory is not None:
            keep = torch.tensor(goes_on, device=self.memory[0].device)
            self.memory = [h * keep.repeat_interleave(h.shape[1] // len(keep))[None, :, None] for h in self.memory]
        first = list(self.at)
        self.at = [a + self.length for a in self.at]
        return self.kept.piece(self.which, first, self.length), self.memory

    def remember(self, memory: list[torch.Tensor]) -> None:
        """What the lanes' pieces left behind."""
        self.memory = [h.detach() for h in memory]


def placed(logits: torch.Tensor, target: torch.Tensor) -> torch.Tensor:
    """Cross entropy of the place, mean over what counts; -1 in `target` is nobody, -2 does not count."""
    streams = logits.shape[1] - 1
    log_p = logits.log_softmax(1)
    heard = target >= 0
    near = torch.zeros_like(log_p)
    near.scatter_(1, torch.where(heard, target.clamp(max=streams - 1), torch.full_like(target, streams))[:, None], 1.0)
    spread = near[:, :streams] + 0.5 * (nn.functional.pad(near[:, : streams - 1], (0, 0, 1, 0)) + nn.functional.pad(near[:, 1:streams], (0, 0, 0, 1)))
    near = torch.cat([torch.where(heard[:, None], spread, near[:, :streams]), near[:, streams:]], 1)
    ce = -(near / near.sum(1, keepdim=True) * log_p).sum(1)
    w = torch.where(target == -2, 0.0, torch.where(heard, 1.0, 0.7))
    return (ce * w).sum() / w.sum().clamp(min=1)


def loss_of(model, window, dx, talk, target, then, state, memory=None):
    """Place, place looked back at, state, who talks: mean over what counts. Then what was told, and the memories after."""
    logits, late, told, talking, *after = model(window, dx, *(memory or ()))
    states = nn.functional.cross_entropy(told.permute(0, 2, 1), state)
    talked = nn.functional.binary_cross_entropy_with_logits(talking, talk.permute(0, 2, 1).float() / 2)
    return placed(logits, target), placed(late, then), states, talked, logits, late, told, after


def figures(rows: list) -> str:
    """Of (belief, right?) of the best places: share right, recall at precision 0.8, share believed and right of those."""
    rows = sorted(rows, reverse=True) or [(0.0, False)]
    right = np.cumsum([r for _, r in rows])
    ok = np.nonzero(right / np.arange(1, len(rows) + 1) >= 0.8)[0]
    return (f"of {len(rows)} right {right[-1] / len(rows):.3f}, recall at 0.8: {right[ok[-1]] / len(rows) if len(ok) else 0:.3f}; "
            f"P>=.5: {np.mean([p >= .5 for p, _ in rows]):.2f} right {np.mean([r for p, r in rows if p >= .5] or [0]):.2f}")


def main() -> None:
    seconds, out = float(sys.argv[1]), sys.argv[2]
    start = time.time()
    cuda = torch.cuda.is_available()
    rank, world = int(os.environ.get("RANK", 0)), int(os.environ.get("WORLD_SIZE", 1))
    if world > 1:
        torch.distributed.init_process_group("nccl" if cuda else "gloo")
        if cuda:
            torch.cuda.set_device(rank)
    workers = int(sys.argv[4]) if len(sys.argv) > 4 else max(1, (os.cpu_count() or 2) - 2)
    rate = float(sys.argv[6]) if len(sys.argv) > 6 else 2.0e-3
    seeds = 2_000_000 + 1_000_000 * int(sys.argv[5] if len(sys.argv) > 5 else 0) + 200_000 * rank
    device, length_s, room, first = ("cuda", 216.0, 560, 22) if cuda else ("cpu", 40.0, 8, 2)
    # many lanes of short pieces first, then fewer of longer ones
    plan = ((22, 640), (15, 1100)) if cuda else ((2, 120), (2, 150))
    torch.manual_seed(4)
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    model = VoiceFinder().to(device)
    if len(sys.argv) > 3 and sys.argv[3] != "-":
        grown(model, torch.load(sys.argv[3], map_location=device))
    print("parameters", sum(p.numel() for p in model.parameters()), flush=True)
    stage = VoiceStage(device, seeds + 6)
    steps = int(length_s / 0.008) // 4
    ahead: queue.Queue = queue.Queue(64)

    def fill() -> None:
        for scenes in stream_scenes(partial(make, humans=HUMANS), seeds, 1, workers, length_s):
            ahead.put(scenes[0])

    threading.Thread(target=fill, daemon=True).start()
    from voice_scene import BINS, DX_BINS

    tests = 8 if cuda else 1
    rng = np.random.default_rng(seeds)
    begun = [ahead.get() for _ in range(tests + first)]
    rng.shuffle(begun)  # the quickest to come are the easiest: a test set of these would tell little
    held_scenes, people = begun[:tests], begun[tests:]
    held, kept = Kept(device, tests, steps, BINS, DX_BINS), Kept(device, room, steps, BINS, DX_BINS)
    for where, scenes in ((held, held_scenes), (kept, people)):
        for scene in scenes:
            where.put(stage, scene)
    print("voice: first stretches after", round(time.time() - start, 1), flush=True)
    begun_at = time.time() - start
    if world > 1:
        for p in model.parameters():
            torch.distributed.broadcast(p.data, 0)
    optimiser = torch.optim.AdamW(model.parameters(), lr=3e-3, weight_decay=2e-3)
    step, fresh, shown, drawing, lanes = 0, first, begun_at, 0.0, None
    while True:
        share = (time.time() - start - begun_at) / (seconds - begun_at)
        if world > 1:  # one clock for all
            clock = torch.tensor([share], device=device)
            torch.distributed.broadcast(clock, 0)
            share = float(clock)
        if share >= 1.0:
            break
        size, piece = plan[int(share > 0.5)]
        for group in optimiser.param_groups:
            group["lr"] = rate * min(1, (step + 1) / 80) * (0.5 * (1 + np.cos(np.pi * min(1.0, share))) + 0.005)
        if drawing < RENDER * (time.time() - start - begun_at):  # else learn on what is there
            if cuda:
                torch.cuda.synchronize()
            at = time.time()
            scene = None if ahead.empty() else ahead.get()
            if scene is not None:
                fresh += 1
                people.append(scene)
                if len(people) > 400:
                    people.pop(0)
            # the same people once more, through new channels and noise
            kept.put(stage, scene or people[rng.integers(len(people))])
            if cuda:
                torch.cuda.synchronize()
            drawing += time.time() - at
        if lanes is None or lanes.length != piece:
            lanes = Lanes(kept, rng, size, piece)
        data, memory = lanes.next()
        optimiser.zero_grad()
        find, back, states, talked, *_, after = loss_of(model, *data, memory)
        lanes.remember(after)
        (find + back + 0.5 * states + 2.0 * talked).backward()
        if world > 1:
            every = torch.cat([p.grad.reshape(-1) for p in model.parameters()])
            torch.distributed.all_reduce(every)
            for p, g in zip(model.parameters(), every.split([p.numel() for p in model.parameters()])):
                p.grad.copy_(g.reshape(p.shape) / world)
        norm = nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        if torch.isfinite(norm):
            optimiser.step()
        else:  # the same on all cards: one step less, and no memory of it
            print("no step: gradient", norm.item(), flush=True)
            lanes = None
        step += 1
        if rank:
            continue
        if time.time() - start - shown > 60:
            shown = time.time() - start
            rows: list = []
            rows_late: list = []
            total = []
            model.eval()
            with torch.no_grad():
                for k in range(0, tests, 4):
                    data = held.whole(slice(k, min(k + 4, tests)))
                    f, b, s, v, logits, late, told, _ = loss_of(model, *data)
                    found(logits, held_scenes[k : k + 4], rows, 2.4)
                    found(late[..., LATE_STEPS:], held_scenes[k : k + 4], rows_late, 2.4)
                    total.append((f.item(), b.item(), s.item(), v.item(), (told.argmax(-1) == data[-1]).float().mean().item()))
            model.train()
            t = np.mean(total, 0)
            print(f"voice {shown:4.0f}s step {step} fresh {fresh} ahead {ahead.qsize()} drawing {drawing:.0f}s kept {kept.count} train {find.item():.3f}/{back.item():.3f}/{states.item():.3f}/{talked.item():.3f} "
                  f"held {t[0]:.3f}/{t[1]:.3f}/{t[2]:.3f}/{t[3]:.3f} state ok {t[4]:.3f}; {figures(rows)}; looked back: {figures(rows_late)}", flush=True)
            torch.save(model.state_dict(), out + ".part")
            os.replace(out + ".part", out)
    if rank == 0:
        torch.save(model.state_dict(), out)
    print("voice done", step, flush=True)


if __name__ == "__main__":
    main()
