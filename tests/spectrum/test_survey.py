"""The first look at an unknown stream: Morse or voice, which sideband, where the callers are."""

import numpy as np
import pytest

from hearmark.events import Block
from hearmark.spectrum.survey import LONGEST_S, SURVEY_S, Survey

RATE = 48_000
DX_HZ = 14_023_000.0
CENTER_HZ = DX_HZ + 2_000.0
SECONDS = 20.0


def noise(seconds: float, seed: int = 1) -> np.ndarray:
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE)
    return (rng.standard_normal(n) + 1j * rng.standard_normal(n)).astype(np.complex64) * np.float32(np.sqrt(RATE / 2))


def carrier(seconds: float, offset_hz: float, snr_db: float, period_s: float, duty: float = 0.5) -> np.ndarray:
    """A keyed carrier so far from the DX: on for the first part of each period."""
    t = np.arange(round(seconds * RATE)) / RATE
    on = (t % period_s) < duty * period_s
    amplitude = np.sqrt(2_500 * 10 ** (snr_db / 10))
    return (amplitude * on * np.exp(2j * np.pi * (DX_HZ + offset_hz - CENTER_HZ) * t)).astype(np.complex64)


def talk(seconds: float, offset_hz: float, snr_db: float, side: int, seed: int, duty: float = 0.4) -> np.ndarray:
    """Noise 300 to 2700 Hz above (side 1) or below (-1) a dial so far from the DX, on for part of each 5 s."""
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE)
    f_hz = np.fft.fftfreq(n, 1 / RATE) - (DX_HZ + offset_hz - CENTER_HZ)
    inside = (side * f_hz > 300.0) & (side * f_hz < 2_700.0)
    voice = np.fft.ifft(np.where(inside, rng.standard_normal(n) + 1j * rng.standard_normal(n), 0.0))
    voice *= np.sqrt(2_500 * 10 ** (snr_db / 10) / np.mean(np.abs(voice) ** 2))
    on = (np.arange(n) / RATE + seed) % 5.0 < duty * 5.0
    return (voice * on).astype(np.complex64)


def surveyed(samples: np.ndarray, size: int = 4_800) -> tuple[Survey, float]:
    """A survey after as many blocks as it wants, and how many seconds those were."""
    blocks = [Block(k, RATE, CENTER_HZ, samples[k : k + size]) for k in range(0, len(samples), size)]
    survey = Survey(DX_HZ, blocks[0])
    for block in blocks:
        if survey.feed(block):
            return survey, block.stop_s
    return survey, blocks[-1].stop_s


def test_morse_up() -> None:
    callers = sum(carrier(SECONDS, offset, 12.0, 0.9 + k / 7) for k, offset in enumerate((1_200.0, 1_700.0, 2_600.0)))
    survey, heard_s = surveyed(noise(SECONDS) + carrier(SECONDS, 0.0, 15.0, 0.2) + callers)
    mode, low_hz, high_hz = survey.verdict(None)
    assert mode == "cw"
    assert heard_s == pytest.approx(SURVEY_S, abs=0.2)
    assert 500.0 <= low_hz - DX_HZ <= 1_200.0
    assert 2_600.0 <= high_hz - DX_HZ <= 3_300.0


@pytest.mark.parametrize(("mode", "side"), [("usb", 1), ("lsb", -1)])
def test_voice_up_and_down(mode: str, side: int) -> None:
    # he talks in the last two of every five seconds (7), they in the first two (0, 5) or after one (4)
    places = ((5_500.0, 0), (7_000.0, 4), (9_500.0, 5))
    callers = sum(talk(SECONDS, side * offset, 15.0, side, seed) for offset, seed in places)
    survey, _ = surveyed(noise(SECONDS) + talk(SECONDS, 0.0, 20.0, side, 7) + callers)
    found, low_hz, high_hz = survey.verdict(None)
    assert found == mode
    near, far = sorted((abs(low_hz - DX_HZ), abs(high_hz - DX_HZ)))
    assert 4_000.0 <= near <= 5_600.0
    assert 9_000.0 <= far <= 11_000.0
    assert (low_hz > DX_HZ) is (side > 0)


def test_the_mode_that_is_given_is_kept() -> None:
    survey, _ = surveyed(noise(SECONDS) + carrier(SECONDS, 0.0, 15.0, 0.2))
    assert survey.verdict("usb")[0] == "usb"


