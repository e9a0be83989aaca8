"""The band around the pile-up as samples, made close behind the people who are on it."""

from __future__ import annotations

from hearmark.events import Block
from hearmark.simulate.people import Pileup
from hearmark.simulate.render import Renderer
from hearmark.simulate.session import Scenario, Transmission

RATES_HZ = (24_000.0, 48_000.0, 96_000.0)
EDGE_HZ = 4_000.0
"""So far beyond DX and window there is something to hear."""


def reach_hz(scenario: Scenario) -> tuple[float, float]:
    """Lowest and highest frequency that the learner can tune to."""
    edges = (scenario.dx_hz, scenario.window_low_hz, scenario.window_high_hz)
    return min(edges) - EDGE_HZ, max(edges) + EDGE_HZ


class Band:
    """`block()` gives the samples one page after the other; people must have been played to `needs_s` before."""

    def __init__(self, pileup: Pileup) -> None:
        self._pileup = pileup
        low_hz, high_hz = reach_hz(pileup.scenario)
        width_hz = high_hz - low_hz + 6_000.0
        self.rate_hz = next((rate for rate in RATES_HZ if rate >= width_hz), RATES_HZ[-1])
        self.centre_hz = float(round((low_hz + high_hz) / 2.0))
        self._made = Renderer(pileup.session(), self.rate_hz, self.centre_hz, hops=1)
        self._pages = 0

    @property
    def page_s(self) -> float:
        """Length of one block."""
        return self._made.page_samples / self.rate_hz

    @property
    def needs_s(self) -> float:
        """How far the people must have been played for the next block."""
        return (self._pages + 1) * self.page_s + self._made.ahead_s

    def hear(self, sent: Transmission) -> None:
        """Somebody sends, or broke off."""
        self._made.hear(sent, self._pileup.stations[sent.station])

    def block(self) -> Block:
        """The next samples."""
        size = self._made.page_samples
        first = self._pages * size
        self._pages += 1
        return Block(first, self.rate_hz, self.centre_hz, self._made.samples(first, size))
