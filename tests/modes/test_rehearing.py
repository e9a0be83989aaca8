"""A transmission heard a second time: the right text comes out on top, whatever was copied at first."""

import numpy as np
import pytest

from hearmark.modes.network import compress
from hearmark.modes.rehearing import AROUND, LEAD_S, TAIL_S, Rehearing
from hearmark.simulate import keyers
from hearmark.simulate.keyers import Keyer
from hearmark.spectrum.transform import HOP_S, Transform

RATE, CARRIER_HZ = 4_000, 305.0


def level(text: str, wpm: float, snr_db: float, seed: int, before_s: float = LEAD_S) -> tuple[np.ndarray, float]:
    rng = np.random.default_rng(seed)
    times = keyers.hand(text, wpm, before_s, rng)
    samples, _ = keyers.band(
        [Keyer(text, wpm, CARRIER_HZ, snr_db, times)], float(times[-1, 1]) + TAIL_S, RATE, 0.0, rng
    )
    transform = Transform(float(RATE), 0.0, 0.0, 100.0, 500.0)
    at = transform.grid.position(CARRIER_HZ)
    low = round(at) - AROUND
    return compress(transform.feed(samples).power[:, low : low + 2 * AROUND + 1]), at - round(at)


@pytest.mark.parametrize(("text", "first"), [("EC2MXO", "C2MXO"), ("W2LWJ", "O2LWJ"), ("K7ABC", ""), ("KG2OP 5NN", "")])
def test_the_first_letter_is_found_again(text: str, first: str) -> None:
    seen, off = level(text, 26.0, 8.0, 1)
    heard = Rehearing().hear(seen, off, HOP_S, first, None)
    assert heard is not None
    assert heard.texts[0] == text
    assert heard.speed_wpm == pytest.approx(26.0, rel=0.1)
    assert list(heard.score) == sorted(heard.score, reverse=True)
    assert first == "" or first in heard.texts


def test_the_same_stretch_gives_the_same_texts() -> None:
    seen, off = level("K7ABC", 30.0, 6.0, 2)
    again = Rehearing()
    assert again.hear(seen, off, HOP_S, "K7ABC", 30.0) == again.hear(seen, off, HOP_S, "K7ABC", 30.0)


def test_of_noise_nothing_certain_is_made() -> None:
    noise = compress(np.random.default_rng(3).exponential(1.0, (200, 2 * AROUND + 1)).astype(np.float32))
    heard = Rehearing().hear(noise, 0.0, HOP_S, "", None)
    assert heard is None or max(len(text) for text in heard.texts) <= 3
