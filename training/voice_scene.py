"""Whole pile-ups in voice as spectra on a graphics card, with the truth per step.

As `scene`, for single sideband: step 32 ms (four frames of 8 ms averaged), bin 15.625 Hz, aligned on the DX and
mirrored for the lower sideband, so that speech always lies above its suppressed carrier.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

import numpy as np
import torch

from keyed import ROWS
from one_receiver import known_targets, seen, slices
from scene import ROW_NAMES, SPACING

RATE = 8000
SIZE, HOP = 512, 64
BINS = 832
DIAL_STEP = 4
SPEECH_BINS = 192
DIALS = (BINS - SPEECH_BINS) // DIAL_STEP
DX_BINS = 208
DX_LEAD = 8
PASSES = (19.0, 173.0)
"""300 to 2700 Hz, in bins from the dial."""
HALF_HEARD = (32.0, 32.0)
"""A voice counts as heard with its middle so far inside of what a receiver passes."""


@dataclass
class VoiceScene:
    """One stretch of a session: `position` in bins from the DX, along the sideband."""

    length_s: float
    low_bin: int
    start: np.ndarray
    position: np.ndarray
    station: np.ndarray
    snr_db: np.ndarray  # in 2500 Hz while talking
    audio: list         # int16 clips
    scale: np.ndarray   # to mean power 1 while talking
    row: str
    impulses: float
    carriers: int
    target: np.ndarray
    state: np.ndarray
    contacts: list
    voices: list        # (first step, last step, dial position) of everybody who talks in the window
    heard: np.ndarray | None = None  # (steps, 2) bins from the DX that one receiver hears; None: all


def make(seed: int, length_s: float = 90.0, humans: tuple[str, ...] = ()) -> VoiceScene | None:
    """A stretch of a random session. Runs on a CPU core."""
    from dataclasses import replace

    from hearmark.simulate import people, scenario, speech

    r = random.Random(seed)
    mode = r.choice(["usb", "usb", "lsb"])
    kind = r.choices(["varied", "easy", "hard", "brutal"], [0.4, 0.1, 0.34, 0.16])[0]
    total = length_s + r.choice([0.0, 25.0, 50.0])
    sc = scenario.varied(mode, seed, total) if kind == "varied" else scenario.preset(kind, mode, seed, None, total)
    sc = replace(sc, human_speech=False)
    if sc.window_low_hz == sc.window_high_hz:
        return None
    session = people.play(sc, durations=speech)
    t0 = total - length_s
    side = -1 if mode == "lsb" else 1
    ends = sorted([(sc.window_low_hz - sc.dx_hz) * side, (sc.window_high_hz - sc.dx_hz) * side])
    width = (ends[1] - ends[0]) / SPACING
    spare = DIALS * DIAL_STEP - 40 - width
    low = ends[0] / SPACING - 20 - (r.uniform(0, spare) if spare > 0 else -r.uniform(0, -spare))
    low_bin = int(low) // DIAL_STEP * DIAL_STEP
    mistuned = r.uniform(-2, 2)
    step_s = 0.032
    steps = int(length_s / step_s)
    at = lambda s: int(np.clip(round((s - t0) / step_s), 0, steps))
    shifts = {s.index: r.choice([0, 0, r.randint(-12, 12)]) for s in session.stations}
    start, position, station, snr, audio, scale, voices = [], [], [], [], [], [], []
    for t in session.transmissions:
        if t.stop_s <= t0 or t.start_s >= total:
            continue
        where = (t.frequency_hz - sc.dx_hz) * side / SPACING + mistuned
        if not (low_bin - SPEECH_BINS < where < low_bin + BINS or abs(where) < SPEECH_BINS):
            continue
        voice = session.stations[t.station].voice
        if humans and t.station and r.random() < 0.25:
            voice = r.choice(humans)
        elif shifts[t.station] and not voice.startswith("h-"):
            voice = f"{voice}{shifts[t.station]:+d}"
        clip = speech.speak(t.text, voice)
        clip = clip[: int((t.stop_s - t.start_s) * RATE) + 1]
        if len(clip) < 200:
            continue
        top = float(np.abs(clip).max()) or 1.0
        start.append(t.start_s - t0)
        position.append(where)
        station.append(t.station)
        snr.append(session.stations[t.station].snr_db)
        audio.append((clip / top * 32000).astype(np.int16))
        scale.append(top / 32000)
        if t.station and abs(where) > 20:
            voices.append((at(t.start_s), at(t.stop_s), (where - low_bin) / DIAL_STEP))
    if not start:
        return None
    overs = [t for t in session.transmissions if t.station == 0]
    state = states(session, overs, total, steps, at)
    target = np.full(steps, -1, np.int64)
    contacts = []
    for c in session.contacts:
        dial = ((c.frequency_hz - sc.dx_hz) * side / SPACING + mistuned - low_bin) / DIAL_STEP
        inside = -0.5 < dial < DIALS - 0.5
        last = max([b for _, b in c.reports], default=c.answered_at_s)
        following = min([t.start_s for t in overs if t.start_s > last - 0.3], default=total)
        a, b = at(c.answered_at_s), at(min(following + 0.8, last + 6.0))
        if c.reports:
            target[a:b] = int(round(dial)) if inside else -1
            if inside and t0 < c.reports[0][0] < total - 1:
                contacts.append((c.reports[0][0] - t0, c.reports[0][1] - t0, dial, c.completed))
        else:
            target[a:b] = -2
    heard = None
    if r.random() < 0.15:
        place = DIAL_STEP * target + low_bin
        heard = slices(r, np.isin(state, (0, 3, 5)), step_s, (low_bin + 20, low_bin + 20 + width), PASSES,
                       np.where(target >= 0, place + SPEECH_BINS / 2, np.nan))
        target = known_targets(target, seen(heard, place + SPEECH_BINS / 2, HALF_HEARD))
        contacts = []
    return VoiceScene(length_s, low_bin, np.array(start), np.array(position), np.array(station), np.array(snr), audio,
                      np.array(scale), sc.channel, sc.impulses_per_s * r.choice([0, 1, 1]), sc.carriers, target, state,
                      contacts, voices, heard)


def states(session, overs: list, total: float, steps: int, at) -> np.ndarray:
    """0 he listens to all, 1 he sends to all, 2 he sends to one who is to give a report, 3 that report is due,
    4 he asks one for the rest of a call, 5 that is due."""
    state = np.zeros(steps, np.int64)
    for t, until in zip(overs, [o.start_s for o in overs[1:]] + [total]):
        state[at(t.start_s) : at(t.stop_s)] = 1
        if t.role not in ("answer", "again"):
            continue
        contact = next((c for c in session.contacts if c.answered_at_s - 0.05 <= t.start_s and (
            t.start_s <= max((b for _, b in c.reports), default=c.answered_at_s + 0.05))), None)
        said = [x.role for x in session.transmissions
                if contact is not None and x.station == contact.station and t.start_s < x.start_s < until]
        part = "reply" not in said and ("call" in said or not any(w in t.text.lower() for w in ("five", "fifty", "59", "report")))
        state[at(t.start_s) : at(t.stop_s)] = 4 if part else 2
        state[at(t.stop_s) : at(until)] = 5 if part else 3
    return state


class VoiceStage:
    """Renders voice scenes to power over noise."""

    def __init__(self, device: str, seed: int) -> None:
        self.device = device
        self.g = torch.Generator(device=device).manual_seed(seed)
        self.window = torch.hann_window(SIZE, periodic=True, device=device)
        self.energy = (self.window**2).sum()

    def n(self, *shape: int) -> torch.Tensor:
        return torch.randn(shape, generator=self.g, device=self.device)

    def u(self, shape, low: float, high: float) -> torch.Tensor:
        return torch.rand(shape, generator=self.g, device=self.device) * (high - low) + low

    def spectra(self, scenes: list[VoiceScene]) -> tuple[torch.Tensor, torch.Tensor]:
        """Mean power over noise a step: window (B, steps, BINS) and DX (B, steps, DX_BINS)."""
        frames = int(scenes[0].length_s / 0.008)
        steps = frames // 4
        out_w, out_d = [], []
        for scene in scenes:
            field = torch.zeros(frames * (BINS + DX_BINS), 2, device=self.device)
            self._add(field, frames, scene)
            field = torch.view_as_complex(field).reshape(frames, BINS + DX_BINS)
            level = 10 ** ((float(self.n(1)) - 0.3) / 10)  # the floor is not known exactly, and rather too high in a crowd
            for first, count, out in ((0, BINS, out_w), (BINS, DX_BINS, out_d)):
                hop = count // 8
                x = torch.complex(self.n(frames * hop + count), self.n(frames * hop + count)) / 2**0.5
                if scene.impulses > 0:
                    k = max(1, int(scene.impulses * scene.length_s))
                    where = torch.randint(len(x), (k,), generator=self.g, device=self.device)
                    x[where] += torch.exp(self.u(k, 0.5, 4.5)) * torch.complex(self.n(k), self.n(k))
                w = torch.hann_window(count, periodic=True, device=self.device)
                noise = torch.fft.fft(x.unfold(0, count, hop)[:frames] * w, dim=1) / torch.sqrt((w**2).sum())
                power = (field[:, first : first + count] + noise).abs() ** 2
                power = power[: steps * 4].reshape(steps, 4, count).mean(1) * level
                if scene.heard is not None:
                    edges = torch.from_numpy(scene.heard[:steps]).to(self.device)
                    bins = (scene.low_bin if first == 0 else -DX_LEAD) + torch.arange(count, device=self.device)
                    inside = (edges[:, :1] <= bins) & (bins <= edges[:, 1:])
                    power = torch.where(inside, power, 0.9)  # zero on the network's scale
                out.append(power)
        return torch.stack(out_w), torch.stack(out_d)

    def _taps(self, row: str, stations: int, length_s: float):
        m = int(length_s * 64) + 128
        if row == "flat":
            one = torch.polar(torch.ones(stations, 1, device=self.device), self.u((stations, 1), 0, 6.2831853)).expand(stations, m)
            return one, torch.zeros_like(one), 0
        delay_ms, spread = ROWS[ROW_NAMES.index(row)]
        f = torch.fft.fftfreq(m, 1 / 64, device=self.device)
        shape = torch.exp(-0.25 * (f / (spread / 2)) ** 2)
        shape = shape / torch.sqrt((shape**2).sum())
        z = torch.complex(self.n(2, stations, m), self.n(2, stations, m)) / 2**0.5
        t = torch.fft.ifft(z * shape, dim=2) * m / 2**0.5
        return t[0], t[1], round(delay_ms * RATE / 1000)

    def _add(self, field: torch.Tensor, frames: int, scene: VoiceScene) -> None:
        total = BINS + DX_BINS
        lengths = np.array([len(a) for a in scene.audio])
        order = np.argsort(lengths)
        stations = int(scene.station.max()) + 1
        tap0, tap1, delay = self._taps(scene.row, stations, scene.length_s)
        tilt, bump, where = self.u(stations, -4, 9), self.u(stations, 0, 8), self.u(stations, 900, 2500)
        begin = 0
        while begin < len(order):
            end = begin + 1
            while end < len(order) and (end - begin + 1) * lengths[order[end]] < 3_000_000:
                end += 1
            chosen = order[begin:end]
            begin = end
            m = len(chosen)
            samples = (int(lengths[chosen[-1]]) // HOP + 12) * HOP + SIZE
            table = np.zeros((m, samples), np.float32)
            origin = np.floor(scene.start[chosen] / 0.008) - 8
            for j, i in enumerate(chosen):
                lead = int(round((scene.start[i] - origin[j] * 0.008) * RATE))
                table[j, lead : lead + lengths[i]] = scene.audio[i] * scene.scale[i]
            x = torch.from_numpy(table).to(self.device)
            f = torch.fft.fftfreq(samples, 1 / RATE, device=self.device)
            edge = (torch.minimum(f - 300, 2700 - f) / 80 + 1).clamp(0, 1)
            who = torch.from_numpy(scene.station[chosen]).to(self.device)
            response = (tilt[who][:, None] * (f - 1500) / 2400 + bump[who][:, None] * torch.exp(-((f - where[who][:, None]) / 300) ** 2)) / 20
            spectrum = torch.fft.fft(x) * (0.5 - 0.5 * torch.cos(3.14159265 * edge)) * 2
            before = (spectrum.abs() ** 2).sum(1, keepdim=True)
            spectrum = spectrum * 10**response
            spectrum = spectrum * torch.sqrt(before / (spectrum.abs() ** 2).sum(1, keepdim=True).clamp(min=1e-9))
            # the speech has mean power 1 in the band; noise has unit power a bin of 15.625 Hz, 160 bins in 2500 Hz
            level = torch.from_numpy(10 ** (scene.snr_db[chosen] / 20)).float().to(self.device)
            x = torch.fft.ifft(spectrum) * (level / 2**0.5)[:, None]
            position = torch.from_numpy(scene.position[chosen]).float().to(self.device)
            whole = torch.round(position)
            t = torch.arange(samples, device=self.device) / RATE
            x = x * torch.polar(torch.ones(m, 1, device=self.device), 6.2831853 * ((position - whole) * SPACING)[:, None] * t)
            index = ((torch.from_numpy(origin * 0.008).float().to(self.device)[:, None] + t) * 64).clamp(0, tap0.shape[1] - 2)
            lower = index.long()
            part = index - lower
            a = tap0[who[:, None], lower] * (1 - part) + tap0[who[:, None], lower + 1] * part
            c = tap1[who[:, None], lower] * (1 - part) + tap1[who[:, None], lower + 1] * part
            late = torch.nn.functional.pad(x, (delay, 0))[:, :samples] if delay else x
            x = a * x + c * late
            reach = 180
            s = torch.fft.fft(x.unfold(1, SIZE, HOP) * self.window, dim=2)[..., :reach]
            # unit noise density a bin: noise in 2500 Hz is one, so a sample at 8 kHz carries 3.2 of it
            s = s / torch.sqrt(self.energy * (RATE / 2500.0))
            k = s.shape[1]
            frame = torch.from_numpy(origin).long().to(self.device)[:, None] + torch.arange(k, device=self.device)
            turn = torch.polar(torch.ones_like(frame, dtype=torch.float32), 6.2831853 * (whole[:, None] * frame / 8 % 1.0))
            s = s * turn[..., None]
            bins = whole.long()[:, None] + torch.arange(reach, device=self.device)
            for low, width, place in ((scene.low_bin, BINS, 0), (-DX_LEAD, DX_BINS, BINS)):
                column = bins - low
                good = ((column >= 0) & (column < width))[:, None, :] & ((frame >= 0) & (frame < frames))[..., None]
                flat = (frame[..., None] * total + column[:, None, :] + place)[good]
                field.index_add_(0, flat, torch.view_as_real(s[good]))
        for _ in range(scene.carriers):
            column = int(torch.randint(BINS - 4, (1,), generator=self.g, device=self.device)) + 2
            amplitude = 10 ** (float(self.u((), 0, 25)) / 20) * 8
            frame = torch.arange(frames, device=self.device)
            turn = torch.polar(torch.full((frames,), amplitude, device=self.device), 6.2831853 * (column * frame / 8 % 1.0))
            for side, weight in ((-1, -0.5), (0, 1.0), (1, -0.5)):
                field.index_add_(0, frame * total + column + side, torch.view_as_real(turn * weight))
