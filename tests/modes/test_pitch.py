"""The pitch of a voice above its suppressed carrier."""

import numpy as np
import pytest

from hearmark.modes.pitch import lines, pitch_hz


@pytest.mark.parametrize("lower", [False, True])
@pytest.mark.parametrize("true_hz", [120.0, 150.0, 240.0])
def test_harmonics_give_their_spacing(true_hz: float, lower: bool) -> None:
    rng, step_hz, carrier_hz = np.random.default_rng(1), 15.625, 4_000.0
    ratio = rng.exponential(1.0, (60, 512)).astype(np.float32)
    for t in range(60):
        for k in range(3, int(2_400 / true_hz)):
            at = (carrier_hz + (-1 if lower else 1) * k * true_hz * (1 + 0.02 * np.sin(t / 5))) / step_hz
            ratio[t, int(at)] += 40.0 * (1.0 - at % 1.0)
            ratio[t, int(at) + 1] += 40.0 * (at % 1.0)
    assert pitch_hz(lines(ratio), 0.0, step_hz, carrier_hz, lower) == pytest.approx(true_hz, rel=0.06)


def test_of_noise_there_is_none() -> None:
    ratio = np.random.default_rng(2).exponential(1.0, (60, 512)).astype(np.float32)
    assert pitch_hz(lines(ratio[:, :40]), 0.0, 15.625, 4_000.0) is None
