"""What is heard moves the prediction the right way, and not too far."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from hearmark.events import Answer, Over
from hearmark.path.chances import predict
from hearmark.path.conditions import Conditions
from hearmark.path.heard import INDEX_SD, LEVEL_SD_DB, Heard, Listener, learn
from hearmark.path.places import Place

HERE, START = Place(50.5, 11.0), datetime(2026, 3, 21, 6, tzinfo=UTC)
KNOWN = Conditions(90.0)
FAR = [Place(41.5, -73.0), Place(35.5, 139.0), Place(-23.0, -46.0), Place(30.0, 31.0), Place(60.0, 30.0)]


def measured(truth: Conditions, seed: int = 1, spread_db: float = 4.0) -> list[Heard]:
    """What would be heard under other conditions, with some scatter."""
    rng = np.random.default_rng(seed)
    times = [START + timedelta(hours=h) for h in (0, 4, 8, 12)]
    out = []
    for frequency_hz in (7.03e6, 14.05e6, 21.05e6):
        levels = predict(HERE, FAR, times, [frequency_hz], truth).heard_db_hz[:, :, 0]
        for p, place in enumerate(FAR):
            for t, when in enumerate(times):
                if levels[p, t] > 20.0:
                    out.append(Heard(place, when, frequency_hz, float(levels[p, t] + rng.normal(0, spread_db))))
                else:
                    out.append(Heard(place, when, frequency_hz, None))
    return out


def test_nothing_heard_leaves_the_prior() -> None:
    learnt = learn(HERE, [], KNOWN)
    assert learnt.stations == 0
    assert learnt.index_shift == pytest.approx(0.0, abs=1e-9)
    assert learnt.index_sd == pytest.approx(INDEX_SD, rel=0.02)
    assert learnt.level_sd_db == pytest.approx(LEVEL_SD_DB, rel=0.02)


def test_a_common_offset_is_found() -> None:
    learnt = learn(HERE, measured(Conditions(90.0, level_db=-8.0)), KNOWN)
    assert learnt.level_db == pytest.approx(-8.0, abs=3.0)
    assert learnt.level_sd_db < 0.4 * LEVEL_SD_DB


def test_a_higher_index_is_found_and_the_next_hours_come_nearer_to_the_truth() -> None:
    truth = Conditions(140.0)
    learnt = learn(HERE, measured(truth), KNOWN)
    assert 15.0 < learnt.index_shift < 85.0
    assert learnt.index_sd < INDEX_SD
    later, frequency_hz = [START + timedelta(hours=h) for h in range(13, 18)], [14.05e6, 21.05e6, 28.05e6]
    levels = [predict(HERE, FAR, later, frequency_hz, c).snr_db_hz for c in (truth, KNOWN, learnt.conditions)]
    before, after = (np.sqrt(np.mean((levels[0] - other) ** 2)) for other in levels[1:])
    assert after < 0.8 * before


def test_repeats_within_an_hour_are_one_measurement() -> None:
    one = Heard(FAR[0], START, 14.05e6, 50.0)
    assert learn(HERE, [one] * 20, KNOWN) == learn(HERE, [one], KNOWN)


def test_the_listener_keeps_what_the_engine_says_of_known_places() -> None:
    listener = Listener(START, FAR[2], lambda call: FAR[3] if call == "ZZ1AB" else None)
    listener.feed(Over(1, 5.0, 8.0, 14.023e6, snr_db=12.0))
    listener.feed(Over(2, 9.0, None, 14.023e6))
    listener.feed(Answer(3, 10.0, 12.0, 11.0, 14.025e6, 0.9, "ZZ1AB", 6.0))
    listener.feed(Answer(4, 20.0, 22.0, 21.0, 14.026e6, 0.9, "ZZ9XY", 6.0))
    heard = listener.heard()
    assert [one.place for one in heard] == [FAR[2], FAR[3]]
    assert heard[0].snr_db_hz == pytest.approx(45.98)
    assert heard[1].time == START + timedelta(seconds=10)
    listener.feed(Answer(3, 10.0, 12.0, 11.0, 14.025e6, 0.2, "ZZ1AB", 6.0, retracted_at_s=14.0))
    assert len(listener.heard()) == 1
