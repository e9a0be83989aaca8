"""The Morse reader on keying of perfect timing (codes and lengths: Recommendation ITU-R M.1677-1)."""

import numpy as np
import pytest

from hearmark.modes.alphabet import ALPHABET, text_of
from hearmark.modes.morse import CONTEXT_BINS, STEP_FRAMES, MorseReader, features
from hearmark.modes.network import compress
from hearmark.simulate import keying
from hearmark.spectrum.transform import Transform

RATE = 4_000


def spectra(
    texts: dict[float, tuple[str, float]], snr_db: float, seed: int, lead_s: float = 1.0
) -> tuple[np.ndarray, np.ndarray]:
    """Compressed power over noise of texts keyed on carriers, {hertz: (text, WPM)}; and the bins of the carriers."""
    rng = np.random.default_rng(seed)
    keys = {hz: lead_s + keying.ideal(text, wpm) for hz, (text, wpm) in texts.items()}
    seconds = max(times[-1, 1] for times in keys.values()) + 1.5
    n = round(seconds * RATE)
    samples = (rng.standard_normal(n) + 1j * rng.standard_normal(n)) * np.sqrt(RATE / 2)
    edge = np.hanning(round(0.005 * RATE) + 2)
    for hz, times in keys.items():
        key = np.zeros(n)
        for down, up in times:
            key[round(down * RATE) : round(up * RATE)] = 1.0
        envelope = np.convolve(key, edge / edge.sum(), "same")
        samples += envelope * np.sqrt(2_500 * 10 ** (snr_db / 10)) * np.exp(2j * np.pi * hz * np.arange(n) / RATE)
    transform = Transform(RATE, 0.0, 0.0, -1_500.0, 1_500.0)
    power = transform.feed(samples.astype(np.complex64)).power
    power = power[: len(power) // STEP_FRAMES * STEP_FRAMES]
    return compress(power), np.array([round(transform.grid.position(hz)) for hz in texts])


def read(level: np.ndarray, centres: np.ndarray, steps: int = 8) -> list[str]:
    """Texts of some carriers, read `steps` steps at a time."""
    reader = MorseReader(len(centres))
    symbols = [
        reader.read(features(level[k : k + steps * STEP_FRAMES], centres)).symbols
        for k in range(0, len(level), steps * STEP_FRAMES)
    ]
    return [text_of(column) for column in np.concatenate(symbols).T]


def edits(one: str, other: str) -> int:
    """Letters to change, drop or put in to make one text of the other."""
    row = list(range(len(other) + 1))
    for i, a in enumerate(one, 1):
        previous, row[0] = row[0], i
        for j, b in enumerate(other, 1):
            previous, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, previous + (a != b))
    return row[-1]


@pytest.mark.parametrize("lead_s", [0.5, 3.0, 20.0])
@pytest.mark.parametrize("snr_db", [0.0, 6.0, 25.0])
def test_ideal_keying_is_read_side_by_side_at_different_speeds_and_after_any_silence(
    snr_db: float, lead_s: float
) -> None:
    texts = {
        -1_000.0: ("KG2OP 5NN K", 27.0),
        -750.0: ("QRZ UP 1 TO 3", 20.0),
        0.0: ("ZZ0DX TU UP", 30.5),
        250.0: ("DE K7ABC K7ABC", 25.0),
        1_000.0: ("TU 5NN 73 EB1ZBX", 36.0),
    }
    level, centres = spectra(texts, snr_db, 1, lead_s)
    found = read(level, centres)
    wrong = sum(edits(text, sent) for text, (sent, _) in zip(found, texts.values(), strict=True))
    assert wrong <= 0.05 * sum(len(sent) for sent, _ in texts.values()), found


def test_steps_may_come_one_by_one_or_all_at_once() -> None:
    level, centres = spectra({0.0: ("K1ABC 5NN", 28.0)}, 12.0, 2)
    assert read(level, centres, 1) == read(level, centres, 3) == read(level, centres, len(level) // STEP_FRAMES)


def test_nothing_is_read_in_noise() -> None:
    level, centres = spectra({0.0: ("E", 30.0)}, -60.0, 3)
    assert len(read(np.tile(level, (4, 1)), centres)[0]) <= 1


def test_forgetting_starts_anew() -> None:
    level, centres = spectra({0.0: ("K1ABC", 28.0)}, 12.0, 4)
    reader = MorseReader(1)
    seen = features(level, centres)
    first = reader.read(seen)
    assert not np.array_equal(reader.read(seen).sure, first.sure)
    reader.forget()
    assert np.array_equal(reader.read(seen).sure, first.sure)


def test_features_are_the_bins_around_each_carrier_step_by_step() -> None:
    level = np.arange(8 * 30, dtype=np.float32).reshape(8, 30)
    seen = features(level, np.array([10, 20]))
    wide = 2 * CONTEXT_BINS + 1
    assert seen.shape == (2, 2, STEP_FRAMES * wide)
    assert np.array_equal(seen[1, 1, :wide], level[4, 20 - CONTEXT_BINS : 20 + CONTEXT_BINS + 1])


@pytest.mark.parametrize(
    ("symbols", "text"),
    [
        ("", ""),
        ("__EE__E_", "EE"),
        ("_E E_ _ T", "E E T"),
        (" _ ", ""),
        ("KK11_1", "K11"),
    ],
)
def test_symbols_to_text(symbols: str, text: str) -> None:
    """Repeats without a blank between are one; blanks (here _) vanish; spaces never stand at an edge or twice."""
    index = np.array([0 if s == "_" else ALPHABET.index(s) + 1 for s in symbols], np.int8)
    assert text_of(index) == text


def test_a_reader_that_starts_in_the_middle_of_a_signal_reads_the_next_one() -> None:
    """As after our own transmission, when others are sending already."""
    texts = {0.0: ("VVV VVV VVV VVV K1ABC 5NN", 25.0), 300.0: ("TEST TEST TEST TEST 5NN", 20.0)}
    level, centres = spectra(texts, 10.0, 5)
    for start_s in (1.2, 2.0, 2.8):
        late = level[round(start_s / 0.008) :]
        found = read(late[: len(late) // STEP_FRAMES * STEP_FRAMES], centres)
        assert [text.endswith(end) for text, end in zip(found, ("K1ABC 5NN", "TEST 5NN"), strict=True)] == [True, True]
