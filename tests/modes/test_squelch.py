"""Where the squelch opens, and that nothing is lost behind it. Levels are in 500 Hz, as in bench/morse_reading.py."""

import numpy as np
import pytest

from hearmark.events import Block
from hearmark.modes.alphabet import text_of
from hearmark.modes.morse import STEP_FRAMES, MorseReader, features
from hearmark.modes.network import Array, compress
from hearmark.modes.squelch import CAUGHT_UP_FRAMES, OPENS, Squelch, SquelchedReader
from hearmark.simulate import keyers
from hearmark.simulate.keyers import Keyer
from hearmark.spectrum.batches import BATCH_FRAMES, Band

RATE_HZ, CENTER_HZ = 12_000.0, 14_030_000.0
BATCH_S = 0.096
SENT_HZ = CENTER_HZ + 1_000.0


def heard(sent: list[Keyer], seconds: float, seed: int, crash_s: float | None = None) -> tuple[Array, Band]:
    """Compressed power over noise of a band, (frames, bins); all of it 25 dB up for 50 ms at `crash_s`."""
    samples, _ = keyers.band(sent, seconds, RATE_HZ, CENTER_HZ, np.random.default_rng(seed))
    if crash_s is not None:
        samples[round(crash_s * RATE_HZ) : round((crash_s + 0.05) * RATE_HZ)] *= 10 ** (25.0 / 20.0)
    block = Block(0, RATE_HZ, CENTER_HZ, samples)
    band = Band(block, CENTER_HZ, CENTER_HZ - 5_000.0, CENTER_HZ + 5_000.0)
    return compress(np.concatenate([batch.ratio for batch in band.feed(block)])), band


def own_levels(level: Array, centres: np.ndarray) -> Array:
    """The largest of three bins, step by step, (streams, steps)."""
    three = np.stack([level[:, centres + k] for k in (-1, 0, 1)]).max(axis=0)
    return three.reshape(-1, STEP_FRAMES, len(centres)).mean(axis=1).T


def streams(band: Band) -> np.ndarray:
    """Every second bin, and one more that stands for the DX."""
    return np.append(np.arange(6, band.grid.bins - 6, 2), 6)


def opened(level: Array, centres: np.ndarray) -> np.ndarray:
    """Which streams are open after each batch, (batches, streams)."""
    squelch, out = Squelch(len(centres)), []
    for k in range(0, len(level) - BATCH_FRAMES + 1, BATCH_FRAMES):
        squelch.feed(own_levels(level[k : k + BATCH_FRAMES], centres), BATCH_S)
        out.append(squelch.open.copy())
    return np.array(out)


def keyer(text: str, snr_db: float, start_s: float, channel: str = "flat") -> Keyer:
    times = keyers.hand(text, 25.0, start_s, np.random.default_rng(1))
    return Keyer(text, 25.0, SENT_HZ, snr_db, times, channel)


def nearest(band: Band, centres: np.ndarray) -> int:
    return int(np.argmin(np.abs(centres[:-1] - band.grid.position(SENT_HZ))))


def test_noise_hardly_opens_it() -> None:
    level, band = heard([], 20.0, 2)
    assert opened(level, streams(band))[20:].mean() < 0.02


@pytest.mark.parametrize(("snr_db", "channel"), [(-3.0, "flat"), (8.0, "mid moderate")])
def test_a_station_that_can_just_be_read_opens_it_and_keeps_it_open(snr_db: float, channel: str) -> None:
    one = keyer("PARIS PARIS PARIS PARIS PARIS PARIS PARIS PARIS", snr_db, 3.0, channel)
    level, band = heard([one], one.stop_s + 4.0, 3)
    centres = streams(band)
    here = opened(level, centres)[:, nearest(band, centres)]
    time_s = BATCH_S * (1 + np.arange(len(here)))
    heard_again_s = 0.008 * CAUGHT_UP_FRAMES
    assert here[(time_s > one.start_s + heard_again_s) & (time_s < one.stop_s)].all()


def test_it_closes_after_the_longest_gap_inside_a_transmission() -> None:
    one = keyer("K1ABC", 15.0, 3.0)
    level, band = heard([one], one.stop_s + 5.0, 4)
    centres = streams(band)
    here = opened(level, centres)[:, nearest(band, centres)]
    time_s = BATCH_S * (1 + np.arange(len(here)))
    assert here[(time_s > one.stop_s) & (time_s < one.stop_s + 1.0)].all()
    assert not here[(time_s > one.stop_s + 3.0)].any()


def test_a_crash_that_lifts_everything_opens_no_more_than_noise_does() -> None:
    (calm, band), (crashed, _) = heard([], 12.0, 5), heard([], 12.0, 5, crash_s=6.0)
    centres = streams(band)
    after = slice(round(6.0 / BATCH_S), round(7.5 / BATCH_S))
    assert opened(crashed, centres)[after].mean() < opened(calm, centres)[after].mean() + 0.1
    raised = own_levels(crashed[round(6.0 / 0.008) // 12 * 12 :][:12], centres).mean()
    assert raised > OPENS + 0.5  # without regard to the others, all of them were open


def test_behind_it_the_same_is_read_the_first_letter_too() -> None:
    text = "ES1XYZ"
    one = keyer(text, 15.0, 20.0)
    level, band = heard([one], one.stop_s + 1.5, 6)
    level = level[: len(level) // BATCH_FRAMES * BATCH_FRAMES]
    centres = streams(band)
    here = nearest(band, centres)
    reader = SquelchedReader(centres)
    symbols = np.zeros((0, len(centres)), np.int8)
    for k in range(0, len(level), BATCH_FRAMES):
        part = level[k : k + BATCH_FRAMES]
        reading = reader.read(part, own_levels(part, centres), BATCH_S)
        late = reader.caught_up
        if late is not None:
            symbols[-late.likely.shape[1] :, late.streams] = late.likely[..., 0].T
        symbols = np.concatenate([symbols, reading.symbols])
    assert text_of(symbols[:, here]) == text
    always = MorseReader(1).read(features(level, centres[[here]]))
    assert text_of(always.symbols[:, 0]) == text


def test_a_closed_stream_reads_nothing_and_the_last_one_is_never_closed() -> None:
    level, band = heard([], 1.0, 7)
    centres = streams(band)
    reader = SquelchedReader(centres)
    part = np.full_like(level[:BATCH_FRAMES], -0.1)
    reading = reader.read(part, own_levels(part, centres), BATCH_S)
    assert not reading.symbols[:, :-1].any()
    assert (reading.chances[:-1, :, 0] == 0.0).all()
    assert np.ptp(reading.hidden[0], axis=0).max() == 0.0 < np.ptp(reading.hidden[-1], axis=0).max()
