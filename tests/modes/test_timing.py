"""Texts by the lengths of marks and gaps, from the power at one carrier."""

import numpy as np
import pytest

from hearmark.modes.durations import CODES
from hearmark.modes.timing import timed
from hearmark.simulate import keyers
from hearmark.simulate.keyers import Keyer
from hearmark.simulate.keying import CODES as SENT
from hearmark.spectrum.transform import HOP_S, Transform

RATE, CENTER_HZ, CARRIER_HZ = 4_000, 0.0, 312.5
SPEEDS_S = tuple(1.2 / wpm for wpm in (16.0, 19.5, 24.0, 29.5, 36.0))


def power(text: str, wpm: float, snr_db: float, seed: int, channel: str = "flat") -> np.ndarray:
    """Power over noise in the carrier's bin, half a second of noise at each end."""
    rng = np.random.default_rng(seed)
    times = keyers.hand(text, wpm, 0.5, rng)
    samples, _ = keyers.band(
        [Keyer(text, wpm, CARRIER_HZ, snr_db, times, channel)], float(times[-1, 1]) + 0.6, RATE, CENTER_HZ, rng
    )
    transform = Transform(float(RATE), CENTER_HZ, CENTER_HZ, 200.0, 400.0)
    frames = transform.feed(samples)
    return np.asarray(frames.power[:, round(transform.grid.position(CARRIER_HZ))])


def test_the_code_is_that_of_the_simulated_keys() -> None:
    assert {c: code for c, code in CODES.items() if c in SENT} == {c: SENT[c] for c in CODES if c in SENT}
    assert len(set(CODES.values())) == len(CODES)


@pytest.mark.parametrize(("text", "wpm"), [("K7ABC", 18.0), ("EA8MT", 36.0), ("IW2PQ 5NN", 25.0), ("TEST", 30.0)])
def test_a_hand_of_unknown_speed_is_read(text: str, wpm: float) -> None:
    heard = timed(power(text, wpm, 10.0, 1), HOP_S, SPEEDS_S)
    assert heard is not None
    assert heard.texts[0] == text
    assert 1.2 / heard.unit_s == pytest.approx(wpm, rel=0.08)
    assert list(heard.score) == sorted(heard.score, reverse=True)
    assert len(set(heard.texts)) == len(heard.texts)


def test_most_calls_are_read_at_6_db() -> None:
    """Whatever the reader says: by lengths alone, 30 hands."""
    rng = np.random.default_rng(2)
    right = 0
    for seed in range(30):
        call = "".join(rng.choice(list("BDFGHKLMNPRSVWXZ"), 2)) + str(rng.integers(10)) + "ABC"[: rng.integers(1, 4)]
        heard = timed(power(call, float(rng.uniform(18, 30)), 6.0, seed), HOP_S, SPEEDS_S)
        right += heard is not None and heard.texts[0] == call
    assert right >= 25


def test_a_fade_is_told_by_the_levels() -> None:
    steady = timed(power("K7ABC KG2OP", 25.0, 15.0, 3), HOP_S, SPEEDS_S)
    fading = timed(power("K7ABC KG2OP", 25.0, 15.0, 8, "mid moderate"), HOP_S, SPEEDS_S)
    assert steady is not None
    assert fading is not None
    assert steady.least_db > fading.least_db + 3.0


def test_what_is_no_transmission_is_told_apart() -> None:
    rng = np.random.default_rng(4)
    assert timed(rng.exponential(1.0, 10).astype(np.float32), HOP_S, SPEEDS_S) is None
    assert timed(rng.exponential(1.0, 3_000).astype(np.float32), HOP_S, SPEEDS_S) is None
    keyed = timed(power("K7ABC", 25.0, 15.0, 5), HOP_S, SPEEDS_S)
    bumps = np.repeat(rng.exponential(40.0, 60), 5).astype(np.float32)  # no key makes levels like these
    other = timed(bumps, HOP_S, SPEEDS_S)
    assert keyed is not None
    assert other is None or other.fit < keyed.fit - 0.1
