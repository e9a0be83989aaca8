"""The streaming transform against SciPy's `ShortTimeFFT` (scipy.signal, BSD), an independent implementation."""

import numpy as np
import pytest
from scipy.signal import ShortTimeFFT
from scipy.signal.windows import hann

from hearmark.spectrum.transform import Transform


@pytest.mark.parametrize("rate_hz", [12_000.0, 48_000.0])
def test_same_powers_as_short_time_fft(rate_hz: float) -> None:
    rng = np.random.default_rng(5)
    count = round(rate_hz)
    samples = rng.standard_normal(count) + 1j * rng.standard_normal(count)
    center_hz, align_hz = 7_010e3, 7_011_234.56
    transform = Transform(rate_hz, center_hz, align_hz, align_hz - 1_500, align_hz + 2_500)
    frames = transform.feed(samples.astype(np.complex64))
    size, hop = round(rate_hz * 0.064), round(rate_hz * 0.008)
    mixed = samples * np.exp(-2j * np.pi * (align_hz - center_hz) / rate_hz * np.arange(count))
    reference = ShortTimeFFT(hann(size, sym=False), hop, rate_hz, fft_mode="centered", scale_to="psd")
    # its slice p is centred on sample p * hop; ours starts with the window [0, size)
    first = size // 2 // hop - reference.p_min
    assert size // 2 % hop == 0
    density = reference.spectrogram(mixed)[:, first : first + len(frames)].T
    keep = np.rint(frames.grid.step_hz * (np.arange(frames.grid.bins) - frames.grid.zero) / reference.delta_f)
    np.testing.assert_allclose(frames.power, density[:, keep.astype(int) + size // 2], rtol=2e-3, atol=1e-9)
    np.testing.assert_allclose(frames.time_s, reference.t(count)[first:][: len(frames)], atol=1e-9)
