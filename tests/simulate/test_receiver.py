from pathlib import Path

import numpy as np
import pytest

from hearmark.errors import HearmarkError
from hearmark.events import Dial
from hearmark.simulate import receiver
from hearmark.simulate.session import Mode, Scenario, Session, Station, Transmission
from hearmark.sources.audio import read_dial_log

DX_HZ = 7_023_000.0


def carrier(mode: Mode, offset_hz: float, snr_db: float = 25.0) -> Session:
    scenario = Scenario(mode, DX_HZ, DX_HZ + 1000, DX_HZ + 2000, "stay", 1, 0.0, 10.0, "flat", 8.0, seed=2)
    sent = Transmission(0, 0.0, 8.0, DX_HZ + offset_hz, "", "other", np.array([[0.0, 8.0]]))
    return Session(scenario, (Station(0, "7Q7XYZ", snr_db, 25.0, "s01", 0),), (sent,), ())


def loudest_hz(audio: np.ndarray, rate_hz: int = 8000) -> float:
    return float(np.argmax(np.abs(np.fft.rfft(audio))) * rate_hz / len(audio))


def test_dial_on_the_carrier_gives_the_pitch_and_moves_with_the_dial() -> None:
    log = [Dial(0.0, DX_HZ + 1500), Dial(4.0, DX_HZ + 1400)]
    audio = receiver.receive(carrier("cw", 1500), log)
    assert loudest_hz(audio[:32_000]) == pytest.approx(600, abs=8)
    assert loudest_hz(audio[32_000:]) == pytest.approx(700, abs=8)


@pytest.mark.parametrize(("mode", "offset_hz"), [("usb", 1000.0), ("lsb", -1000.0)])
def test_sidebands_put_the_carrier_at_its_distance_from_the_dial(mode: Mode, offset_hz: float) -> None:
    audio = receiver.receive(carrier("cw", offset_hz), [Dial(0.0, DX_HZ)], mode)
    assert loudest_hz(audio) == pytest.approx(1000, abs=8)


def test_opposite_sideband_and_what_lies_outside_the_slice_are_not_heard() -> None:
    heard = receiver.receive(carrier("cw", 1000, 40.0), [Dial(0.0, DX_HZ)], "usb")
    for session in (carrier("cw", -1000, 40.0), carrier("cw", 3000, 40.0)):
        other = receiver.receive(session, [Dial(0.0, DX_HZ)], "usb")
        spectrum = np.abs(np.fft.rfft(other))
        assert spectrum.max() < 0.2 * np.abs(np.fft.rfft(heard)).max()  # only noise, at the same loudness


def test_gain_control_levels_weak_and_strong_and_never_clips() -> None:
    loud = [receiver.receive(carrier("cw", 0, snr), [Dial(0.0, DX_HZ)]) for snr in (15.0, 45.0)]
    levels = [np.sqrt(np.mean(audio[16_000:] ** 2)) for audio in loud]
    assert levels[0] == pytest.approx(levels[1], rel=0.25)
    assert max(np.abs(audio).max() for audio in loud) < 1.0


def test_silent_while_keyed_and_before_the_log_begins() -> None:
    log = [Dial(1.0, DX_HZ), Dial(3.0, DX_HZ, True), Dial(5.0, DX_HZ)]
    audio = receiver.receive(carrier("cw", 0), log)
    assert not np.any(audio[:8000])
    assert not np.any(audio[24_000:40_000])
    assert np.sqrt(np.mean(audio[12_000:20_000] ** 2)) > 0.02
    assert np.sqrt(np.mean(audio[44_000:] ** 2)) > 0.02


def test_dial_log_can_be_read_back(tmp_path: Path) -> None:
    log = (Dial(0.0, 7_023_000.0), Dial(1.25, 7_024_010.5, True))
    receiver.write_dial_log(tmp_path / "dial.csv", log)
    assert read_dial_log(tmp_path / "dial.csv") == log


@pytest.mark.parametrize(
    ("log", "slice_hz", "says"),
    [
        ([], None, "dial log is empty"),
        ([Dial(2.0, DX_HZ), Dial(1.0, DX_HZ)], None, "not in time order"),
        ([Dial(0.0, DX_HZ)], (300.0, 5000.0), "give one within 0 to 3840 Hz"),
    ],
)
def test_bad_input_says_what_to_do(log: list[Dial], slice_hz: tuple[float, float] | None, says: str) -> None:
    with pytest.raises(HearmarkError, match=says):
        receiver.receive(carrier("cw", 0), log, slice_hz=slice_hz)
