import numpy as np
import pytest
from signals import RATE, keyed, morse, noise, stream, tone, voice

from hearmark.errors import HearmarkError
from hearmark.events import Emission
from hearmark.spectrum.emissions import EmissionTracker
from hearmark.spectrum.transform import Frames, Transform


def find(samples: np.ndarray) -> list[Emission]:
    """The last report of each emission, by frequency; withdrawn ones left out."""
    blocks = stream(samples)
    tracker = EmissionTracker(blocks[0][0].grid)
    found: dict[int, Emission] = {}
    for frames, floor in blocks:
        found.update({e.id: e for e in tracker.feed(frames, floor)})
    kept = [e for e in found.values() if e.stop_s is None or e.stop_s > e.start_s]
    return sorted(kept, key=lambda e: e.frequency_hz)


@pytest.mark.parametrize(("wpm", "snr_db"), [(18, 15.0), (25, 0.0), (35, 10.0), (25, 35.0)])
def test_one_station(wpm: float, snr_db: float) -> None:
    times = morse(2.0, 1.2 / wpm)
    (emission,) = find(noise(12, 1) + keyed(12, 1_003.0, snr_db, times))
    assert emission.kind == "cw"
    assert emission.start_s == pytest.approx(times[0, 0], abs=0.05)
    assert emission.stop_s == pytest.approx(times[-1, 1], abs=0.05)
    assert emission.frequency_hz == pytest.approx(1_003.0, abs=3.0)
    assert emission.snr_db == pytest.approx(snr_db, abs=2.0)


def test_two_carriers_sixty_hertz_apart_are_two_stations() -> None:
    one, two = morse(2.0, 0.048), morse(2.5, 0.041)
    found = find(noise(12, 2) + keyed(12, 500.0, 20.0, one) + keyed(12, 560.0, 12.0, two))
    assert [round(e.frequency_hz / 5) * 5 for e in found] == [500, 560]
    assert [e.start_s for e in found] == pytest.approx([2.0, 2.5], abs=0.06)


def test_a_strong_station_has_no_ghosts() -> None:
    times = np.concatenate([morse(2.0, 0.048), morse(8.0, 0.048), morse(14.0, 0.048)])
    found = find(noise(21, 3) + keyed(21, 7.8, 38.0, times))
    assert {round(e.frequency_hz / 10) * 10 for e in found} == {10}


def test_gaps_between_words_are_bridged_and_longer_ones_are_not() -> None:
    first = morse(1.0, 0.05)
    second = morse(first[-1, 1] + 0.4, 0.05)
    third = morse(second[-1, 1] + 1.6, 0.05)
    found = find(noise(24, 4) + keyed(24, -2_000.0, 15.0, np.concatenate([first, second, third])))
    assert [(e.start_s, e.stop_s) for e in sorted(found, key=lambda e: e.start_s)] == [
        pytest.approx((first[0, 0], second[-1, 1]), abs=0.05),
        pytest.approx((third[0, 0], third[-1, 1]), abs=0.05),
    ]


def test_neither_noise_nor_a_carrier_is_morse() -> None:
    carrier = tone(20, 1_200.0, 20.0) * (np.arange(20 * RATE) > 3 * RATE)
    weak = tone(20, -2_000.0, -6.0)
    assert find(noise(20, 5) + carrier + weak) == []


def test_few_pieces_of_a_voice_are_taken_for_morse() -> None:
    """In 11 s of noise shaped like speech some 2000 peaks come and go; a handful of them look keyed."""
    talk = voice(20, -3_000.0, 12.0, [(2.0, 6.0), (8.0, 11.0), (13.0, 17.0)], seed=6)
    assert len(find(noise(20, 5) + talk)) <= 8


def test_reports_come_early_and_keep_their_id() -> None:
    times = morse(2.0, 0.048)
    blocks = stream(noise(10, 7) + keyed(10, 300.0, 10.0, times))
    tracker = EmissionTracker(blocks[0][0].grid)
    reports = [(f.start_s, e) for f, floor in blocks for e in tracker.feed(f, floor)]
    assert len({e.id for _, e in reports}) == 1
    assert reports[0][0] < 2.8
    assert reports[0][1].stop_s is None
    assert [e.stop_s is None for _, e in reports[:-1]] == [True] * (len(reports) - 1)
    assert reports[-1][1].stop_s is not None
    assert reports[-1][0] < times[-1, 1] + 1.0


def test_a_gap_in_the_stream_ends_what_was_there() -> None:
    blocks = stream(noise(8, 8) + keyed(8, 300.0, 15.0, morse(1.0, 0.06)))
    tracker = EmissionTracker(blocks[0][0].grid)
    for frames, floor in blocks[:100]:
        tracker.feed(frames, floor)
    frames, floor = blocks[100]
    later = Frames(frames.grid, frames.first, frames.start_s + 5.0, frames.power)
    (ended,) = [e for e in tracker.feed(later, floor) if e.stop_s is not None]
    assert ended.stop_s == pytest.approx(frames.start_s, abs=0.3)


def test_other_bins_are_refused() -> None:
    (frames, floor), *_ = stream(noise(1, 9))
    tracker = EmissionTracker(Transform(RATE, 0, 0, -100, 100).grid)
    with pytest.raises(HearmarkError, match="another set of bins"):
        tracker.feed(frames, floor)
