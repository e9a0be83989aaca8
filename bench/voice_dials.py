"""Voices heard, and their dials, on recorded people whom nobody trained on (Spanish and Russian); bounds beside.

2 s of speech in moderate mid-latitude fading, dials anywhere. "Prior": with round figures a little likelier. The
recordings are Debian's asterisk-core-sounds-es-wav and -ru-wav.

    python bench/voice_dials.py [--quick] [--picture docs/voice_dials.png]
"""

from __future__ import annotations

import argparse
import random

import numpy as np

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Block, Emission
from hearmark.simulate import calls, talkers
from hearmark.simulate.talkers import Talker

SEED, RATE_HZ, CENTER_HZ = 72_000, 24_000.0, 18_150_000.0
LEVELS_DB = (15.0, 10.0, 6.0, 3.0, 0.0, -3.0)
VOICES = ("h-es", "h-es-2", "h-es-3", "h-ru", "h-ru-2", "h-ru-3")


def heard(sent: list[Talker], seconds: float, seed: int) -> list[Emission]:
    samples = talkers.band(sent, seconds, RATE_HZ, CENTER_HZ, np.random.default_rng(seed))
    engine = Engine(EngineConfig(CENTER_HZ - 11_000, "usb", CENTER_HZ - 9_400, CENTER_HZ + 7_000))
    kept: dict[int, Emission] = {}
    for k in range(0, len(samples), 2_400):
        events = engine.feed(Block(k, RATE_HZ, CENTER_HZ, samples[k : k + 2_400]))
        kept.update((e.id, e) for e in events if isinstance(e, Emission))
    return [e for e in kept.values() if e.stop_s is None or e.stop_s > e.start_s]


def talker(r: random.Random, dial_hz: float, snr_db: float, start_s: float) -> Talker:
    text = f"{calls.caller(r)[0]} {calls.caller(r)[0]}"
    return Talker(text, r.choice(VOICES), dial_hz, snr_db, start_s, 2.0, "mid moderate")


def picture(path: str, curve: list[tuple[float, float, float, float]]) -> None:
    """Error of the dial, and share of voices heard, over SNR; rows of SNR, median, 90 % and share."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    snr_db, median_hz, most_hz, share = (list(column) for column in zip(*sorted(curve), strict=True))
    figure, (left, right) = plt.subplots(1, 2, figsize=(8, 3.6), layout="constrained")
    left.semilogy(snr_db, median_hz, "o-", color="#0072B2", label="median")
    left.semilogy(snr_db, most_hz, "^--", color="#D55E00", label="90 % within")
    left.semilogy([3.0, 10.0], [40.0, 20.0], "k_", ms=14, label="wanted: median")
    left.set(ylabel="error of the suppressed carrier, Hz", xlabel="SNR, dB in 2500 Hz")
    left.legend(fontsize=8)
    right.plot(snr_db, [100 * s for s in share], "s-", color="#009E73")
    right.set(ylabel="voices heard, %", xlabel="SNR, dB in 2500 Hz", ylim=(0, 102))
    for axes in (left, right):
        axes.grid(alpha=0.3, which="both")
    figure.savefig(path, dpi=120)


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--quick", action="store_true")
    ask.add_argument("--picture")
    given = ask.parse_args()
    scenes = 4 if given.quick else 20
    curve: list[tuple[float, float, float, float]] = []
    print("SNR dB  heard  median Hz  over 100 Hz  with prior Hz  start s  stop s (90 % within)")
    for snr_db in LEVELS_DB if given.picture else (10.0, 6.0, 3.0):
        rows, count = [], 0
        for seed in range(SEED, SEED + scenes):
            r = random.Random(seed)
            sent = [
                talker(r, CENTER_HZ - 9_000 + 4_500 * k + r.uniform(0, 700), snr_db, r.uniform(1.5, 4))
                for k in range(4)
            ]
            found = heard(sent, 8.0, seed)
            for t in sent:
                count += 1
                there = [e for e in found if abs(e.frequency_hz - t.dial_hz) < 300 and e.start_s < t.stop_s]
                there = [
                    e for e in there if e.stop_s is not None and e.stop_s > t.start_s and e.measured_hz is not None
                ]
                if there:
                    e = max(there, key=lambda e: (e.stop_s or 0.0) - e.start_s)
                    edges = (e.start_s - t.start_s, (e.stop_s or 0.0) - t.stop_s)
                    rows.append(((e.measured_hz or 0.0) - t.dial_hz, e.frequency_hz - t.dial_hz, *edges))
        off = np.abs(np.array(rows))
        late = np.quantile(off[:, 2:], 0.9, axis=0)
        curve.append((snr_db, float(np.median(off[:, 0])), float(np.quantile(off[:, 0], 0.9)), len(rows) / count))
        print(
            f"{snr_db:6.0f} {len(rows) / count:6.1%} {np.median(off[:, 0]):10.1f} {np.mean(off[:, 0] > 100):12.1%} "
            f"{np.median(off[:, 1]):14.1f} {late[0]:8.2f} {late[1]:7.2f}",
            flush=True,
        )
    if given.picture:
        picture(given.picture, curve)
    print("must: heard 95 % at 6 dB; 20 Hz and 8 % at 10 dB, 40 Hz and 20 % at 3 dB")
    placed = 0
    for seed in range(SEED + 500, SEED + 500 + 2 * scenes):
        r = random.Random(seed)
        sent = [
            talker(r, CENTER_HZ - 1_500 + 1_000 * k + r.uniform(-50, 50), 10.0, r.uniform(2, 2.3)) for k in range(3)
        ]
        found = heard(sent, 6.0, seed)
        placed += all(any(abs(e.frequency_hz - t.dial_hz) < 150 for e in found) for t in sent)
    print(f"three overlapping voices 1 kHz apart, 10 dB: all placed {placed / (2 * scenes):.0%} (must 70 %, aim 85 %)")


if __name__ == "__main__":
    main()
