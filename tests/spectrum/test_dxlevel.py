import numpy as np
import pytest
from signals import RATE, keyed, morse, noise, stream, tone, voice

from hearmark.errors import HearmarkError
from hearmark.events import Mode
from hearmark.spectrum.dxlevel import Sending
from hearmark.spectrum.transform import Transform

Over = tuple[float, float]


def listen(samples: np.ndarray, mode: Mode) -> tuple[list[Over], list[float], list[tuple[float, float]]]:
    """Overs not withdrawn, delays of their starts, and (time, probability) at each block's end."""
    blocks = stream(samples)
    sending = Sending(blocks[0][0].grid, mode)
    overs: list[list[float]] = []
    delays, belief = [], []
    for frames, floor in blocks:
        for time_s, on in sending.feed(frames, floor):
            if on:
                overs.append([time_s, np.inf])
                delays.append(frames.start_s - time_s)
            else:
                overs[-1][1] = time_s
        belief.append((frames.start_s, sending.probability))
    return [(a, b) for a, b in overs if b > a], delays, belief


def turns(count: int, unit_s: float = 0.048) -> np.ndarray:
    """Key times of overs of about 5 s every 10 s."""
    return np.concatenate([morse(1.0 + 10 * k, unit_s) for k in range(count)])


@pytest.mark.parametrize(("snr_db", "offset_hz"), [(18.0, 0.0), (3.0, 6.0), (30.0, -12.0)])
def test_overs_in_morse(snr_db: float, offset_hz: float) -> None:
    overs, delays, belief = listen(noise(32, 1) + keyed(32, offset_hz, snr_db, turns(3)), "cw")
    times = [(morse(1.0 + 10 * k, 0.048)[0, 0], morse(1.0 + 10 * k, 0.048)[-1, 1]) for k in range(3)]
    assert overs == [pytest.approx(t, abs=0.06) for t in times]
    assert max(delays) < 0.15
    for start_s, stop_s in times:
        assert all(p > 0.7 for t, p in belief if start_s + 0.2 < t < stop_s)
    assert all(p < 0.2 for t, p in belief if 9.0 < t < 10.8 or 19.0 < t < 20.8)


def test_a_fade_does_not_end_an_over() -> None:
    t = np.arange(22 * RATE) / RATE
    fading = np.where((t % 10 > 3) & (t % 10 < 4.5), 10**-0.5, 1.0)
    overs, _, _ = listen(noise(22, 2) + fading * keyed(22, 0.0, 15.0, turns(2)), "cw")
    assert len(overs) == 2


def test_a_caller_on_his_frequency_is_not_he() -> None:
    """After a few overs his carrier is known to some hertz: 10, 20 and 60 Hz beside it somebody else calls."""
    others = [keyed(62, hz, 12.0, morse(at, 0.052)) for hz, at in ((20.0, 27.0), (60.0, 37.0), (-12.0, 47.0))]
    overs, _, belief = listen(noise(62, 3) + keyed(62, 2.0, 15.0, turns(6)) + sum(others), "cw")
    starts = [round(a) for a, _ in overs]
    assert starts == [1, 11, 21, 31, 41, 51]
    assert all(b - a < 6.5 for a, b in overs)
    assert all(p < 0.5 for t, p in belief if 47.8 < t < 50.5)


def test_neither_noise_nor_crashes_start_an_over() -> None:
    rng = np.random.default_rng(4)
    samples = noise(40, 4)
    for at in rng.uniform(3, 39, 25):
        samples[round(at * RATE) : round(at * RATE) + 60] *= 60.0
    assert listen(samples, "cw")[0] == []
    assert listen(samples, "usb")[0] == []


@pytest.mark.parametrize("snr_db", [3.0, 15.0])
def test_overs_in_speech(snr_db: float) -> None:
    spans = [(2.0, 6.0), (10.0, 12.5), (17.0, 22.0)]
    overs, delays, _ = listen(noise(26, 5) + voice(26, 0.0, snr_db, spans, seed=7), "usb")
    assert overs == [pytest.approx(s, abs=0.3) for s in spans]
    assert max(delays) < 0.25


def test_lower_sideband_and_neighbours() -> None:
    """A voice on the other side, and one 4 kHz away, are not his; nor is a carrier in his sideband."""
    wrong = voice(20, 0.0, 20.0, [(2.0, 6.0)], seed=8) + voice(20, 1_500.0, 25.0, [(8.0, 12.0)], seed=9)
    carrier = tone(20, -1_000.0, 15.0)
    his = np.conj(voice(20, 0.0, 15.0, [(14.0, 17.0)], seed=10))
    overs, _, _ = listen(noise(20, 11) + wrong + carrier + his, "lsb")
    late = [o for o in overs if o[0] > 2.0]
    assert late == [pytest.approx((14.0, 17.0), abs=0.3)]


def test_he_must_lie_inside_the_range() -> None:
    with pytest.raises(HearmarkError, match="outside the range of the spectrum"):
        Sending(Transform(RATE, 0, 0, 1_000, 2_000).grid, "cw")
