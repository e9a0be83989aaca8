"""Noise density per frequency, under a crowd.

The floor is read off what is left when everybody pauses. Four steps, each robust against one enemy:

1. a low quantile of the powers in cells of 250 Hz by 128 ms: not lifted by a few carriers in a cell;
2. a low quantile of those over six seconds: not lifted by crashes, nor by a pile-up that ever pauses;
3. a median over neighbouring cells: not lifted by steady carriers, keeps the edges of filters;
4. level and shape apart: the level of the whole band follows at once; the shape of the floor over
   frequency falls fast, but rises slowly where the powers in a cell differ more than those of noise
   would, so that a crowd without pauses is not taken for noise while the edges of a receiver are.

In noise, each power is exponential (chi-square with two degrees of freedom), so step 1 reads
-ln(1 - q) of the mean; steps 2 and 3 take order statistics of nearly normal values whose spread
follows from the number of independent looks in a cell. Both corrections are computed, none is tuned.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import eval_laguerre, ndtri

from hearmark.errors import HearmarkError
from hearmark.spectrum.transform import HOP_S, WINDOW_S, Grid, PowerArray

Decibels = npt.NDArray[np.float64]

CELL_FRAMES = 16
CELL_BINS = 16
MEMORY_CELLS = 48
CELL_QUANTILE = 0.3
UPPER_QUANTILE = 0.75
TIME_QUANTILE = 0.15
BAND_QUANTILE = 0.4
RISE_DB_PER_S = 0.05
"""How fast the shape may rise towards cells that stand far above it and do not look like noise."""
CONTRAST_DB = 1.5
"""A cell whose upper and lower quantile differ by this much more than those of noise does not look like noise."""
RESTLESS_DB = 2.0
"""Nor does one whose level varies more than this (standard deviation; noise: about 1 dB) from cell to cell."""
START_DB = 3.0
"""How far above the middle of the band the floor may stand at the start: a crowd is not yet told from noise."""
_NEAR_DB = 1.5
_NEAR_SHARE = 0.06
_RISE_SHARE = 0.1
_FALL_SHARE = 0.3
_FRAME_STEP = 4
_SILENCE = 1e-30


def _looks(lags: npt.NDArray[np.float64], count: int) -> float:
    """Independent looks among `count` values whose power correlation at lag 1, 2, ... is `lags`."""
    k = np.arange(1, min(count, len(lags) + 1))
    return float(count / (1 + 2 * np.sum((1 - k / count) * lags[: len(k)])))


def _hann_correlation() -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Power correlation of Hann frames in noise over time (in steps taken) and over frequency (in bins)."""
    size = 512
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(size) / size)
    step = round(size * HOP_S / WINDOW_S) * _FRAME_STEP
    energy = np.sum(window**2)
    over_time = np.array([np.sum(window[k:] * window[: size - k]) / energy for k in range(step, size, step)]) ** 2
    over_bins = np.abs(np.fft.fft(window**2)[1:6] / energy) ** 2
    return over_time, over_bins


def _below_correlation(correlation: npt.NDArray[np.float64], q: float, terms: int = 40) -> npt.NDArray[np.float64]:
    """Correlation of "lies below the q quantile" for exponential powers with this power correlation.

    The Laguerre expansion of Kibble's bivariate gamma distribution (Sankhya 5, 137, 1941), integrated term by term.
    """
    a = -np.log1p(-q)
    k = np.arange(1, terms)
    weight = np.exp(-2 * a) * (eval_laguerre(k - 1, a) - eval_laguerre(k, a)) ** 2 / (q * (1 - q))
    return np.asarray((correlation[:, None] ** k) @ weight)


