"""Whole pile-ups in Morse as spectra on a graphics card, with the truth per step.

A session (people, texts, timing) comes from `hearmark.simulate.people`; its signals are added as short-time spectra,
which is exact because the transform is linear. Frame 8 ms, bin 15.625 Hz, aligned on the DX.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

import numpy as np
import torch
from torch import nn

from keyed import HOP, RATE, ROWS, STEP, WINDOW, compress
from one_receiver import known_targets, seen, slices

SPACING = 15.625
BINS = 352
DX_BINS = 25
CONTEXT = 4
ROW_NAMES = ["low quiet", "low moderate", "low disturbed", "mid quiet", "mid moderate", "mid disturbed", "mid near-vertical",
             "high quiet", "high moderate", "high disturbed"]


@dataclass
class Scene:
    """One stretch of a session, ready to be rendered: plain arrays."""

    length_s: float
    low_bin: int
    start: np.ndarray       # (n,) seconds
    bin_position: np.ndarray  # (n,) carrier in bins from the DX
    station: np.ndarray
    snr_500_db: np.ndarray  # per transmission, key-down
    edges: list             # key times of each transmission
    row: str
    impulses: float
    carriers: int
    target: np.ndarray      # (steps,) stream index, -1 none, -2 do not care
    state: np.ndarray       # (steps,) 0 open, 1 DX calls, 2 DX answers, 3 a reply is due
    contacts: list          # (first report start, stop, stream position, completed) within the stretch
    heard: np.ndarray | None = None  # (steps, 2) bins from the DX that one receiver hears; None: all


def make(seed: int, length_s: float = 90.0) -> Scene | None:
    """A stretch of a random session. Runs on a CPU core."""
    from hearmark.simulate import people, scenario

    r = random.Random(seed)
    kind = r.choices(["varied", "easy", "hard", "brutal"], [0.55, 0.1, 0.22, 0.13])[0]
    total = length_s + r.choice([0.0, 30.0, 60.0])
    sc = scenario.varied("cw", seed, total) if kind == "varied" else scenario.preset(kind, "cw", seed, None, total)
    if sc.window_low_hz == sc.window_high_hz:
        return None
    session = people.play(sc)
    t0 = total - length_s
    step_s = STEP * HOP / RATE
    steps = int(length_s / step_s)
    width = (sc.window_high_hz - sc.window_low_hz) / SPACING
    spare = BINS - 40 - width
    low = (sc.window_low_hz - sc.dx_hz) / SPACING - 20 - (r.uniform(0, spare) if spare > 0 else -r.uniform(0, -spare))
    low_bin = int(low) // 2 * 2
    start, position, station, snr, edges = [], [], [], [], []
    mistuned = r.uniform(-0.6, 0.6)
    for t in session.transmissions:
        if t.stop_s <= t0 or t.start_s >= total or t.keying_s is None or len(t.keying_s) == 0:
            continue
        where = (t.frequency_hz - sc.dx_hz) / SPACING + mistuned
        if not (low_bin - 12 < where < low_bin + BINS + 12 or abs(where) < 12):
            continue
        start.append(t.start_s - t0)
        position.append(where)
        station.append(t.station)
        snr.append(session.stations[t.station].snr_db + 7.0)
        edges.append(t.keying_s)
    state = np.zeros(steps, np.int64)
    target = np.full(steps, -1, np.int64)
    at = lambda s: int(np.clip(round((s - t0) / step_s), 0, steps))
    for t in session.transmissions:
        if t.station == 0:
            a, b = at(t.start_s), at(t.stop_s)
            answers = t.role in ("answer", "again")
            state[a:b] = 2 if answers else 1
    overs = [t for t in session.transmissions if t.station == 0]
    for t, until in zip(overs, [o.start_s for o in overs[1:]] + [total], strict=True):
        if t.role in ("answer", "again"):
            state[at(t.stop_s) : at(until)] = 3
    contacts = []
    for c in session.contacts:
        stream = ((c.frequency_hz - sc.dx_hz) / SPACING + mistuned - low_bin - CONTEXT) / 2
        inside = -0.5 < stream < (BINS - 2 * CONTEXT - 1) / 2 + 0.5
        mine = [t for t in overs if c.answered_at_s - 0.01 <= t.start_s and (not c.reports or t.start_s <= c.reports[-1][1])]
        last = max([b for _, b in c.reports], default=max([t.stop_s for t in mine], default=c.answered_at_s))
        following = min([t.start_s for t in overs if t.start_s > last - 0.3], default=total)
        if c.reports:
            a, b = at(c.answered_at_s), at(min(following + 0.8, last + 6.0))
            target[a:b] = int(round(stream)) if inside else -1
            if inside and t0 < c.reports[0][0] < total - 1:
                contacts.append((c.reports[0][0] - t0, c.reports[0][1] - t0, stream, c.completed))
        else:
            # called, never heard to reply: which stream it is may be guessed or not
            target[at(c.answered_at_s) : at(min(following + 0.8, last + 6.0))] = -2
    heard = None
    if r.random() < 0.2:
        place = 2 * target + low_bin + CONTEXT
        wide = (-19.0, 134.0) if r.random() < 0.3 else (-16.0, 16.0)
        heard = slices(r, np.isin(state, (0, 3)), step_s, (low_bin + 20, low_bin + 20 + width), wide,
                       np.where(target >= 0, place, np.nan))
        target = known_targets(target, seen(heard, place))
        contacts = []
    return Scene(length_s, low_bin, np.array(start), np.array(position), np.array(station), np.array(snr), edges,
                 sc.channel, sc.impulses_per_s * r.choice([0, 1, 1]), sc.carriers, target, state, contacts, heard)


class Stage:
    """Renders scenes to reader features."""

    def __init__(self, device: str, seed: int) -> None:
        self.device = device
        self.g = torch.Generator(device=device).manual_seed(seed)
        self.window = torch.hann_window(WINDOW, periodic=True, device=device)
        self.energy = (self.window**2).sum()

    def n(self, *shape: int) -> torch.Tensor:
        return torch.randn(shape, generator=self.g, device=self.device)

    def u(self, shape, low: float, high: float) -> torch.Tensor:
        return torch.rand(shape, generator=self.g, device=self.device) * (high - low) + low

    def taps(self, row: str, stations: int, length_s: float) -> tuple[torch.Tensor, torch.Tensor, int]:
        """Two taps of each station at 64 a second, (stations, samples), and the delay in samples at RATE."""
        m = int(length_s * 64) + 64
        if row == "flat":
            one = torch.polar(torch.ones(stations, 1, device=self.device), self.u((stations, 1), 0, 6.2831853)).expand(stations, m)
            return one, torch.zeros_like(one), 0
        delay_ms, spread = ROWS[ROW_NAMES.index(row)]
        f = torch.fft.fftfreq(m, 1 / 64, device=self.device)
        shape = torch.exp(-0.25 * (f / (spread / 2)) ** 2)
        shape = shape / torch.sqrt((shape**2).sum())
        z = torch.complex(self.n(2, stations, m), self.n(2, stations, m)) / 2**0.5
        t = torch.fft.ifft(z * shape, dim=2) * m / 2**0.5
        return t[0], t[1], max(0, round(delay_ms))

    def spectra(self, scenes: list[Scene]) -> tuple[torch.Tensor, torch.Tensor]:
        """Power over noise: window (B, frames, BINS) and DX (B, frames, DX_BINS)."""
        b = len(scenes)
        frames = int(scenes[0].length_s * RATE / HOP)
        total = BINS + DX_BINS
        field = torch.zeros(b * frames * total, 2, device=self.device)
        for s, scene in enumerate(scenes):
            self._add(field, s * frames, frames, scene)
        field = torch.view_as_complex(field).reshape(b, frames, total)
        out = []
        for count, first in ((BINS, 0), (DX_BINS, BINS)):
            hop = count // 8 if count % 8 == 0 else count * HOP / WINDOW
            n = count if count % 8 == 0 else 32
            hop = n // 8
            x = torch.complex(self.n(b, frames * hop + n), self.n(b, frames * hop + n)) / 2**0.5
            for s, scene in enumerate(scenes):
                if scene.impulses > 0:
                    k = np.random.default_rng(len(scene.start) * 1000 + s).poisson(scene.impulses * scene.length_s)
                    where = torch.randint(x.shape[1], (max(k, 1),), generator=self.g, device=self.device)
                    x[s, where] += torch.exp(self.u(max(k, 1), 0.5, 4.0)) * torch.complex(self.n(max(k, 1)), self.n(max(k, 1)))
            w = torch.hann_window(n, periodic=True, device=self.device)
            noise = torch.fft.fft(x.unfold(1, n, hop)[:, :frames] * w, dim=2) / torch.sqrt((w**2).sum())
            for s, scene in enumerate(scenes):
                if scene.heard is not None:
                    edges = torch.from_numpy(scene.heard).to(self.device).repeat_interleave(STEP, 0)
                    edges = nn.functional.pad(edges[None], (0, 0, 0, frames), mode="replicate")[0, :frames, :, None]
                    low = scene.low_bin if first == 0 else -(DX_BINS // 2)
                    bins = low + torch.arange(count, device=self.device)
                    field[s, :, first : first + count] *= (edges[:, 0] <= bins) & (bins <= edges[:, 1])
            power = (field[:, :, first : first + count] / torch.sqrt(self.energy) + noise[:, :, :count]).abs() ** 2
            out.append(power)
        level = 10 ** (self.n(b, 1, 1) * 0.8 / 10)
        return out[0] * level, out[1] * level

    def _add(self, field: torch.Tensor, first_frame: int, frames: int, scene: Scene) -> None:
        n = len(scene.start)
        if n == 0:
            return
        lengths = np.array([e[-1][1] if len(e) else 0.0 for e in scene.edges]) + 0.1
        extra = scene.carriers
        order = np.argsort(lengths)
        stations = int(scene.station.max()) + 1
        tap0, tap1, delay = self.taps(scene.row, stations + 1, scene.length_s)
        begin = 0
        total = BINS + DX_BINS
        while begin < n:
            end = begin + 1
            while end < n and (end - begin + 1) * lengths[order[end]] < 1500:
                end += 1
            chosen = order[begin:end]
            begin = end
            m = len(chosen)
            samples = int((lengths[chosen[-1]] + 0.2) * RATE) // HOP * HOP + WINDOW
            most = max(len(scene.edges[i]) for i in chosen)
            table = np.full((m, 2 * most), 1e6, np.float32)
            origin = np.floor(scene.start[chosen] / 0.008) - 8  # frame whose window begins there
            for j, i in enumerate(chosen):
                e = scene.edges[i]
                table[j, : 2 * len(e)] = e.reshape(-1) + (scene.start[i] - origin[j] * 0.008)
            edges = torch.from_numpy(table).to(self.device)
            t = (torch.arange(samples, device=self.device) + 0.5) / RATE
            key = (torch.searchsorted(edges, t.expand(m, -1).contiguous(), right=True) % 2).float()
            kernel = torch.hann_window(7, periodic=False, device=self.device)[1:-1]
            key = torch.nn.functional.conv1d(key[:, None], (kernel / kernel.sum())[None, None], padding=2)[:, 0]
            position = torch.from_numpy(scene.bin_position[chosen]).float().to(self.device)
            whole = torch.round(position)
            rest = (position - whole) * SPACING
            amplitude = torch.sqrt(0.5 * 10 ** (torch.from_numpy(scene.snr_500_db[chosen]).float().to(self.device) / 10))
            phase = self.u((m, 1), 0, 6.2831853)
            tone = torch.polar(key * amplitude[:, None], 6.2831853 * rest[:, None] * t + phase)
            absolute = torch.from_numpy(origin * 0.008).float().to(self.device)[:, None] + t
            index = (absolute * 64).clamp(0, tap0.shape[1] - 2)
            lower = index.long()
            part = (index - lower)
            who = torch.from_numpy(scene.station[chosen]).to(self.device)[:, None]
            a = tap0[who, lower] * (1 - part) + tap0[who, lower + 1] * part
            c = tap1[who, lower] * (1 - part) + tap1[who, lower + 1] * part
            late = torch.nn.functional.pad(tone, (delay, 0))[:, :samples] if delay else tone
            x = a * tone + c * late
            spectrum = torch.fft.fft(x.unfold(1, WINDOW, HOP) * self.window, dim=2)
            reach = 12
            spectrum = torch.cat([spectrum[..., -reach:], spectrum[..., : reach + 1]], 2)  # (m, k, 25)
            k = spectrum.shape[1]
            frame = torch.from_numpy(origin).long().to(self.device)[:, None] + torch.arange(k, device=self.device)
            turn = torch.polar(torch.ones_like(frame, dtype=torch.float32), 6.2831853 * (whole[:, None] * frame / 8 % 1.0))
            spectrum = spectrum * turn[..., None]
            bins = whole.long()[:, None] + torch.arange(-reach, reach + 1, device=self.device)
            for low, width, place in ((scene.low_bin, BINS, 0), (-(DX_BINS // 2), DX_BINS, BINS)):
                column = bins - low
                good = ((column >= 0) & (column < width))[:, None, :] & ((frame >= 0) & (frame < frames))[..., None]
                flat = ((first_frame + frame)[..., None] * total + column[:, None, :] + place)[good]
                field.index_add_(0, flat, torch.view_as_real(spectrum[good]))
        for _ in range(extra):  # steady carriers: one bin wide with skirts
            column = int(torch.randint(BINS - 4, (1,), generator=self.g, device=self.device)) + 2
            amplitude = 10 ** (float(self.u((), 0, 25)) / 20) * 0.7 * float(self.window.sum())
            frame = torch.arange(frames, device=self.device)
            turn = torch.polar(torch.full((frames,), amplitude, device=self.device), 6.2831853 * (column * frame / 8 % 1.0))
            for side, weight in ((-1, -0.5), (0, 1.0), (1, -0.5)):
                field.index_add_(0, (first_frame + frame) * total + column + side, torch.view_as_real(turn * weight))

    def features(self, power: torch.Tensor) -> torch.Tensor:
        """(B, frames, bins) to reader input (B, streams, steps, STEP * 9): every second bin with four on each side."""
        b, frames, bins = power.shape
        steps = frames // STEP
        x = compress(power[:, : steps * STEP])
        x = x.unfold(2, 2 * CONTEXT + 1, 2)  # (B, frames, streams, 9)
        streams = x.shape[2]
        return x.reshape(b, steps, STEP, streams, 9).permute(0, 3, 1, 2, 4).reshape(b, streams, steps, STEP * 9)
