"""Trains the network that hears a finished transmission in both directions of time: python bothways.py SECONDS READER.pt OUT.pt

The reader stays as it is. It hears a short transmission twice, as `modes/rehearing.py` does; the network here sees what
the reader then knows at each step, and the spectrum itself, from both ends, and corrects the reader's logits. It begins
as no correction at all. Recipe: seed 21, held back 22; transmissions of 2.5 to 8 s, three in four with a call, 16 to 38
WPM by the hands of `keyed.py`, key-down SNR 0 to 20 dB in 500 Hz, three quarters through rows of ITU-R F.1487; carriers
up to a bin beside the middle. Adam, 3e-3 falling as a cosine, batches of 24; on one processor core 13 minutes.
"""

from __future__ import annotations

import random
import sys
import time

import numpy as np
import torch
from torch import nn

import keyed
from keyed import ALPHABET, BINS, STEP, Maker
from reader import Reader, distance, greedy

SECONDS = ((3.2, 0.35), (4.5, 0.35), (6.0, 0.2), (8.0, 0.1))
BEFORE, BETWEEN = 40, 60
LETTERS = 16


class BothWays(nn.Module):
    """What to add to the reader's logits, (B, T, 45), from what it knows (B, T, 112) and the spectra (B, T, 36)."""

    def __init__(self, known: int = 112, hidden: int = 88) -> None:
        super().__init__()
        self.pair = nn.GRU(known + STEP * BINS, hidden, batch_first=True, bidirectional=True)
        self.out = nn.Linear(2 * hidden, len(ALPHABET) + 1)
        nn.init.zeros_(self.out.weight)
        nn.init.zeros_(self.out.bias)

    def forward(self, hidden: torch.Tensor, x: torch.Tensor) -> torch.Tensor:
        return self.out(self.pair(torch.cat([hidden, x], -1))[0])


def short_text(r: random.Random) -> str:
    """What is heard again: at most `LETTERS` letters, mostly a call sent once."""
    while True:
        own, kind = keyed.call(r), r.random()
        made = own
        if 0.55 < kind < 0.75:
            made = r.choice([f"{own} {own}", f"DE {own}", f"{own} K", f"{own} 5NN", f"R {own}", f"{own[-3:]} {own}"])
        elif kind >= 0.75:
            made = keyed.text(r)
        if len(made) <= LETTERS:
            return made


class Short(Maker):
    """Single short transmissions; the length of all in a batch is one of `SECONDS`."""

    def __init__(self, seed: int, texts: int) -> None:
        super().__init__("cpu", seed, 1000)
        r = random.Random(seed)
        pool = np.full((texts, LETTERS + 2), -1, np.int16)
        for row in pool:
            t = short_text(r) + " "
            row[: len(t)] = [ALPHABET.index(c) for c in t]
        self.texts = torch.from_numpy(pool).long()
        self.r = r

    def batch(self, b: int, snr_db: tuple[float, float] = (0.0, 20.0), row: tuple[float, float] | None = None):
        """Features (B, steps, 36), characters (B, L) from 1, which were sent, at one length."""
        keyed.LENGTH_S = self.r.choices([s for s, _ in SECONDS], [w for _, w in SECONDS])[0]
        n = int(keyed.LENGTH_S * keyed.RATE)
        x = torch.complex(self.n((b, n)), self.n((b, n))) / 2**0.5
        wpm = self.u(b, 16, 38)
        key, chars, sent = self.keys(wpm, self.u(b, 0.2, 0.7), torch.full_like(wpm, keyed.LENGTH_S - 0.5))
        level = self.u(b, *snr_db) + 10 * torch.log10(wpm / 25)
        x = x + self.signal(key, self.u(b, -15, 15), level, 0.25 if row is None else 0.0, row)
        if self.r.random() < 0.4:
            for sign in (-1.0, 1.0):
                other, _, _ = self.keys(self.u(b, 14, 40), self.u(b, -3, 3), torch.full_like(wpm, keyed.LENGTH_S))
                other = other * (self.u(b, 0, 1) < 0.4)[:, None]
                x = x + self.signal(other, sign * self.u(b, 60, 220), level + self.u(b, -20, 15))
        x = x * 10 ** (self.n((b, 1)) * 0.5 / 20)
        return self.spectra(x), chars + 1, sent