class Floor:
    """Running noise density of every bin of a grid; unit as the powers fed.

    Updated every 128 ms of stream; the first value comes from the first frames fed.
    """

    def __init__(self, grid: Grid) -> None:
        if grid.bins < 4:
            raise HearmarkError(f"A noise floor needs at least 4 frequency bins, got {grid.bins}: widen the range.")
        self.bins = grid.bins
        self._width = min(CELL_BINS, grid.bins)
        starts = list(range(0, grid.bins - self._width + 1, self._width))
        if starts[-1] + self._width < grid.bins:
            starts.append(grid.bins - self._width)
        self._cells = np.array(starts)[:, None] + np.arange(self._width)
        cell = np.arange(len(starts))[:, None]
        self._five = np.clip(cell + np.arange(-2, 3), 0, len(starts) - 1)
        self._three = np.clip(cell + np.arange(-1, 2), 0, len(starts) - 1)
        self._centre = self._cells.mean(axis=1)
        over_time, over_bins = _hann_correlation()
        looks = _looks(_below_correlation(over_bins, CELL_QUANTILE), self._width)
        looks *= _looks(_below_correlation(over_time, CELL_QUANTILE), CELL_FRAMES // _FRAME_STEP)
        # standard deviation of a cell's level in noise: of a sample quantile of exponential powers, in dB
        odds = CELL_QUANTILE / (1 - CELL_QUANTILE)
        self._spread_db = 10 / np.log(10) * np.sqrt(odds / looks) / -np.log1p(-CELL_QUANTILE)
        self._memory = np.zeros((MEMORY_CELLS, len(starts)), np.float64)
        self._contrast = np.zeros_like(self._memory)
        self._count = 0
        self._pending: PowerArray = np.zeros((0, grid.bins), np.float32)
        self._shape: Decibels | None = None
        self._rise_db = RISE_DB_PER_S * CELL_FRAMES * grid.hop_s
        self.density: PowerArray = np.full(grid.bins, _SILENCE, np.float32)

    def feed(self, power: PowerArray) -> PowerArray:
        """Take frames of power, shape (frames, bins); return the density now, float32, shape (bins,)."""
        if power.ndim != 2 or power.shape[1] != self.bins:
            raise HearmarkError(f"The floor was made for {self.bins} bins, got powers of shape {power.shape}.")
        if not len(power):
            return self.density
        pending = np.concatenate([self._pending, power]) if len(self._pending) else power
        whole = len(pending) // CELL_FRAMES
        for k in range(whole):
            self._update(*self._cell_db(pending[k * CELL_FRAMES : (k + 1) * CELL_FRAMES]))
        self._pending = pending[whole * CELL_FRAMES :].copy()
        if not self._count:  # the first eighth of a second: the best guess there is
            self.density = self._spread(self._smooth(self._cell_db(pending)[0]))
        return self.density

    def _cell_db(self, power: PowerArray) -> tuple[Decibels, Decibels]:
        """Mean noise density of each cell, from its low quantile, and its contrast over that of noise; both in dB."""
        cells = power[::_FRAME_STEP][:, self._cells].transpose(1, 0, 2).reshape(len(self._cells), -1)
        count = cells.shape[1]
        ranks = [int(CELL_QUANTILE * count), int(UPPER_QUANTILE * count)]
        values = np.partition(cells, ranks, axis=1)[:, ranks].astype(np.float64)
        shares = (np.array(ranks) + 0.625) / (count + 0.25)
        level_db = 10 * np.log10(np.maximum(values, _SILENCE) / -np.log1p(-shares))
        return level_db[:, 0], level_db[:, 1] - level_db[:, 0]

    def _smooth(self, level_db: Decibels) -> Decibels:
        """Median of five neighbouring cells, then mean of three, along the last axis."""
        if level_db.shape[-1] < 5:
            return level_db
        median = np.sort(level_db[..., self._five], axis=-1)[..., 2]
        smooth: Decibels = median[..., self._three].mean(axis=-1)
        return smooth

    def _update(self, cell_db: Decibels, contrast_db: Decibels) -> None:
        self._memory[self._count % MEMORY_CELLS] = cell_db
        self._contrast[self._count % MEMORY_CELLS] = contrast_db
        self._count += 1
        filled = min(self._count, MEMORY_CELLS)
        rank = int(TIME_QUANTILE * filled)
        low = np.partition(self._memory[:filled], rank, axis=0)[rank]
        low = low - self._spread_db * ndtri((rank + 0.625) / (filled + 0.25))
        memory = self._memory[:filled]
        smooth, contrast, unrest = self._smooth(
            np.stack([low, self._contrast[:filled].mean(axis=0), memory.std(axis=0)])
        )
        shape = self._shape
        if shape is None:
            shape = np.zeros_like(smooth)
        level = float(np.quantile(smooth - shape, BAND_QUANTILE))
        above = smooth - level - shape
        crowded = contrast > CONTRAST_DB
        if filled < MEMORY_CELLS // 6:  # the first second: believe what is there, but for a crowd
            most = START_DB + float(np.median(smooth - level)) - shape
            step = np.where(crowded, np.minimum(above, most), above)
        else:
            crowded |= unrest > RESTLESS_DB
            rise = np.where(crowded, self._rise_db, _RISE_SHARE * above)
            step = np.where(above > _NEAR_DB, rise, _NEAR_SHARE * above)
            step = np.where(above < -_NEAR_DB, _FALL_SHARE * above, step)
        self._shape = shape + step
        self.density = self._spread(level + self._shape)

    def _spread(self, level_db: Decibels) -> PowerArray:
        db = np.interp(np.arange(self.bins), self._centre, level_db)
        return np.asarray(np.exp(db * (np.log(10) / 10)), dtype=np.float32)
