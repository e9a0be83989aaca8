"""The order of peeks: against every order there is, and what a receiver and an operator may expect of it."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from hearmark.ear.belief import Belief
from hearmark.ear.search import NARROW, REPLY, VOICE, WIDE, Receiver, Reply, Search, plan, sweep, unheard
from hearmark.errors import HearmarkError
from hearmark.events import Ear, FloatArray

LOW, HIGH, DX = 14_025_000.0, 14_030_000.0, 14_024_000.0
GRID = np.arange(LOW, HIGH + 1.0, 50.0)


def ear(*places: tuple[float, float], spread_hz: float = 150.0) -> Ear:
    """Humps at (offset from LOW, share) on an even floor."""
    density = np.full(len(GRID), 0.1 / (HIGH - LOW))
    for offset_hz, share in places:
        density = density + share * norm.pdf(GRID, LOW + offset_hz, spread_hz)
    return Ear(0.0, GRID, density / (density.sum() * 50.0), "")


def worth(order: tuple[int, ...], mids: FloatArray, chance: FloatArray, receiver: Receiver, reply: Reply) -> float:
    """Chance to find the station by peeks in this order, from the definition."""
    back_s = reply.delay_s + reply.length_s * np.exp(1.28 * reply.spread)
    left, at_s, at_hz, found = chance.copy(), 0.0, DX, 0.0
    for index in order:
        if at_hz != mids[index]:
            distance_khz = abs(mids[index] - at_hz) / 1_000.0
            at_s += receiver.move_s + receiver.settle_s + receiver.move_s_per_khz * distance_khz
        at_s, at_hz = max(at_s, reply.delay_s) + receiver.dwell_s, mids[index]
        if at_s > back_s:
            break
        lasts = norm.sf(np.log((at_s - reply.delay_s) / reply.length_s) / reply.spread)
        found += left[index] * (1.0 - receiver.overlook) * lasts
        left[index] *= receiver.overlook
    return float(found)


@pytest.mark.parametrize("seed", range(6))
def test_no_order_is_better(seed: int) -> None:
    """Five slices, up to five peeks with repeats: 3125 orders for every way to lay the slices."""
    rng = np.random.default_rng(seed)
    receiver = Receiver(
        1_100.0, move_s=rng.uniform(0.1, 0.3), move_s_per_khz=rng.uniform(0.0, 0.3), settle_s=rng.uniform(0.0, 0.2),
        dwell_s=rng.uniform(0.3, 0.5), overlook=rng.uniform(0.05, 0.4),
    )  # fmt: skip
    reply = Reply(0.3, rng.uniform(0.9, 1.3), 0.25)
    believed = ear((rng.uniform(0.0, 5_000.0), 0.6), (rng.uniform(0.0, 5_000.0), 0.4), spread_hz=500.0)
    search = plan(believed, DX, (receiver,), reply)
    best = 0.0
    for phase in range(5):
        first = GRID[0] - 25.0 - (1.0 - phase / 5) * 1_100.0
        cuts = first + 1_100.0 * np.arange(7)
        total = np.append(0.0, np.cumsum(believed.density_per_hz * 50.0))
        chance = np.diff(np.interp(cuts, np.append(GRID - 25.0, GRID[-1] + 25.0), total))
        mids = cuts[:-1] + 550.0
        for order in itertools.product(range(len(mids)), repeat=4):
            best = max(best, worth(order, mids, chance, receiver, reply))
        assert len(search.peeks) <= 4
    assert search.exact
    assert search.found == pytest.approx(best, abs=2e-4)


def test_begins_where_he_most_likely_is_and_goes_to_the_other_place_soon() -> None:
    search = plan(ear((1_300.0, 4.0), (3_600.0, 1.0)), DX, (NARROW,), REPLY["cw"])
    assert any(abs(peek.frequency_hz - LOW - 1_300.0) <= 250.0 for peek in search.peeks[:2])
    assert {round((peek.frequency_hz - LOW) / 1_000.0) for peek in search.peeks[:4]} >= {1, 4}
    assert search.found == pytest.approx(sum(peek.gain for peek in search.peeks), abs=2e-3)


def test_peeks_do_not_overlap_keep_to_the_receiver_and_end_in_time() -> None:
    for receiver in (NARROW, replace(NARROW, move_s=0.3), VOICE):
        search = plan(ear((2_500.0, 1.0), spread_hz=900.0), DX, (receiver,), REPLY["cw"])
        at_s, at_hz = 0.0, DX
        for peek in search.peeks:
            moves = 0.0 if peek.frequency_hz == at_hz else receiver.move_s + receiver.settle_s
            assert peek.start_s >= at_s + moves - 1e-9
            assert peek.start_s >= REPLY["cw"].delay_s
            assert peek.stop_s - peek.start_s == pytest.approx(receiver.dwell_s)
            at_s, at_hz = peek.stop_s, peek.frequency_hz
        assert at_s <= search.back_s


def test_finds_more_than_a_sweep_where_something_is_known() -> None:
    believed = ear((4_200.0, 3.0))
    search, plain = plan(believed, DX, (NARROW,), REPLY["cw"]), sweep(LOW, HIGH, DX, NARROW, REPLY["cw"])
    swept = 0.0
    for peek in plain.peeks:
        inside = np.abs(GRID - peek.frequency_hz) <= 250.0
        lasts = norm.sf(np.log((peek.stop_s - 0.4) / 2.2) / 0.35)
        swept += float(believed.density_per_hz[inside].sum() * 50.0) * 0.88 * lasts
    assert search.found > 2.0 * swept
    assert plain.peeks[0].frequency_hz == LOW + 250.0


def test_a_sweep_from_below_begins_at_the_near_edge() -> None:
    plain = sweep(LOW, HIGH, HIGH + 1_000.0, NARROW, REPLY["cw"])
    assert plain.peeks[0].frequency_hz == HIGH - 250.0


def test_takes_the_filter_that_promises_more() -> None:
    unknown = ear((2_500.0, 1.0), spread_hz=2_000.0)
    assert plan(unknown, DX, (NARROW, WIDE), REPLY["cw"]).receiver is WIDE
    known = ear((2_500.0, 50.0), spread_hz=60.0)
    assert plan(known, DX, (NARROW, WIDE), REPLY["cw"]).receiver is NARROW


def test_what_was_not_heard_makes_the_searched_places_less_likely() -> None:
    """He stays; twice nothing was heard at the likelier of two places: then he is at the other."""
    belief = Belief(LOW, HIGH, "cw", dx_hz=DX).note("stays")
    for time_s, offset_hz in ((0.0, 1_000.0), (20.0, 4_000.0)):
        belief = belief.mark(time_s, LOW + offset_hz, 0.6)

    def near(offset_hz: float, which: Belief) -> float:
        inside = np.abs(which.frequency_hz - LOW - offset_hz) < 300.0
        return float(which.density_per_hz()[inside].sum() * (which.frequency_hz[1] - which.frequency_hz[0]))

    search = plan(belief.ear(30.0), DX, (NARROW,), REPLY["cw"])
    only = Search(search.receiver, tuple(p for p in search.peeks if p.frequency_hz > LOW + 3_000.0)[:1], 0.0, 3.0, True)
    assert len(only.peeks) == 1
    known = unheard(unheard(belief, 40.0, only, REPLY["cw"], 1), 60.0, only, REPLY["cw"], 1)
    blind = belief.missed(40.0).missed(60.0)
    assert near(4_000.0, known) < 0.5 * near(4_000.0, blind)
    assert near(1_000.0, known) > near(1_000.0, blind)
    total = known.density_per_hz().sum() * (known.frequency_hz[1] - known.frequency_hz[0])
    assert total == pytest.approx(1.0, abs=1e-6)


def test_silence_where_nothing_was_sought_is_a_missed_turn() -> None:
    belief = Belief(LOW, HIGH, "cw", dx_hz=DX).mark(0.0, LOW + 1_000.0, 0.9)
    nothing = belief.unheard(20.0, GRID, np.zeros(len(GRID)))
    assert nothing.density_per_hz() == pytest.approx(belief.missed(20.0).density_per_hz(), rel=0.02, abs=1e-7)


def test_a_search_in_vain_can_be_replaced_by_a_mark() -> None:
    belief = Belief(LOW, HIGH, "cw", dx_hz=DX).mark(0.0, LOW + 1_000.0, 0.9)
    sought = belief.unheard(20.0, GRID, np.full(len(GRID), 0.8), id=7)
    marked = sought.mark(20.0, LOW + 2_000.0, 0.9, id=7)
    assert marked.density_per_hz() == pytest.approx(belief.mark(20.0, LOW + 2_000.0, 0.9).density_per_hz())


def test_bad_input_is_one_sentence() -> None:
    with pytest.raises(HearmarkError, match="at least one receiver"):
        plan(ear((1_000.0, 1.0)), DX, (), REPLY["cw"])
    with pytest.raises(HearmarkError, match="overlook probability"):
        Receiver(500.0, overlook=1.0)
    with pytest.raises(HearmarkError, match="from 0 to 1"):
        Belief(LOW, HIGH, "cw").unheard(0.0, GRID, np.full(len(GRID), 1.5))
