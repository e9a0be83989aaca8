"""Searches that cost nothing but the look: the order that search theory gives.

M. C. Chew, "A sequential search procedure", Annals of Mathematical Statistics 38, 494-502, 1967 (from memory: the paper
was not at hand): with equal costs of a look, looking each time where posterior probability times chance of detection is
greatest maximises the probability of having found the object after every number of looks. The posterior of box i after
n looks is proportional to p_i q^n, so the looks go by p_i (1 - q) q^n. What is the best after every number of looks is
also the best when the object may vanish.
"""

import numpy as np
import pytest
from scipy.stats import norm

from hearmark.ear.search import Receiver, Reply, plan
from hearmark.events import Ear

LOW = 7_010_000.0
WIDTH = 1_000.0


def boxes(chance: list[float]) -> Ear:
    """An ear whose probability lies evenly inside boxes of one kilohertz."""
    grid = np.arange(LOW + 25.0, LOW + WIDTH * len(chance), 50.0)
    density = np.array([chance[int((f - LOW) // WIDTH)] / WIDTH for f in grid])
    return Ear(0.0, grid, density, "")


LASTING = Reply(delay_s=0.0, length_s=2.5, spread=0.8)
"""The object may vanish at any moment, so that earlier finds count more and the order is unique."""


def costless(overlook: float) -> Receiver:
    return Receiver(WIDTH, move_s=0.0, move_s_per_khz=0.0, settle_s=0.0, dwell_s=0.2, overlook=overlook)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("looks", [3, 6, 9])
def test_costless_moves_are_worth_what_the_greedy_order_is(seed: int, looks: int) -> None:
    rng = np.random.default_rng(seed)
    chance = rng.dirichlet(np.full(5, 0.8))
    overlook = float(rng.uniform(0.2, 0.6))
    gains = sorted((p * (1.0 - overlook) * overlook**n for p in chance for n in range(looks)), reverse=True)[:looks]
    there = norm.sf(np.log(0.2 * np.arange(1, looks + 1) / LASTING.length_s) / LASTING.spread)
    greedy = float(np.dot(gains, there))
    search = plan(boxes(list(chance)), LOW, (costless(overlook),), LASTING, back_s=0.2 * looks + 0.01)
    assert search.exact
    assert search.found >= greedy - 1e-3
    if all((peek.frequency_hz - LOW) % WIDTH == pytest.approx(500.0) for peek in search.peeks):
        assert search.found == pytest.approx(greedy, abs=1e-3)
        assert [peek.gain for peek in search.peeks] == pytest.approx(np.multiply(gains, there), abs=1e-3)


def test_the_order_is_that_of_posterior_times_detection() -> None:
    """By p (1 - q) q^n: 0.42, 0.175, 0.126, 0.0525, 0.038; boxes with sharp edges, so slices lie on them."""
    search = plan(boxes([0.05, 0.6, 0.05, 0.25, 0.05]), LOW, (costless(0.3),), LASTING, back_s=1.01)
    order = [round((peek.frequency_hz - LOW - 500.0) / WIDTH) for peek in search.peeks]
    assert order == [1, 3, 1, 3, 1]
