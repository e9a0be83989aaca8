"""The fading channel against ITU-R F.1487, the Watterson paper, Rayleigh statistics, and another simulator's output."""

from pathlib import Path

import numpy as np
import pytest
from scipy import signal, stats

from hearmark.simulate import channel

# ITU-R F.1487, Annex 3: delay (ms), 2-sigma Doppler spread (Hz); read in a secondary transcription.
F1487 = {
    "low quiet": (0.5, 0.5), "low moderate": (2, 1.5), "low disturbed": (6, 10),
    "mid quiet": (0.5, 0.1), "mid moderate": (1, 0.5), "mid disturbed": (2, 1), "mid near-vertical": (7, 1),
    "high quiet": (1, 0.5), "high moderate": (3, 10), "high disturbed": (7, 30),
}  # fmt: skip

# Debian package codec2-examples: tones of 60 s through a simulator that is none of ours, 1 kHz, 8 kHz sampling.
TONES = Path("/usr/share/codec2/raw")


def gains(name: str, spreads: float = 2000.0, per_spread: float = 16.0) -> tuple[np.ndarray, float]:
    """Path gains over `spreads` / spread seconds, at `per_spread` samples for each hertz of spread."""
    rate_hz = per_spread * F1487[name][1]
    return channel.taps(name, spreads / F1487[name][1], rate_hz, np.random.default_rng(11)), rate_hz


def doppler_spread_hz(gain: np.ndarray, rate_hz: float) -> float:
    """Twice the standard deviation of the power spectrum, windowed so that the ends do not leak."""
    f_hz, power = signal.welch(gain, rate_hz, nperseg=min(len(gain), 2048), return_onesided=False)
    mean_hz = np.sum(f_hz * power) / np.sum(power)
    return float(2 * np.sqrt(np.sum((f_hz - mean_hz) ** 2 * power) / np.sum(power)))


@pytest.mark.parametrize("name", F1487)
def test_rows_are_those_of_f1487(name: str) -> None:
    delay_s, spread_hz = channel.row(name)
    assert (delay_s * 1000, spread_hz) == pytest.approx(F1487[name])


@pytest.mark.parametrize("name", F1487)
def test_measured_doppler_spread(name: str) -> None:
    both, rate_hz = gains(name)
    for gain in both:
        assert doppler_spread_hz(gain, rate_hz) == pytest.approx(F1487[name][1], rel=0.05)


def test_doppler_spectrum_is_gaussian() -> None:
    # Watterson, Juroshek, Bensema 1970: share of a Gaussian's power within k sigma is erf(k / sqrt 2).
    both, rate_hz = gains("mid disturbed", 8000)
    f_hz, power = signal.welch(both[0], rate_hz, nperseg=1024, return_onesided=False)
    sigma_hz = F1487["mid disturbed"][1] / 2
    for k in (0.5, 1.0, 1.5, 2.0):
        share = np.sum(power[np.abs(f_hz) <= k * sigma_hz]) / np.sum(power)
        assert share == pytest.approx(2 * stats.norm.cdf(k) - 1, abs=0.03)


def test_paths_are_independent_rayleigh_of_equal_power() -> None:
    both, _ = gains("mid moderate", 3000)
    apart = both[:, ::32]  # two reciprocal spreads: far beyond the correlation time
    power = np.mean(np.abs(apart) ** 2, axis=1)
    assert power == pytest.approx([0.5, 0.5], rel=0.1)
    for path in apart:
        assert stats.kstest(np.abs(path), stats.rayleigh(scale=0.5).cdf).pvalue > 0.01
        assert stats.kstest(np.angle(path), stats.uniform(-np.pi, 2 * np.pi).cdf).pvalue > 0.01
    assert abs(np.mean(apart[0] * apart[1].conj())) < 0.05


def test_envelope_autocorrelation_is_that_of_a_gaussian_spectrum() -> None:
    # Transform of a Gaussian of standard deviation s: exp(-2 (pi s t)^2).
    both, rate_hz = gains("low moderate", 8000)
    sigma_hz = F1487["low moderate"][1] / 2
    for lag_s in (0.1, 0.2, 0.3):
        lag = round(lag_s * rate_hz)
        r = np.mean(both[0, lag:] * both[0, :-lag].conj()).real / np.mean(np.abs(both[0]) ** 2)
        assert r == pytest.approx(np.exp(-2 * (np.pi * sigma_hz * lag / rate_hz) ** 2), abs=0.06)


@pytest.mark.parametrize("name", F1487)
def test_second_path_comes_after_the_delay(name: str) -> None:
    rate_hz = 8000.0
    fading = channel.draw(name, 10.0, np.random.default_rng(2))
    pulse = np.zeros(200, np.complex64)
    pulse[20] = 1.0
    heard = np.flatnonzero(np.abs(fading.apply(pulse, 1.0, rate_hz)) > 1e-6)
    assert heard[0] == 20
    assert (heard[1] - heard[0]) / rate_hz * 1000 == pytest.approx(F1487[name][0])


def tone_gain(name: str) -> np.ndarray:
    path = TONES / name
    if not path.is_file():
        pytest.skip("the Debian package codec2-examples is not installed")
    tone = np.fromfile(path, "<i2").astype(float)
    gain = signal.hilbert(tone) * np.exp(-2j * np.pi * 1000 / 8000 * np.arange(len(tone)))
    gain = signal.resample_poly(gain, 1, 200)  # 40 Hz: ten times the occupied Doppler band
    return gain / np.sqrt(np.mean(np.abs(gain) ** 2))


def fade_figures(gain: np.ndarray, rate_hz: float) -> tuple[float, float, float]:
    """Share of time 10 dB below the mean power; fades below -5 dB a second; their mean length in seconds."""
    power = np.abs(gain) ** 2
    low = power < 10**-0.5
    fades = np.count_nonzero(low[1:] & ~low[:-1])
    return float(np.mean(power < 0.1)), fades / (len(gain) / rate_hz), np.count_nonzero(low) / rate_hz / max(fades, 1)


@pytest.mark.parametrize("name", ["sine1k_2Hz_spread.raw", "sine1k_2ms_delay_2Hz_spread.raw"])
def test_fading_is_like_that_of_an_independent_simulator(name: str) -> None:
    theirs = tone_gain(name)
    spread_hz = doppler_spread_hz(theirs, 40.0)
    assert spread_hz == pytest.approx(2.0, abs=0.3)
    fadings = [channel.two_paths(0.002, 2.0, 60.0, np.random.default_rng(seed)) for seed in range(40)]
    runs = [fading.taps(0.0, 2400, 40.0) for fading in fadings]
    # One path, or the sum of two at one frequency: both are Rayleigh.
    ours = [taps.sum(axis=0) if "delay" in name else taps[0] * np.sqrt(2) for taps in runs]
    assert np.mean([doppler_spread_hz(gain, 40.0) for gain in ours]) == pytest.approx(spread_hz, rel=0.15)
    apart = np.concatenate([np.abs(gain[::40]) for gain in ours])
    assert stats.ks_2samp(np.abs(theirs[::40]), apart).pvalue > 0.01
    figures = np.array([fade_figures(gain, 40.0) for gain in ours])
    away = (np.array(fade_figures(theirs, 40.0)) - figures.mean(axis=0)) / figures.std(axis=0)
    assert np.all(np.abs(away) < 3.0), f"share below -10 dB, fades a second, their length: {away} deviations off"
