"""Stations side by side at exact levels."""

import random

import numpy as np
import pytest

from hearmark.simulate import keyers
from hearmark.simulate.keyers import Keyer
from hearmark.simulate.keying import CODES

RATE = 8_000.0


def one(channel: str, snr_db: float, rng: np.random.Generator) -> Keyer:
    times = keyers.hand("PARIS PARIS PARIS PARIS", 25.0, 0.5, rng)
    return Keyer("PARIS PARIS PARIS PARIS", 25.0, 14_000_300.0, snr_db, times, channel)


def test_level_is_that_of_the_key_held_down_in_500_hz() -> None:
    rng = np.random.default_rng(1)
    keyer = one("flat", 40.0, rng)
    samples, own_db = keyers.band([keyer], 12.0, RATE, 14_000_000.0, rng)
    middle = round(float(keyer.times_s[:2].mean(axis=1)[1]) * RATE)
    quiet = samples[: round(0.4 * RATE)]
    noise = float(np.mean(np.abs(quiet) ** 2)) / RATE * 500.0
    assert 10 * np.log10(np.abs(samples[middle]) ** 2 / noise) == pytest.approx(40.0, abs=0.5)
    assert own_db[0] == pytest.approx(40.0, abs=0.6)


def test_fading_shows_in_the_transmissions_own_level() -> None:
    rng = np.random.default_rng(2)
    own = [keyers.band([one("mid moderate", 20.0, rng)], 12.0, RATE, 14_000_000.0, rng)[1][0] for _ in range(12)]
    assert np.std(own) > 0.5
    assert np.mean(own) == pytest.approx(20.0, abs=3.0)


def test_a_hand_keeps_its_speed_on_average() -> None:
    """PARIS and the space after it are 50 units of 1.2 s / WPM (Recommendation ITU-R M.1677-1)."""
    rng = np.random.default_rng(3)
    lengths = [np.ptp(keyers.hand("PARIS " * 9 + "P", 25.0, 1.0, rng)) for _ in range(60)]
    last = 11 * 1.2 / 25.0
    assert np.mean(lengths) == pytest.approx(9 * 50 * 1.2 / 25.0 + last, rel=0.03)


@pytest.mark.parametrize("make", [keyers.groups, keyers.exchanges])
def test_texts_can_be_keyed(make) -> None:  # type: ignore[no-untyped-def]
    for seed in range(20):
        text = make(random.Random(seed), 60)
        assert 40 <= len(text) <= 130
        assert not set(text) - set(CODES) - {" "}
        assert text == " ".join(text.split())