def heard(reader: Reader, noise: torch.Tensor, x: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
    """The reader's logits and what it knows of the second hearing and the silence after it."""
    b = x.shape[0]
    still = noise.expand(b, -1, -1)
    first, then, last = BEFORE // STEP, BETWEEN // STEP, x.shape[1]
    with torch.no_grad():
        logits, hidden, _, _ = reader(torch.cat([still[:, :first], x, still[:, first : first + then], x, still[:, first + then :]], 1))
    begin = first + last + then
    return logits[:, begin:], hidden[:, begin:]


def rows_of(reader: Reader, model: BothWays, noise: torch.Tensor, x: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
    logits, hidden = heard(reader, noise, x)
    tail = noise[:, (BEFORE + BETWEEN) // STEP :].expand(x.shape[0], -1, -1)
    return logits, logits + model(hidden, torch.cat([x, tail], 1))


@torch.no_grad()
def wrong(reader: Reader, model: BothWays, noise: torch.Tensor, cases: list) -> str:
    told = []
    for name, batches in cases:
        count = np.zeros((2, 2))
        texts = 0
        for x, chars, sent in batches:
            for k, logits in enumerate(rows_of(reader, model, noise, x)):
                for i, got in enumerate(greedy(logits)):
                    want = " ".join("".join(ALPHABET[c - 1] for c in chars[i][sent[i]].tolist()).split())
                    count[k] += (distance(got, want) / max(len(want), 1), got != want)
            texts += len(x)
        share = count / texts
        told.append(f"{name}: {share[0, 0]:.3f} {share[0, 1]:.3f} -> {share[1, 0]:.3f} {share[1, 1]:.3f}")
    return "; ".join(told)


def main() -> None:
    seconds, where, out = float(sys.argv[1]), sys.argv[2], sys.argv[3]
    from hearmark.modes.network import compress
    from hearmark.spectrum.transform import still_noise

    torch.manual_seed(21)
    torch.set_num_threads(1)
    reader = Reader()
    reader.load_state_dict(torch.load(where, map_location="cpu"))
    reader.eval()
    noise = torch.from_numpy(compress(still_noise(BINS, BEFORE + 2 * BETWEEN))).reshape(1, -1, STEP * BINS)
    held = Short(22, 5000)
    cases = [("white 3 dB", [held.batch(40, (3.0, 3.0), (0.5, 0.0001)) for _ in range(2)])]
    cases += [("moderate 14 dB", [held.batch(40, (14.0, 14.0), (1, 0.5)) for _ in range(6)])]
    maker, model = Short(21, 60_000), BothWays()
    optimiser = torch.optim.AdamW(model.parameters(), lr=3e-3, weight_decay=1e-4)
    start, step, shown, mean = time.time(), 0, -1e9, 0.0
    while (passed := time.time() - start) < seconds:
        for group in optimiser.param_groups:
            group["lr"] = 3e-3 * min(1.0, (step + 1) / 30) * (0.5 * (1 + np.cos(np.pi * passed / seconds)) + 0.005)
        if passed - shown > 100:
            shown = passed
            print(f"{passed:4.0f}s step {step} loss {mean:.3f} characters, texts wrong by the reader -> both ways: {wrong(reader, model, noise, cases)}", flush=True)
            torch.save(model.state_dict(), out)
        x, chars, sent = maker.batch(24)
        lengths = sent.sum(1)
        logits = rows_of(reader, model, noise, x)[1].log_softmax(-1).transpose(0, 1)
        steps = torch.full((len(x),), logits.shape[0], dtype=torch.long)
        loss = nn.functional.ctc_loss(logits, chars[sent], steps, lengths, zero_infinity=True, reduction="sum") / lengths.sum()
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimiser.step()
        step += 1
        mean = loss.item() if step == 1 else 0.97 * mean + 0.03 * loss.item()
    print(f"end, step {step} loss {mean:.3f}: {wrong(reader, model, noise, cases)}", flush=True)
    torch.save(model.state_dict(), out)


if __name__ == "__main__":
    main()
