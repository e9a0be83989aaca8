"""Made-up Morse on a graphics card: many short stretches of one carrier with its neighbours, as spectra.

Recipe of the data (all drawn anew for every batch, from the seed alone): text is half random groups, half calls and
exchanges; 14-40 WPM; hands with dot jitter up to 12 %, dash ratio 2.6-3.6, gaps with 15 % jitter, run-together and
stretched spacing; 1-3 stations one after the other on the carrier, after silences of up to 20 s; neighbours 33-220 Hz away up to 25 dB stronger;
weaker stations on the same spot; steady carriers, crashes; flat or two-path Rayleigh fading with the Doppler spreads
and delays of ITU-R F.1487; key-down SNR in 500 Hz from -7 to +25 dB.
"""

from __future__ import annotations

import random

import numpy as np
import torch

ALPHABET = " ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789/?=+.,-&"
"""Index 0 of the network is the blank, index i+1 is ALPHABET[i]; + is AR, & is BK, = is BT."""
CODES = {
    "A": ".-", "B": "-...", "C": "-.-.", "D": "-..", "E": ".", "F": "..-.", "G": "--.", "H": "....", "I": "..",
    "J": ".---", "K": "-.-", "L": ".-..", "M": "--", "N": "-.", "O": "---", "P": ".--.", "Q": "--.-", "R": ".-.",
    "S": "...", "T": "-", "U": "..-", "V": "...-", "W": ".--", "X": "-..-", "Y": "-.--", "Z": "--..",
    "1": ".----", "2": "..---", "3": "...--", "4": "....-", "5": ".....", "6": "-....", "7": "--...", "8": "---..",
    "9": "----.", "0": "-----", ".": ".-.-.-", ",": "--..--", "?": "..--..", "-": "-....-", "/": "-..-.",
    "=": "-...-", "+": ".-.-.", "&": "-...-.-",
}  # fmt: skip
RATE = 1000
WINDOW, HOP = 64, 8
BINS = 9
STEP = 4
LENGTH_S = 24.0
ROWS = [(0.5, 0.5), (2, 1.5), (6, 10), (0.5, 0.1), (1, 0.5), (2, 1), (7, 1), (1, 0.5), (3, 10), (7, 30)]


def call(r: random.Random) -> str:
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    head = r.choice([r.choice("BFGIKNRWM"), r.choice(letters) + r.choice(letters), r.choice(letters) + r.choice(letters),
                     r.choice("23456789") + r.choice(letters), r.choice(letters) + r.choice("23456789")])
    made = head + r.choice("0123456789") + "".join(r.choice(letters) for _ in range(r.choice([1, 2, 2, 3, 3, 3, 3])))
    x = r.random()
    if x < 0.05:
        made += r.choice(["/P", "/M", "/QRP", "/7", "/MM", "/A"])
    elif x < 0.08:
        made = r.choice(letters) + r.choice(letters + "123456789") + "/" + made
    return made


def text(r: random.Random) -> str:
    kind = r.random()
    letters = ALPHABET[1:37]
    if kind < 0.35:
        return " ".join("".join(r.choice(letters) for _ in range(r.choice([1, 2, 3, 4, 5, 5, 5, 6, 7]))) for _ in range(9))
    if kind < 0.42:
        return " ".join("".join(r.choice(ALPHABET[1:]) for _ in range(r.randint(2, 6))) for _ in range(9))
    own, other = call(r), call(r)
    report = r.choice(["5NN", "5NN", "5NN", "599", "ENN", "5NN5NN", "5NN 5NN", "579", "559", "5NN 5NN 5NN"])
    if kind < 0.62:
        return r.choice([own, f"{own} {own}", f"DE {own}", f"{own} {own} {own}", f"{own} DE {own}", own + " K", f"DE {own} {own}"])
    if kind < 0.78:
        return r.choice([f"R {report} TU", report, f"TU {report}", f"R R {report}", f"{report} TU", f"{report} TU 73",
                         f"DE {own} {report}", f"{own} {report} TU", f"{report} &", f"R {report} {report} TU", f"QSL {report}",
                         f"{report} {own}", f"& {report} TU &", f"R UR {report}"])
    if kind < 0.9:
        return r.choice([f"{other} {report}", f"{other} {report} K", f"{other} {other} {report}", f"{other} {report} &",
                         f"{other}? {other}?", f"{other[:3]}?", f"{other[-3:]}? {other[-3:]}?", f"{report} {other}",
                         f"{other} TU {report}", f"& {other} {report} &", f"{other} UR {report} +"])
    return r.choice([f"TU {own}", f"TU UP", f"R TU {own} UP", f"73 {own}", f"QRZ? {own} UP 5", f"CQ CQ DE {own} {own} UP",
                     f"TU UP {r.randint(1, 9)}", f"CQ {own} UP", f"QRZ UP", f"AGN? {other}", f"NAME {own} = WX FB = RIG 100W",
                     f"TEST {own}", f"EE {own}", f"UP UP", f"NR? NR?", f"QSL TU {own} QRZ", f"EU ONLY {own}", "73 EE"])