def test_nobody_calls_gives_common_practice() -> None:
    survey, _ = surveyed(noise(SECONDS) + carrier(SECONDS, 0.0, 15.0, 0.2))
    assert survey.verdict(None) == ("cw", DX_HZ + 500.0, DX_HZ + 5_500.0)


def test_a_silent_dx_is_waited_for() -> None:
    late = carrier(25.0, 0.0, 15.0, 0.2)
    late[: 20 * RATE] = 0.0
    survey, heard_s = surveyed(noise(25.0) + late)
    assert SURVEY_S + 4.0 < heard_s < LONGEST_S
    assert survey.verdict(None)[0] == "cw"


def test_blocks_of_any_size_give_the_same_verdict() -> None:
    samples = noise(SECONDS) + carrier(SECONDS, 0.0, 15.0, 0.2) + carrier(SECONDS, 1_500.0, 9.0, 0.9)
    verdicts = {surveyed(samples, size)[0].verdict(None) for size in (4_800, 7_013, len(samples))}
    assert len(verdicts) == 1


def test_a_hole_in_the_stream_is_skipped() -> None:
    samples = noise(SECONDS) + carrier(SECONDS, 0.0, 15.0, 0.2)
    half = len(samples) // 2
    survey = Survey(DX_HZ, Block(0, RATE, CENTER_HZ, samples[:half]))
    assert not survey.feed(Block(0, RATE, CENTER_HZ, samples[:half]))
    assert survey.feed(Block(3 * len(samples), RATE, CENTER_HZ, samples[half:]))
    assert survey.verdict(None)[0] == "cw"


def test_what_has_nothing_to_do_with_him_is_not_in_the_window() -> None:
    """A steady carrier and a contact of others, both stronger than his callers."""
    t = np.arange(round(SECONDS * RATE)) / RATE
    sends = (t % 5.0) < 2.0
    callers = sum(carrier(SECONDS, offset, 12.0, 0.3) for offset in (1_200.0, 1_700.0, 2_600.0)) * ~sends
    beside = carrier(SECONDS, 9_000.0, 30.0, 1.0, 1.0) + carrier(SECONDS, -6_000.0, 30.0, 0.31, 0.6)
    survey, _ = surveyed(noise(SECONDS) + carrier(SECONDS, 0.0, 15.0, 0.2) * sends + callers + beside)
    mode, low_hz, high_hz = survey.verdict(None)
    assert mode == "cw"
    assert 500.0 <= low_hz - DX_HZ <= 1_200.0
    assert 2_600.0 <= high_hz - DX_HZ <= 3_300.0


def test_who_talks_below_him_does_not_turn_his_sideband() -> None:
    beside = talk(SECONDS, -3_000.0, 25.0, 1, 3, 0.9)
    survey, _ = surveyed(noise(SECONDS) + talk(SECONDS, 0.0, 15.0, 1, 7) + beside)
    assert survey.verdict(None)[0] == "usb"


@pytest.mark.parametrize("side", [1, -1])
def test_a_crowd_of_voices_that_calls_all_the_time_is_the_window(side: int) -> None:
    """Nobody begins when he stops (they rest while he listens); a steady carrier on the other side is no crowd."""
    places = ((side * 4_500.0, 2), (side * 5_500.0, 3))
    crowd = sum(talk(SECONDS, offset, 15.0, 1, seed, 0.8) for offset, seed in places)
    beside = carrier(SECONDS, side * -8_000.0, 30.0, 1.0, 1.0)
    samples = noise(SECONDS) + talk(SECONDS, 0.0, 20.0, 1, 7) + crowd + beside
    _, low_hz, high_hz = surveyed(samples)[0].verdict("usb")
    near, far = sorted((side * (low_hz - DX_HZ), side * (high_hz - DX_HZ)))
    assert 3_000.0 <= near <= 4_600.0
    assert 5_400.0 <= far <= 6_700.0


def test_a_steady_carrier_is_no_crowd() -> None:
    lone = carrier(SECONDS, -8_000.0, 30.0, 1.0, 1.0)
    survey, _ = surveyed(noise(SECONDS) + talk(SECONDS, 0.0, 20.0, 1, 7) + lone)
    assert survey.verdict("usb")[1:] == (DX_HZ + 3_000.0, DX_HZ + 13_000.0)
