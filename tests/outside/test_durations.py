"""The density of a mark's power needs the modified Bessel function of order 0: against SciPy's."""

import numpy as np
import pytest
import scipy.special

from hearmark.modes.durations import _log_i0


@pytest.mark.parametrize("x", [0.0, 0.3, 2.0, 3.74, 3.76, 10.0, 80.0, 3_000.0])
def test_logarithm_of_the_bessel_function(x: float) -> None:
    assert _log_i0(x) == pytest.approx(float(np.log(scipy.special.i0e(x)) + x), abs=2e-6)