def pool(count: int, seed: int, longest: int = 56) -> np.ndarray:
    """Texts as indices into ALPHABET, -1 beyond the end; half of them run on into another text. Shape (count, longest)."""
    r = random.Random(seed)
    out = np.full((count, longest), -1, np.int16)
    for i in range(count):
        t = text(r)
        while r.random() < 0.5 and len(t) < longest - 8:
            t += " " + text(r)
        t = t[: longest - 1].strip() + " "
        out[i, : len(t)] = [ALPHABET.index(c) for c in t]
    return out


def _table() -> torch.Tensor:
    """Element kinds of each character: 0 none, 1 dot, 2 dash. Shape (characters, 7)."""
    table = torch.zeros(len(ALPHABET), 7, dtype=torch.long)
    for i, c in enumerate(ALPHABET):
        for j, e in enumerate(CODES.get(c, "")):
            table[i, j] = 1 if e == "." else 2
    return table


class Maker:
    """Batches of spectra and their texts, on `device`."""

    def __init__(self, device: str, seed: int, texts: int = 200_000) -> None:
        self.device = device
        self.g = torch.Generator(device=device).manual_seed(seed)
        self.texts = torch.from_numpy(pool(texts, seed)).long().to(device)
        self.table = _table().to(device)
        self.window = torch.hann_window(WINDOW, periodic=True, device=device)

    def u(self, shape: tuple[int, ...] | int, low: float, high: float) -> torch.Tensor:
        shape = (shape,) if isinstance(shape, int) else shape
        return torch.rand(shape, generator=self.g, device=self.device) * (high - low) + low

    def n(self, shape: tuple[int, ...]) -> torch.Tensor:
        return torch.randn(shape, generator=self.g, device=self.device)

    def keys(self, wpm: torch.Tensor, start: torch.Tensor, limit: torch.Tensor, hand: bool = True
             ) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
        """Key state (B, samples), characters (B, L), which of them were sent whole (B, L)."""
        b = wpm.shape[0]
        texts = self.texts[torch.randint(len(self.texts), (b,), generator=self.g, device=self.device)]
        return self.key(texts, wpm, start, limit, hand)

    def key(self, texts: torch.Tensor, wpm: torch.Tensor, start: torch.Tensor, limit: torch.Tensor, hand: bool = True
            ) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
        b, length = texts.shape
        chars = texts.clamp(min=0)
        there = texts >= 0
        kinds = self.table[chars] * there[..., None]
        unit = (1.2 / wpm)[:, None, None]
        machine = (self.u(b, 0, 1) < (0.3 if hand else 1.0))[:, None, None].float()
        jitter = (1 - machine) * self.u((b, 1, 1), 0.02, 0.13)
        ratio = machine * 3.0 + (1 - machine) * self.u((b, 1, 1), 2.6, 3.6)
        on = torch.where(kinds == 2, ratio, torch.ones_like(ratio)) * (kinds > 0)
        on = on * (1 + jitter * self.n(tuple(on.shape)).clamp(-2.5, 2.5)) * unit
        gap_jitter = (1 - machine) * self.u((b, 1, 1), 0.02, 0.18)
        inside = 1 - machine + machine
        inside = machine + (1 - machine) * self.u((b, 1, 1), 0.85, 1.15)
        gap = inside * (kinds > 0) * (1 + gap_jitter * self.n(tuple(on.shape)).clamp(-2.5, 2.5)) * unit
        last = (kinds > 0) & torch.nn.functional.pad(kinds[..., 1:] == 0, (0, 1), value=True)
        between = machine[..., 0] * 3.0 + (1 - machine[..., 0]) * (3.0 + 0.45 * self.n((b, 1))).clamp(2.2, 4.6)
        between = between * (1 + gap_jitter[..., 0] * self.n((b, length)).clamp(-2.5, 2.5))
        run = (self.u((b, length), 0, 1) < self.u((b, 1), 0, 1).lt(0.15) * 0.2) & (machine[..., 0] < 0.5)
        between = torch.where(run, between * 0.6, between) * unit[..., 0]
        gap = torch.where(last, between[..., None].expand_as(gap), gap)
        word = machine[..., 0] * 7.0 + (1 - machine[..., 0]) * torch.exp(1.9 + 0.25 * self.n((b, 1))).clamp(5.0, 13.0)
        extra = (word * (1 + 0.15 * self.n((b, length)).clamp(-2, 2)) - 3.0).clamp(min=1.6) * unit[..., 0]
        pause = (self.u((b, length), 0, 1) < 0.08) * self.u((b, length), 0.3, 3.0)
        space = there & (chars == 0)
        gap[..., 6] = torch.where(space, extra + pause, gap[..., 6])
        spans = torch.stack([on, gap], -1).reshape(b, -1)
        edges = torch.cumsum(torch.cat([start[:, None], spans], 1), 1)
        ends = edges[:, 1:].reshape(b, length, 14)[..., 13]
        ended = ends - torch.where(space, torch.zeros_like(between), between)  # key-up of the last element
        sent = there & (ended < limit[:, None])
        sent = torch.cumprod(sent.long(), 1).bool() | (there & ~sent & False)
        sent = sent & there
        stop = torch.where(sent, ended, torch.zeros_like(ended)).amax(1)
        t = (torch.arange(int(LENGTH_S * RATE), device=self.device) + 0.5) / RATE
        index = torch.searchsorted(edges.contiguous(), t.expand(b, -1).contiguous(), right=True)
        key = ((index % 2) == 1) & (t[None] <= stop[:, None])
        # a last word always ends with its space
        return key.float(), chars, sent

    def shape(self, key: torch.Tensor) -> torch.Tensor:
        """Raised-cosine edges of 3-8 ms (one length a batch)."""
        n = int(torch.randint(3, 9, (1,), generator=self.g, device=self.device))
        kernel = torch.hann_window(n + 2, periodic=False, device=self.device)[1:-1]
        kernel = kernel / kernel.sum()
        pad = torch.nn.functional.pad(key[:, None], (n // 2, n - 1 - n // 2))
        return torch.nn.functional.conv1d(pad, kernel[None, None])[:, 0]

    def fading(self, b: int, flat_share: float, row: tuple[float, float] | None = None) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
        """Two taps (B, samples), mean power 1/2 each, and the delay in samples."""
        n = int(LENGTH_S * RATE)
        m = 1024  # taps at 1024 / 24 s = 43 a second; faster spreads are rare and look like noise anyway
        pick = torch.randint(len(ROWS), (b,), generator=self.g, device=self.device)
        rows = torch.tensor(ROWS if row is None else [row] * len(ROWS), device=self.device)[pick]
        sigma = rows[:, 1] / 2
        f = torch.fft.fftfreq(m, LENGTH_S / m, device=self.device)
        shape = torch.exp(-0.25 * (f[None] / sigma[:, None]) ** 2)  # amplitude of a Gaussian power spectrum
        shape = shape / torch.sqrt((shape**2).sum(1, keepdim=True))
        taps = []
        for _ in range(2):
            z = torch.complex(self.n((b, m)), self.n((b, m))) / 2**0.5
            tap = torch.fft.ifft(z * shape, dim=1) * m
            taps.append(tap / 2**0.5)
        flat = (self.u(b, 0, 1) < flat_share)[:, None]
        one = torch.polar(torch.ones(b, 1, device=self.device), self.u((b, 1), 0, 6.2831853))
        low0 = torch.where(flat, one.expand(b, m), taps[0])
        low1 = torch.where(flat, torch.zeros_like(low0), taps[1])
        up = lambda x: torch.complex(
            torch.nn.functional.interpolate(x.real[:, None], size=n, mode="linear", align_corners=True)[:, 0],
            torch.nn.functional.interpolate(x.imag[:, None], size=n, mode="linear", align_corners=True)[:, 0])
        return up(low0), up(low1), rows[:, 0].round().long()

    def signal(self, key: torch.Tensor, offset: torch.Tensor, snr_db: torch.Tensor, flat_share: float = 0.3,
               row: tuple[float, float] | None = None) -> torch.Tensor:
        """Faded complex signal at RATE; `snr_db` key-down in 500 Hz over noise of unit variance a sample."""
        b, n = key.shape
        envelope = self.shape(key) * torch.sqrt(0.5 * 10 ** (snr_db / 10))[:, None]
        t = torch.arange(n, device=self.device) / RATE
        chirp = self.n((b, 1)) * 1.0
        tone = torch.polar(envelope, 6.2831853 * (offset[:, None] * t + chirp * t * 0.05) + self.u((b, 1), 0, 6.28))
        a, c, delay = self.fading(b, flat_share, row)
        index = (torch.arange(n, device=self.device)[None] - delay[:, None]).clamp(min=0)
        return a * tone + c * torch.gather(tone, 1, index)

    def spectra(self, x: torch.Tensor) -> torch.Tensor:
        """Features (B, steps, STEP * BINS): compressed power over noise."""
        frames = x.unfold(1, WINDOW, HOP) * self.window
        power = torch.fft.fft(frames, dim=2).abs() ** 2 / (self.window**2).sum()
        half = BINS // 2
        power = torch.cat([power[..., -half:], power[..., : half + 1]], 2)
        steps = power.shape[1] // STEP
        return compress(power[:, : steps * STEP]).reshape(x.shape[0], steps, STEP * BINS)

    def batch(self, b: int) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
        """Features, flat targets (1-based), target lengths."""
        n = int(LENGTH_S * RATE)
        x = torch.complex(self.n((b, n)), self.n((b, n))) / 2**0.5
        segments = torch.multinomial(torch.tensor([0.07, 0.43, 0.3, 0.2], device=self.device), b, True, generator=self.g)
        cuts = torch.sort(self.u((b, 2), 1.5, LENGTH_S - 1.5), 1).values
        snr = self.u(b, -7, 25)
        characters, masks = [], []
        for k in range(3):
            active = segments > k
            begin = torch.zeros(b, device=self.device) if k == 0 else cuts[:, k - 1]
            end = torch.where(segments == k + 1, torch.full_like(snr, LENGTH_S - 0.5), cuts[:, min(k, 1)])
            start = begin + self.u(b, 0.05, 1.2)
            quiet = (self.u(b, 0, 1) < 0.4).float()  # what is kept of a carrier must not drift while nobody sends
            start = start + quiet * self.u(b, 0, 1) * (end - start - 3.0).clamp(min=0)
            key, chars, sent = self.keys(self.u(b, 14, 40), start, end - 0.3)
            key = key * active[:, None]
            level = snr + self.n((b,)) * 4 * (k > 0)
            x = x + self.signal(key, self.u(b, -19, 19), level)
            characters.append(chars + 1)
            masks.append(sent & active[:, None])
        if torch.rand((), generator=self.g, device=self.device) < 0.9:
            for k in range(4):
                key, _, _ = self.keys(self.u(b, 14, 40), self.u(b, -4, 6), self.u(b, 4, LENGTH_S))
                kind = self.u(b, 0, 1)
                key = torch.where((kind < 0.04)[:, None], torch.ones_like(key), key) * (kind < 0.5)[:, None]
                sign = torch.where(self.u(b, 0, 1) < 0.5, -1.0, 1.0)
                x = x + self.signal(key, sign * self.u(b, 36, 200) , torch.minimum(snr + self.u(b, -15, 26), torch.full_like(snr, 38)))
            key, _, _ = self.keys(self.u(b, 14, 40), self.u(b, -3, 8), self.u(b, 4, LENGTH_S))
            key = key * (self.u(b, 0, 1) < 0.25)[:, None]
            x = x + self.signal(key, self.u(b, -25, 25), snr - self.u(b, 7, 25))
        if torch.rand((), generator=self.g, device=self.device) < 0.3:
            crash = (self.u((b, n), 0, 1) < 0.001) * torch.exp(self.u((b, n), 1, 5))
            x = x + crash * torch.complex(self.n((b, n)), self.n((b, n)))
        x = x * 10 ** (self.n((b, 1)) * 0.8 / 20)
        mask = torch.cat(masks, 1)
        return self.spectra(x), torch.cat(characters, 1)[mask], mask.sum(1)


def compress(ratio: torch.Tensor) -> torch.Tensor:
    """Power over noise to the network's scale: about -1 to 5."""
    return torch.log10(ratio + 0.1).clamp(max=5.0)
