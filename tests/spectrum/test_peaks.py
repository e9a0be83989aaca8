import numpy as np
from signals import RATE, keyed, morse

from hearmark.spectrum import peaks
from hearmark.spectrum.transform import Transform


def test_the_mask_covers_what_keying_throws_off() -> None:
    """Measured again: averages over 0.19 s of keyed carriers, 99 of 100 below the mask."""
    worst = []
    for unit_s, hz in ((0.048, 0.0), (0.06, 7.8), (0.04, 3.0)):
        times = np.concatenate([morse(0.5 + 10 * k, unit_s) for k in range(2)])
        power = Transform(RATE, 0, 0, -1_500, 1_500).feed(keyed(20, hz, 0.0, times).astype(np.complex64)).power
        smooth = np.array([power[k : k + 24].mean(axis=0) for k in range(0, len(power) - 24, 4)])
        top = smooth.max(axis=1)
        smooth = smooth[top > 0.1 * top.max()]
        middle = smooth.shape[1] // 2
        worst.append(np.quantile(smooth[:, middle : middle + 33] / smooth.max(axis=1)[:, None], 0.99, axis=0))
    excess_db = 10 * np.log10(np.max(worst, axis=0)[3:] / peaks.mask()[3:33])
    assert excess_db.max() < 1.5
    assert excess_db[:12].min() > -15


def test_interpolation_between_bins() -> None:
    transform = Transform(RATE, 0, 0, -500, 500)
    for hz in (0.0, 3.9, 7.0, -5.2, 100.0):
        samples = np.exp(2j * np.pi * hz / RATE * np.arange(RATE)).astype(np.complex64)
        power = transform.feed(samples).power.mean(axis=0) * 1e6 + 1
        position, height, clear = peaks.pick(power, 5.0, peaks.mask())
        assert abs((position[0] - transform.grid.zero) * transform.grid.step_hz - hz) < 1.0
        assert len(position) == 1
        assert clear[0]
        assert height[0] == power.max()
        transform.restart(0)


def test_weak_beside_strong() -> None:
    power = np.ones(200, np.float32)
    power[98:103] = (300, 3e4, 1e5, 2e4, 200)
    power[120:123] = (30, 100, 30)  # 30 dB below at 21 bins: above the mask
    power[107] = 60.0  # 32 dB below at 7 bins: skirt
    position, _, _ = peaks.pick(power, 5.0, peaks.mask())
    assert [round(p) for p in position] == [100, 121]
