"""Make src/hearmark/modes/language.npz: which letter follows which two in a pile-up. `python tools/language.py`.

Counted in invented exchanges (`hearmark.simulate.texts`, seed 5), with calls drawn at random: logarithms of
probabilities, smoothed with those of one letter less, for every symbol of the reader after every two.
"""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np

from hearmark.modes.alphabet import ALPHABET
from hearmark.simulate import keyers

TARGET = Path(__file__).parents[1] / "src/hearmark/modes/language.npz"
TEXTS, SEED, SMOOTHING = 12_000, 5, 5.0


def main() -> None:
    """Count, smooth, write."""
    rng, size = random.Random(SEED), len(ALPHABET)
    counts = [np.zeros((size,) * order) for order in (1, 2, 3)]
    for _ in range(TEXTS):
        text = [ALPHABET.index(c) for c in f" {keyers.exchanges(rng, 60)} "]
        for order, count in enumerate(counts, 1):
            for k in range(order - 1, len(text)):
                count[tuple(text[k - order + 1 : k + 1])] += 1
    p = (counts[0] + 1.0) / (counts[0] + 1.0).sum()
    for count in counts[1:]:
        total = count.sum(axis=-1, keepdims=True)
        p = (count + SMOOTHING * np.broadcast_to(p, count.shape)) / (total + SMOOTHING)
    np.savez_compressed(TARGET, exchange=np.log(p).astype(np.float16))
    print(f"{TARGET}: {TARGET.stat().st_size} bytes")


if __name__ == "__main__":
    main()
