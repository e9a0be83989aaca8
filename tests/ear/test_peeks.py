"""One receiver: where to peek, and what silence there means."""

import numpy as np
import pytest

from hearmark.ear.belief import Belief
from hearmark.ear.peeks import Peeks
from hearmark.events import Mode

DX, LOW, HIGH = 14_023_000.0, 14_025_000.0, 14_030_000.0


def settled(mode: Mode = "cw") -> Belief:
    """He was answered near 27.2 MHz and then near 28.6, and so on."""
    belief = Belief(LOW, HIGH, mode, dx_hz=DX)
    for turn in range(8):
        belief = belief.mark(20.0 * turn, LOW + (2_200.0 if turn % 2 else 3_600.0), 0.95)
    return belief


def test_the_sentence_names_the_likeliest_places_and_the_way_back() -> None:
    peeks = Peeks("cw", DX)
    said = peeks.planned(1, settled().ear(160.0))
    assert said.startswith("listen at +")
    places = [float(word.strip(",")) for word in said.split(" kHz")[0].split() if word.startswith("+")]
    assert min(abs(places[0] - 4.2), abs(places[0] - 5.6)) < 1.2, "within the slice of the wide filter"
    assert "back by" in said
    assert peeks.planned(1, Belief(LOW, HIGH, "cw").ear(161.0)) == said, "one plan for one over"


def test_the_dial_is_movable_once_it_moved() -> None:
    peeks = Peeks("cw", DX)
    peeks.dial(DX - 700.0, 0.0, 1.0)
    peeks.dial(DX - 700.0, 1.0, 2.0)
    assert not peeks.movable
    peeks.dial(DX + 2_000.0, 2.0, 3.0)
    assert peeks.movable


@pytest.mark.parametrize(("mode", "dial_hz"), [("cw", LOW + 1_500.0), ("usb", LOW + 2_200.0), ("lsb", LOW + 2_200.0)])
def test_silence_makes_the_slice_less_likely(mode: Mode, dial_hz: float) -> None:
    peeks = Peeks(mode, DX)
    peeks.dial(DX, 0.0, 160.0)
    peeks.dial(dial_hz, 160.0, 163.0)
    peeks.dial(DX, 163.0, 170.0)
    before = settled(mode)
    after = peeks.unheard(before, 160.2, 168.0, -5)
    plain = before.missed(168.0, -5)
    there = np.abs(before.frequency_hz - (LOW + 2_200.0)) < 200.0
    step_hz = before.frequency_hz[1] - before.frequency_hz[0]
    told, untold = (float(b.density_per_hz()[there].sum() * step_hz) for b in (after, plain))
    # two spots: not heard on this one means he was on the other, so that it is now this one's turn, or he was missed
    assert told != pytest.approx(untold, abs=0.01)
    elsewhere = Peeks(mode, DX)
    elsewhere.dial(DX - 20_000.0, 160.0, 168.0)
    nothing = elsewhere.unheard(before, 160.2, 168.0, -5)
    assert np.allclose(nothing.density_per_hz(), plain.density_per_hz(), rtol=0.02)


def test_a_plan_is_made_for_the_filter_in_use() -> None:
    wide, narrow = Peeks("cw", DX), Peeks("cw", DX)
    narrow.passes(350.0, 850.0)
    wide.passes(300.0, 2_700.0)
    ear = settled().ear(160.0)
    said = [peeks.planned(1, ear) for peeks in (narrow, wide)]
    assert all("filter" not in words for words in said), "there is no other to choose"
    moves = [words.count("+") for words in said]
    assert moves[0] >= moves[1] >= 1


def test_it_is_back_before_he_usually_begins_again() -> None:
    peeks = Peeks("cw", DX)
    peeks.passes(350.0, 850.0)
    back_s = float(peeks.planned(1, settled().ear(160.0)).split("back by ")[1].split(" s")[0])
    assert 2.0 <= back_s <= 2.8


def test_silence_counts_for_what_the_filter_passes_alone() -> None:
    before = settled()
    there = np.abs(before.frequency_hz - (LOW + 2_200.0)) < 100.0
    step_hz = before.frequency_hz[1] - before.frequency_hz[0]
    told = []
    for low_hz, high_hz in ((350.0, 850.0), (1_350.0, 1_850.0)):
        peeks = Peeks("cw", DX)
        peeks.passes(low_hz, high_hz)
        peeks.dial(LOW + 1_600.0, 160.0, 163.0)
        told.append(float(peeks.unheard(before, 160.2, 168.0, -5).density_per_hz()[there].sum() * step_hz))
    assert told[0] != pytest.approx(told[1], abs=0.01)


def test_what_is_told_is_what_the_dial_shows() -> None:
    """The middle of a wide filter is not the carrier that the dial shows."""
    plain, shifted = Peeks("cw", DX), Peeks("cw", DX)
    plain.passes(300.0, 2_700.0)
    shifted.passes(300.0, 2_700.0, 600.0)
    ear = settled().ear(160.0)
    first = [float(peeks.planned(1, ear).split("listen at ")[1].split()[0].strip(",")) for peeks in (plain, shifted)]
    assert first[1] - first[0] == pytest.approx(-0.9, abs=0.11)
