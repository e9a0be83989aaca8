"""Trains the Morse reader: python reader.py SECONDS OUT.pt [START.pt]; prints errors on its own held-back seeds."""

from __future__ import annotations

import sys
import time

import torch
from torch import nn

from keyed import ALPHABET, BINS, LENGTH_S, STEP, Maker


class Reader(nn.Module):
    """Spectra around one carrier to characters; one step is 32 ms."""

    def __init__(self, hidden: int = 112, inner: int = 64) -> None:
        super().__init__()
        self.hidden = hidden
        self.front = nn.Linear(STEP * BINS, inner)
        self.first = nn.GRU(inner, hidden, batch_first=True)
        self.second = nn.GRU(hidden, hidden, batch_first=True)
        self.out = nn.Linear(hidden, len(ALPHABET) + 1)

    def forward(self, x: torch.Tensor, h1: torch.Tensor | None = None, h2: torch.Tensor | None = None):
        y, h1 = self.first(torch.relu(self.front(x)), h1)
        y, h2 = self.second(y, h2)
        return self.out(y), y, h1, h2


def widened(model: nn.Module, old: dict) -> nn.Module:
    """`model` begins as the smaller network `old`: its units first, and nothing of the new units flows into them."""
    with torch.no_grad():
        for name, p in model.named_parameters():
            o = old[name]
            gates = 3 if name.split(".")[-1][:4] in ("weig", "bias") and "_l0" in name else 1
            n, m = p.shape[0] // gates, o.shape[0] // gates
            for g in range(gates):
                rows, from_rows = slice(g * n, g * n + m), slice(g * m, (g + 1) * m)
                if p.dim() == 1:
                    p[rows] = o[from_rows]
                else:
                    p[rows] = 0.0
                    p[rows, : o.shape[1]] = o[from_rows]
    return model


def greedy(logits: torch.Tensor) -> list[str]:
    best = logits.argmax(-1).cpu().numpy()
    out = []
    for row in best:
        text, last = "", 0
        for c in row:
            if c != last and c:
                text += ALPHABET[c - 1]
            last = c
        out.append(" ".join(text.split()))
    return out


def distance(a: str, b: str) -> int:
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        last, row[0] = row[0], i
        for j, y in enumerate(b, 1):
            last, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, last + (x != y))
    return row[-1]


@torch.no_grad()
def errors(model: Reader, maker: Maker, snr_db: float, row=None, b: int = 256, neighbour: bool = False) -> float:
    n = int(LENGTH_S * 1000)
    x = torch.complex(maker.n((b, n)), maker.n((b, n))) / 2**0.5
    wpm = torch.full((b,), 25.0, device=maker.device)
    key, chars, sent = maker.keys(wpm, maker.u(b, 0.3, 0.6), torch.full_like(wpm, LENGTH_S - 0.6))
    x = x + maker.signal(key, maker.u(b, -15, 15), torch.full_like(wpm, snr_db), 1.0 if row is None else 0.0, row)
    if neighbour:
        k2, _, _ = maker.keys(wpm, maker.u(b, 0.3, 0.6), torch.full_like(wpm, LENGTH_S))
        x = x + maker.signal(k2, torch.full_like(wpm, 150.0), torch.full_like(wpm, snr_db + 20), 1.0)
    got = greedy(model(maker.spectra(x))[0])
    wrong = total = 0
    for i in range(b):
        want = " ".join("".join(ALPHABET[c] for c in chars[i][sent[i]].tolist()).split())
        wrong += distance(got[i], want)
        total += len(want)
    return wrong / max(total, 1)


def main() -> None:
    seconds, out = float(sys.argv[1]), sys.argv[2]
    device = "cuda" if torch.cuda.is_available() else "cpu"
    b = 512 if device == "cuda" else 16
    torch.manual_seed(1)
    torch.backends.cuda.matmul.allow_tf32 = True
    maker, held = Maker(device, 1, 200_000 if device == "cuda" else 2000), Maker(device, 999, 20_000 if device == "cuda" else 500)
    model = Reader().to(device)
    if len(sys.argv) > 3:
        widened(model, torch.load(sys.argv[3], map_location=device))
    optimiser = torch.optim.AdamW(model.parameters(), lr=3e-3, weight_decay=1e-3)
    start, step, shown = time.time(), 0, 0.0
    while (passed := time.time() - start) < seconds:
        part = passed / seconds
        rate = 3e-3 * min(1.0, (step + 1) / 200) * (0.5 * (1 + torch.cos(torch.tensor(3.14159 * part)).item()) + 0.005)
        for group in optimiser.param_groups:
            group["lr"] = rate
        x, targets, lengths = maker.batch(b)
        logits = model(x)[0].log_softmax(-1).transpose(0, 1)
        loss = nn.functional.ctc_loss(logits, targets, torch.full((b,), x.shape[1], dtype=torch.long, device=device), lengths,
                                      zero_infinity=True, reduction="sum") / lengths.sum()
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimiser.step()
        step += 1
        if time.time() - start - shown > 30:
            shown = time.time() - start
            model.eval()
            print(f"{shown:5.0f}s step {step} loss {loss.item():.3f} cer: -3 dB {errors(model, held, -3):.3f}, -1.5 dB {errors(model, held, -1.5):.3f}, "
                  f"3 dB {errors(model, held, 3):.3f}, fading 10 dB {errors(model, held, 10, (1, 0.5)):.3f}, neighbour 1 dB {errors(model, held, 1.0, None, 256, True):.3f}", flush=True)
            model.train()
            torch.save(model.state_dict(), out)
    torch.save(model.state_dict(), out)


if __name__ == "__main__":
    main()
