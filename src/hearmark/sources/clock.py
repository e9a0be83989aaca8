"""How far a live source's sample clock runs from this computer's."""

from __future__ import annotations

import math

SURE_PPM = 10.0
"""No figure is given until its standard error is below this."""


class ClockMeter:
    """Least-squares line through (time of arrival, samples so far); arrival jitter averages out.

    The computer's own clock is rarely better than some ten parts per million, so the figure tells a
    wrong nominal rate or lost samples; it does not calibrate a receiver.
    """

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._origin: tuple[float, int] | None = None
        self._n = 0
        self._sums = [0.0] * 5

    def feed(self, now_s: float, samples: int) -> None:
        """`samples`: count received in all, at `now_s` on a monotonic clock."""
        if self._origin is None:
            self._origin = now_s, samples
        x = now_s - self._origin[0]
        y = (samples - self._origin[1]) / self._rate_hz - x
        self._n += 1
        for i, term in enumerate((x, y, x * x, x * y, y * y)):
            self._sums[i] += term

    @property
    def ppm(self) -> float | None:
        """Parts per million by which samples come too fast, once that is known to 10 ppm."""
        if self._n < 100:
            return None
        x, y, xx, xy, yy = (total / self._n for total in self._sums)
        variance_x, covariance, variance_y = xx - x * x, xy - x * y, yy - y * y
        if variance_x <= 0.0:
            return None
        slope = covariance / variance_x
        residual = max(variance_y - slope * covariance, 0.0)
        error = math.sqrt(residual / variance_x / self._n)
        return 1e6 * slope if 1e6 * error < SURE_PPM else None
