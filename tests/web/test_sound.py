"""Two-ear sound as samples: tones in I/Q come out where and as loud as they should."""

import numpy as np
import numpy.typing as npt
import pytest

from hearmark.errors import HearmarkError
from hearmark.events import Block, Mode
from hearmark.web.sound import CEILING, SOUND_RATE_HZ, Ring, Tuning, TwoEar, render_spot, slowed

RATE = 96_000.0
CENTER = 18_150_000.0
DX = Tuning(18_143_500.0, "cw")


def stream(tones: dict[float, float], duration_s: float = 2.0, rate: float = RATE, noise: float = 1e-4) -> Block:
    time_s = np.arange(int(duration_s * rate)) / rate
    rng = np.random.default_rng(7)
    samples = noise * (rng.standard_normal(len(time_s)) + 1j * rng.standard_normal(len(time_s)))
    for hz, amplitude in tones.items():
        samples = samples + amplitude * np.exp(2j * np.pi * (hz - CENTER) * time_s)
    return Block(0, rate, CENTER, samples.astype(np.complex64))


def split(block: Block, sizes: list[int]) -> list[Block]:
    blocks, at, turn = [], 0, 0
    while at < len(block.samples):
        size = sizes[turn % len(sizes)]
        blocks.append(Block(at, block.sample_rate_hz, block.center_hz, block.samples[at : at + size]))
        at, turn = at + size, turn + 1
    return blocks


def level_db(audio: npt.NDArray[np.int16], hz: float) -> float:
    """Level of the tone at `hz` in the second half, dB over full scale."""
    part = audio[len(audio) // 2 :].astype(float) / 32768
    window = np.hanning(len(part))
    tone = np.exp(-2j * np.pi * hz * np.arange(len(part)) / SOUND_RATE_HZ)
    return float(20 * np.log10(2 * abs(np.sum(part * window * tone)) / window.sum() + 1e-12))


def peak_hz(audio: npt.NDArray[np.int16]) -> float:
    part = audio[len(audio) // 2 :].astype(float)
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part))))
    return float(np.argmax(spectrum) * SOUND_RATE_HZ / len(part))


@pytest.mark.parametrize("rate", [48_000.0, 96_000.0, 250_000.0, 44_100.0])
def test_cw_carrier_comes_out_at_the_pitch_in_its_own_ear(rate: float) -> None:
    spot = 18_150_123.0 if rate > 46_000 else 18_149_877.0
    block = stream({DX.frequency_hz: 0.1, spot: 0.02}, rate=rate)
    pcm = TwoEar(rate, CENTER, DX, Tuning(spot, "cw")).feed(block).pcm
    assert abs(peak_hz(pcm[:, 0]) - 600) < 2
    assert abs(peak_hz(pcm[:, 1]) - 600) < 2


def test_neighbour_at_500_hz_is_out_of_the_cw_filter() -> None:
    block = stream({18_151_000.0: 0.01, 18_151_500.0: 0.01})
    pcm = TwoEar(RATE, CENTER, DX, Tuning(18_151_000.0, "cw")).feed(block).pcm
    assert level_db(pcm[:, 1], 600) - level_db(pcm[:, 1], 1100) > 55


@pytest.mark.parametrize(("mode", "side"), [("usb", 1), ("lsb", -1)])
def test_opposite_sideband_is_down_more_than_40_db(mode: Mode, side: int) -> None:
    spot = 18_151_000.0
    # Wanted tones at 700 and 1900 Hz, one at 1200 Hz on the wrong side, all equally strong.
    block = stream({spot + side * 700: 0.01, spot + side * 1900: 0.01, spot - side * 1200: 0.01})
    ear = TwoEar(RATE, CENTER, DX, Tuning(spot, mode)).feed(block).pcm[:, 1]
    assert abs(level_db(ear, 700) - level_db(ear, 1900)) < 0.5
    assert level_db(ear, 700) - level_db(ear, 1200) > 40


def test_block_sizes_change_no_sample() -> None:
    block = stream({DX.frequency_hz: 0.1, 18_151_010.0: 0.01}, duration_s=0.7, noise=0.01)
    right = Tuning(18_151_000.0, "usb")
    whole = TwoEar(RATE, CENTER, DX, right).feed(block).pcm
    for sizes in ([1000], [1, 4999, 37], [9600], [70_000]):
        ears = TwoEar(RATE, CENTER, DX, right)
        sounds = [ears.feed(part) for part in split(block, sizes)]
        np.testing.assert_array_equal(np.concatenate([s.pcm for s in sounds]), whole)
        starts = np.cumsum([0, *[len(s.pcm) for s in sounds]])[:-1]
        assert [s.first_sample for s in sounds] == starts.tolist()


def test_ears_are_level_matched_though_the_signals_differ_by_60_db() -> None:
    block = stream({DX.frequency_hz: 0.5, 18_151_000.0: 0.0005}, duration_s=9.0, noise=1e-7)
    pcm = TwoEar(RATE, CENTER, DX, Tuning(18_151_000.0, "cw")).feed(block).pcm[-12_000:].astype(float)
    rms = np.sqrt(np.mean(pcm**2, axis=0))
    assert abs(20 * np.log10(rms[0] / rms[1])) < 1.0


