"""Single sideband and levels as they are defined: ITU-R SM.328 (class J3E, suppressed carrier), SNR in 2500 Hz."""

import numpy as np
import pytest

from hearmark.simulate import render, speech, static
from hearmark.simulate.emitter import Emitter
from hearmark.simulate.session import Scenario, Session, Station, Transmission

DX_HZ = 18_143_500.0
RATE_HZ = 48_000


def one_station(mode: str, sent: Transmission, snr_db: float = 20.0, channel: str = "flat") -> Session:
    scenario = Scenario(
        mode, DX_HZ, DX_HZ + 5000, DX_HZ + 10_000, "stay", 1, 0.0, snr_db, channel, sent.stop_s + 1, seed=5
    )  # type: ignore[arg-type]
    return Session(scenario, (Station(0, "7Q7XYZ", snr_db, 25.0, "s01", 0),), (sent,), ())


def power_near(samples: np.ndarray, offset_hz: float, width_hz: float = 4.0) -> float:
    spectrum = np.abs(np.fft.fft(samples * np.blackman(len(samples)))) ** 2
    f_hz = np.fft.fftfreq(len(samples), 1 / RATE_HZ)
    return float(np.sum(spectrum[np.abs(f_hz - offset_hz) <= width_hz]))


@pytest.mark.parametrize(("mode", "sign"), [("usb", 1), ("lsb", -1)])
def test_two_tones_sit_above_or_below_the_suppressed_carrier(
    mode: str, sign: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    t = np.arange(8 * 8000) / 8000
    tones = (np.sin(2 * np.pi * 700 * t) + np.sin(2 * np.pi * 1900 * t)).astype(np.float32)
    monkeypatch.setattr(speech, "speak", lambda text, voice: tones)
    monkeypatch.setattr(render, "emitter", lambda seed, station, fist: Emitter(rise_s=0.005))
    session = one_station(mode, Transmission(0, 0.5, 8.5, DX_HZ + 6000, "", "call"))
    heard = render.render(session, RATE_HZ, DX_HZ, 1.0, 8.0, noise=False)
    lower, upper = power_near(heard, 6000 + sign * 700), power_near(heard, 6000 + sign * 1900)
    assert upper / lower == pytest.approx(1.0, rel=0.02)
    for where in (-sign * 700, -sign * 1900, 0):  # opposite sideband, carrier
        assert power_near(heard, 6000 + where) < 1e-5 * lower


def test_speech_occupies_300_to_2700_hz() -> None:
    text = "kilo one alfa bravo charlie you are five nine"
    session = one_station("usb", Transmission(0, 0.5, 0.5 + speech.speech_s(text, "s01"), DX_HZ + 2000, text, "cq"))
    heard = render.render(session, RATE_HZ, DX_HZ, noise=False)
    spectrum = np.abs(np.fft.fft(heard)) ** 2
    f_hz = np.fft.fftfreq(len(heard), 1 / RATE_HZ) - 2000
    total = np.sum(spectrum)
    assert np.sum(spectrum[(f_hz > 290) & (f_hz < 2710)]) > 0.99 * total
    assert np.sum(spectrum[(f_hz < 200) | (f_hz > 2800)]) < 1e-5 * total
    # ITU-R SM.328: bandwidth that leaves 0.5 % of the power on each side.
    order = np.argsort(f_hz)
    share = np.cumsum(spectrum[order]) / total
    low_hz, high_hz = f_hz[order][np.searchsorted(share, 0.005)], f_hz[order][np.searchsorted(share, 0.995)]
    assert 280 < low_hz < 500
    assert 2000 < high_hz < 2720


def in_band_power(samples: np.ndarray, low_hz: float, high_hz: float) -> float:
    spectrum = np.abs(np.fft.fft(samples)) ** 2 / len(samples) ** 2
    f_hz = np.fft.fftfreq(len(samples), 1 / RATE_HZ)
    return float(np.sum(spectrum[(f_hz >= low_hz) & (f_hz < high_hz)]))


@pytest.mark.parametrize("snr_db", [0.0, 17.0])
def test_snr_of_keying_is_power_while_keyed_over_noise_in_2500_hz(snr_db: float) -> None:
    keys = np.array([[k * 0.2, k * 0.2 + 0.12] for k in range(100)])
    session = one_station("cw", Transmission(0, 1.0, 21.0, DX_HZ, "TEST", "cq", keys), snr_db)
    signal = render.render(session, RATE_HZ, DX_HZ, noise=False)
    keyed_s = float(np.sum(keys[:, 1] - keys[:, 0]))
    while_keyed = np.sum(np.abs(signal) ** 2) / RATE_HZ / keyed_s
    noise = render.render(session, RATE_HZ, DX_HZ) - signal
    in_2500 = in_band_power(noise, 5000, 7500)
    assert 10 * np.log10(while_keyed / in_2500) == pytest.approx(snr_db, abs=0.15)


@pytest.mark.parametrize("voice", ["s01", "s04", "s08", "s11"])
def test_snr_of_speech_is_power_while_talking_over_noise_in_2500_hz(voice: str) -> None:
    text = "kilo one alfa bravo charlie you are five nine"
    session = one_station("usb", Transmission(0, 1.0, 1.0 + speech.speech_s(text, voice), DX_HZ, text, "cq"), 12.0)
    stations = (Station(0, "7Q7XYZ", 12.0, 25.0, voice, 0),)
    session = Session(session.scenario, stations, session.transmissions, ())
    heard = render.render(session, RATE_HZ, DX_HZ, noise=False)
    envelope = np.abs(heard) ** 2
    # Talking: wherever 50 ms reach a hundredth of the loudest 50 ms.
    level = np.convolve(envelope, np.full(2400, 1 / 2400), "same")
    while_talking = np.mean(envelope[level > 0.01 * level.max()])
    assert 10 * np.log10(while_talking / static.NOISE_POWER) == pytest.approx(12.0, abs=0.7)


@pytest.mark.parametrize("rate_hz", [12_000, 48_000, 192_000])
def test_noise_has_the_stated_density_at_every_rate(rate_hz: int) -> None:
    session = one_station("cw", Transmission(0, 9.0, 9.5, DX_HZ, "E", "cq", np.array([[0.0, 0.1]])))
    noise = render.render(session, rate_hz, DX_HZ, 0.0, 5.0)
    assert np.var(noise) == pytest.approx(static.NOISE_POWER * rate_hz / 2500, rel=0.02)
    flat = np.abs(np.fft.fft(noise)) ** 2
    assert np.mean(flat[: len(flat) // 2]) == pytest.approx(np.mean(flat[len(flat) // 2 :]), rel=0.03)


def test_fading_leaves_the_mean_power() -> None:
    keys = np.array([[0.0, 1200.0]])
    powers = []
    for name in ("flat", "low disturbed"):
        session = one_station("cw", Transmission(0, 0.0, 1200.0, DX_HZ, "", "cq", keys), 10.0, name)
        powers.append(np.mean(np.abs(render.render(session, 4000, DX_HZ, 0.0, 1200.0, noise=False)) ** 2))
    assert 10 * np.log10(powers[1] / powers[0]) == pytest.approx(0.0, abs=0.25)
