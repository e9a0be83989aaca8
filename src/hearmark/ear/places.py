"""The places where he may listen: an even grid over the window and a margin, and how marks scatter about a place."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from hearmark.errors import HearmarkError
from hearmark.events import FloatArray

SCATTER_HZ = np.array([80.0, 125.0, 240.0, 180.0])
"""Standard deviation of most answered callers about the place where the DX listens: one of these, learned by use."""
TAIL_SHARE, TAIL_HZ = np.array([0.02, 0.02, 0.05, 0.3]), np.array([450.0, 450.0, 700.0, 1_200.0])
"""With each goes a share of callers taken farther off: few, or (the last) a good many."""
SCATTER_SHARE = np.array([0.12, 0.68, 0.1, 0.1])
"""How common each is; common practice, no source."""
FOLDED = 0.95
"""Share of the callers beyond the edge of the window who are found as far inside instead."""
MOST_PLACES = 300
MOST_PAIR_PLACES = 90


def _scatter(offset_hz: FloatArray, extra_hz: float = 0.0) -> FloatArray:
    """Density per hertz of an answered caller `offset_hz` from the place, under each scatter; shape (4, *offset)."""
    near_hz, far_hz, share = (
        values.reshape(-1, *[1] * np.ndim(offset_hz))
        for values in (np.hypot(SCATTER_HZ, extra_hz), np.hypot(TAIL_HZ, extra_hz), TAIL_SHARE)
    )
    norm = np.sqrt(2.0 * np.pi)
    near = np.exp(-0.5 * (offset_hz[None] / near_hz) ** 2) / (near_hz * norm)
    far = np.exp(-0.5 * (offset_hz[None] / far_hz) ** 2) / (far_hz * norm)
    return np.asarray((1.0 - share) * near + share * far)


def _kept_inside(kernel: FloatArray, outside: int) -> FloatArray:
    """Fold most of what scatters over the edge of the window back inside: few call out there. Kernel (4, n, places)."""
    folded = kernel.copy()
    folded[:, :outside] *= 1.0 - FOLDED
    folded[:, -outside:] *= 1.0 - FOLDED
    folded[:, outside + 1 : 2 * outside + 1] += FOLDED * kernel[:, :outside][:, ::-1]
    folded[:, -2 * outside - 1 : -outside - 1] += FOLDED * kernel[:, -outside:][:, ::-1]
    return folded


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Grid of one window. `frequency_hz` shape (n,); places `first`..`last` lie in the window.

    The pairs of the habit "two spots" live on a coarser grid of m places, `coarse_hz`. `uniform` (n,) is the
    probability of each place when nothing is known, `pair_prior` (m, m) that of the other spot given this one.
    """

    low_hz: float
    high_hz: float
    frequency_hz: FloatArray
    step_hz: float
    first: int
    last: int
    uniform: FloatArray
    everywhere_per_hz: FloatArray
    coarse_hz: FloatArray
    pair_prior: FloatArray
    _kernel: FloatArray
    _kernel_coarse: FloatArray
    _to_coarse: FloatArray
    _to_fine: FloatArray

    @property
    def width_hz(self) -> float:
        """Width of the window."""
        return self.high_hz - self.low_hz

    def scatter(self, place: FloatArray, scatter: FloatArray) -> FloatArray:
        """Density per hertz of the answered caller (n,) from probability of the place (n,) and of each scatter (4,)."""
        return np.asarray(scatter @ (self._kernel @ place))

    def scatter_rows(self, places: FloatArray, scatter: FloatArray) -> FloatArray:
        """The same for several rows at once, (k, n) to (k, n)."""
        return np.asarray(np.tensordot(scatter, self._kernel @ places.T, 1).T)

    def scatter_coarse(self, place: FloatArray, scatter: FloatArray) -> FloatArray:
        """The same from the coarse grid (m,) to the fine one (n,)."""
        return np.asarray(scatter @ (self._kernel_coarse @ place))

    def seen_from(self, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean of `weight` (n,) over the answered caller, for each scatter and place: fine (4, n) and coarse (4, m)."""
        weighted = weight * self.step_hz
        fine = np.einsum("sfp,f->sp", self._kernel, weighted)
        coarse = np.einsum("sfp,f->sp", self._kernel_coarse, weighted)
        return np.minimum(fine, 1.0), np.minimum(coarse, 1.0)

    def coarse(self, place: FloatArray) -> FloatArray:
        """Probability per fine place (n,) to probability per coarse place (m,)."""
        return np.asarray(self._to_coarse @ place)

    def fine(self, place: FloatArray) -> FloatArray:
        """Probability per coarse place (m,) to probability per fine place (n,)."""
        return np.asarray(self._to_fine @ place)

    def likelihood(self, frequency_hz: float) -> FloatArray:
        """Density of an answered caller on `frequency_hz` for each scatter and place, shape (4, n)."""
        return _scatter(self.frequency_hz - frequency_hz)

    def likelihood_coarse(self, frequency_hz: float) -> FloatArray:
        """The same on the coarse grid, shape (4, m)."""
        return _scatter(self.coarse_hz - frequency_hz, (self.coarse_hz[1] - self.coarse_hz[0]) / np.sqrt(12.0))

    def at(self, density: FloatArray, frequency_hz: float) -> float:
        """A density of shape (n,) read at one frequency; off the grid the value at its end."""
        return float(np.interp(frequency_hz, self.frequency_hz, density))


@lru_cache(maxsize=32)
def places(low_hz: float, high_hz: float) -> Places:
    """Grid for a window. Raises HearmarkError unless 0 < low < high and the window is 100 Hz to 200 kHz wide."""
    width_hz = high_hz - low_hz
    if not (np.isfinite(low_hz) and np.isfinite(high_hz) and low_hz > 0.0 and 100.0 <= width_hz <= 200_000.0):
        raise HearmarkError(
            f"The window {low_hz:.0f} to {high_hz:.0f} Hz cannot be used: give its lower and upper edge in hertz, "
            "100 Hz to 200 kHz apart."
        )
    margin_hz = max(500.0, 0.05 * width_hz)
    step_hz = 50.0
    while (width_hz + 2.0 * margin_hz) / step_hz > MOST_PLACES:
        step_hz += 10.0
    outside = int(np.ceil(margin_hz / step_hz))
    inside = round(width_hz / step_hz) + 1
    frequency_hz = np.asarray(low_hz + step_hz * np.arange(-outside, inside + outside), dtype=np.float64)
    uniform = np.zeros(len(frequency_hz))
    uniform[outside : outside + inside] = 1.0 / inside
    coarse_count = int(np.clip(width_hz / 100.0, 4, MOST_PAIR_PLACES))
    coarse_hz = np.linspace(low_hz, high_hz, coarse_count)
    coarse_step_hz = coarse_hz[1] - coarse_hz[0]
    apart = np.abs(coarse_hz[:, None] - coarse_hz[None, :]) > min(200.0, 0.3 * width_hz)
    pair_prior = apart / apart.sum(axis=1, keepdims=True)
    tent = np.maximum(1.0 - np.abs(frequency_hz[:, None] - coarse_hz[None, :]) / coarse_step_hz, 0.0)
    tent[:outside] = 0.0
    tent[outside + inside :] = 0.0
    beyond = tent.sum(axis=1, keepdims=True)
    to_coarse = (tent / np.where(beyond > 0.0, beyond, 1.0)).T
    fine = np.where(tent.sum(axis=0, keepdims=True) > 0.0, tent, uniform[:, None])
    return Places(
        low_hz=low_hz,
        high_hz=high_hz,
        frequency_hz=frequency_hz,
        step_hz=step_hz,
        first=outside,
        last=outside + inside - 1,
        uniform=uniform,
        everywhere_per_hz=np.full(len(frequency_hz), 1.0 / (len(frequency_hz) * step_hz)),
        coarse_hz=coarse_hz,
        pair_prior=pair_prior,
        _kernel=_kept_inside(_scatter(frequency_hz[:, None] - frequency_hz[None, :]), outside),
        _kernel_coarse=_kept_inside(
            _scatter(frequency_hz[:, None] - coarse_hz[None, :], coarse_step_hz / np.sqrt(12.0)), outside
        ),
        _to_coarse=to_coarse,
        _to_fine=fine / fine.sum(axis=0, keepdims=True),
    )