def test_limiter_holds_when_a_strong_caller_starts() -> None:
    quiet, loud = stream({}, 3.0), stream({18_151_000.0: 3.0}, 1.0)
    joined = Block(0, RATE, CENTER, np.concatenate([quiet.samples, loud.samples]))
    ear = TwoEar(RATE, CENTER, DX, Tuning(18_151_000.0, "cw")).feed(joined).pcm[:, 1]
    assert np.abs(ear.astype(int)).max() <= CEILING * 32767 + 1
    # ... by its gain and not by cutting the tops off: the onset has no strong harmonic.
    onset = ear[3 * SOUND_RATE_HZ : 3 * SOUND_RATE_HZ + 2400]
    assert level_db(onset, 600) - level_db(onset, 1800) > 30


def test_ducking_lowers_the_dx_only() -> None:
    block = stream({DX.frequency_hz: 0.1, 18_151_000.0: 0.1})
    levels = []
    for ducked in (False, True):
        ears = TwoEar(RATE, CENTER, DX, Tuning(18_151_000.0, "cw"))
        ears.ducked = ducked
        pcm = ears.feed(block).pcm
        levels.append((level_db(pcm[:, 0], 600), level_db(pcm[:, 1], 600)))
    assert abs(levels[0][0] - levels[1][0] - 10) < 0.2
    assert abs(levels[0][1] - levels[1][1]) < 0.01


def test_retuning_does_not_click() -> None:
    block = stream({18_151_000.0: 0.1, 18_152_000.0: 0.1}, duration_s=1.0)
    ears = TwoEar(RATE, CENTER, DX, Tuning(18_151_000.0, "cw"))
    half = split(block, [48_000])
    first = ears.feed(half[0]).pcm
    ears.tune("right", Tuning(18_152_000.0, "cw"))
    ear = np.concatenate([first, ears.feed(half[1]).pcm])[:, 1].astype(float) / 32768
    steps = np.abs(np.diff(ear))
    # No step may be larger than that of a 600 Hz tone at the ceiling.
    assert steps.max() < 1.1 * CEILING * 2 * np.pi * 600 / SOUND_RATE_HZ


def test_spot_outside_the_stream_is_silent_and_missing_samples_are_kept_time() -> None:
    block = stream({DX.frequency_hz: 0.1}, duration_s=1.0)
    parts = split(block, [9600])
    ears = TwoEar(RATE, CENTER, DX, Tuning(19_000_000.0, "cw"))
    pcm = np.concatenate([ears.feed(p).pcm for i, p in enumerate(parts) if i != 5])
    whole = TwoEar(RATE, CENTER, DX, DX).feed(block).pcm
    assert not pcm[:, 1].any()
    assert len(pcm) == len(whole)


def test_replay_renders_the_answer_from_the_ring_at_any_spot() -> None:
    ring = Ring(length_s=3.0)
    for part in split(stream({18_152_300.0: 0.01}, duration_s=6.0), [9600]):
        ring.feed(part)
    cut = ring.cut(4.0, 5.0)
    assert cut is not None
    assert (cut.start_s, cut.stop_s) == (4.0, 5.0)
    replay = render_spot(cut, Tuning(18_152_300.0, "cw"))
    assert abs(len(replay) / SOUND_RATE_HZ - 1.04) < 0.03
    assert abs(peak_hz(replay[:11_000]) - 600) < 3
    assert ring.cut(0.0, 1.0) is None


def test_odd_rate_is_refused_in_one_sentence() -> None:
    with pytest.raises(HearmarkError, match="multiple of 50 Hz"):
        TwoEar(7_812.5, CENTER, DX, DX)


@pytest.mark.parametrize(
    ("width", "inside", "outside"), [("narrow", 60.0, 250.0), ("usual", 150.0, 350.0), ("wide", 340.0, 560.0)]
)
def test_filters_are_as_wide_as_they_say(width: str, inside: float, outside: float) -> None:
    for away, passes in ((inside, True), (outside, False)):
        block = stream({18_151_000.0: 0.01, 18_151_000.0 + away: 0.01})
        pcm = TwoEar(RATE, CENTER, DX, Tuning(18_151_000.0, "cw", width)).feed(block).pcm  # type: ignore[arg-type]
        apart = level_db(pcm[:, 1], 600.0) - level_db(pcm[:, 1], 600.0 + away)
        assert apart < 3.0 if passes else apart > 40.0, (width, away)


def test_a_voice_filter_that_is_narrow_leaves_out_the_treble() -> None:
    block = stream({18_151_000.0 + 1000: 0.01, 18_151_000.0 + 2500: 0.01})
    heard = {}
    for width in ("narrow", "usual"):
        pcm = TwoEar(RATE, CENTER, DX, Tuning(18_151_000.0, "usb", width)).feed(block).pcm  # type: ignore[arg-type]
        heard[width] = level_db(pcm[:, 1], 1000.0) - level_db(pcm[:, 1], 2500.0)
    assert heard["usual"] < 1.0
    assert heard["narrow"] > 40.0


def test_slowed_morse_takes_longer_and_keeps_its_pitch() -> None:
    time_s = np.arange(12_000) / SOUND_RATE_HZ
    keyed = (np.floor(time_s / 0.05) % 2 == 0) * np.sin(2 * np.pi * 600 * time_s)
    longer = slowed((keyed * 8000).astype(np.int16))
    assert len(longer) == 18_000
    assert abs(peak_hz(longer) - 600) < 2
    envelope = np.abs(longer[: 18_000 // 900 * 900].astype(float)).reshape(-1, 900).mean(axis=1)
    on, off = envelope[2:-2:2], envelope[3:-2:2]
    assert on.min() > 5 * off.max()
    assert np.abs(longer).max() < 9_500
