"""What is listened to, for what was asked."""

from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from hearmark.duplex.bands import usual_mode
from hearmark.engine import Engine, EngineConfig
from hearmark.errors import HearmarkError
from hearmark.events import Block
from hearmark.listening import Wish, open_live
from hearmark.settings import Settings, settings_from
from hearmark.web.live import LiveSession
from hearmark.web.view import View


def test_the_demo_is_the_default_and_gives_samples() -> None:
    heard = open_live(Wish(), Settings())
    assert heard.paced
    first = next(heard.events)
    assert isinstance(first, Block)
    assert abs(heard.dx_hz - first.center_hz) < first.sample_rate_hz / 2
    assert heard.window_low_hz > heard.dx_hz
    again = open_live(Wish(demo=True), settings_from({"receiver": {"kind": "card"}}))
    assert np.array_equal(next(again.events).samples, first.samples)  # type: ignore[union-attr]


def test_a_recording_at_the_speed_of_life(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, np.zeros((4_000, 2)), 24_000)
    heard = open_live(Wish(recording=path, dx_hz=18_143_500.0, center_hz=18_149_000.0, window="up 5-10"), Settings())
    assert (heard.title, heard.mode, heard.paced) == ("a.wav", "usb", True)
    assert (heard.window_low_hz, heard.window_high_hz) == (18_148_500.0, 18_153_500.0)
    assert all(isinstance(event, Block) for event in islice(heard.events, 2))


@pytest.mark.parametrize(
    ("wish", "sentence"),
    [
        (Wish(demo=True, card=True), "Several sources were named"),
        (Wish(card=True), "add --dx KHZ"),
        (Wish(card=True, dx_hz=14_023_000.0), "add --center KHZ"),
        (Wish(address="localhost:1", dx_hz=14_023_000.0, center_hz=14_023_000.0, rate_hz=-5.0), "Sample rate -5"),
        (Wish(address="localhost:1", dx_hz=14_023_000.0, center_hz=14_023_000.0, rate_hz=0.0), "Sample rate 0"),
        (Wish(address="nowhere", dx_hz=14_023_000.0, center_hz=14_023_000.0), "write it as HOST:PORT"),
    ],
)
def test_impossible_wishes(wish: Wish, sentence: str) -> None:
    with pytest.raises(HearmarkError, match=sentence):
        open_live(wish, Settings())


def test_custom_of_the_bands() -> None:
    assert (usual_mode(7_130_000.0), usual_mode(14_195_000.0)) == ("lsb", "usb")
    assert [usual_mode(1000.0 * khz) for khz in (7_023, 14_023, 18_080.5, 18_143.5)] == ["cw", "cw", "cw", "usb"]


def test_the_recording_of_the_settings_is_played_and_its_centre_is_the_one_given(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "a.wav", np.zeros((4_000, 2)), 24_000)
    receiver = {"kind": "recording", "file": "a.wav", "folder": str(tmp_path), "center_khz": 18_149.0}
    heard = open_live(Wish(dx_hz=18_143_500.0), settings_from({"receiver": receiver}))
    first = next(heard.events)
    assert isinstance(first, Block)
    assert (heard.title, heard.paced, first.center_hz) == ("a.wav", True, 18_149_000.0)
    with pytest.raises(HearmarkError, match="Which recording"):
        open_live(Wish(dx_hz=18_143_500.0), settings_from({"receiver": {"kind": "recording"}}))


def test_only_the_demo_is_invented() -> None:
    assert open_live(Wish(demo=True), Settings()).invented


def test_audio_of_one_receiver_is_heard_with_its_dial_log(tmp_path: Path) -> None:
    wav, dial = tmp_path / "a.wav", tmp_path / "a.csv"
    soundfile.write(wav, np.sin(2 * np.pi * 700.0 * np.arange(24_000) / 8_000.0) * 0.1, 8_000)
    dial.write_text("time_s,receive_hz,keyed\n0,14025000,0\n1.5,14023000,0\n")
    wish = Wish(recording=wav, dial=dial, dx_hz=14_023_000.0, mode="cw", window="up 1-4")
    heard = open_live(wish, Settings())
    engine = Engine(EngineConfig(heard.dx_hz, "cw", heard.window_low_hz, heard.window_high_hz))
    view = View(heard.title, heard.dx_hz, "cw", heard.window_low_hz, heard.window_high_hz)
    session = LiveSession(heard.events, engine, view, paced=False)
    session._listener.on = True
    session.start()
    assert session.join(60.0)
    status = session._status()
    assert (status["audio"], status["state"], status["failure"], status["sound_trouble"]) == (True, "ended", "", "")


@pytest.mark.parametrize(
    ("more", "sentence"),
    [({"mode": None}, "add --mode cw, usb or lsb"), ({"recording": None}, "name that with --file")],
)
def test_a_dial_log_that_lacks_something(tmp_path: Path, more: dict[str, Any], sentence: str) -> None:
    given = {"recording": tmp_path / "a.wav", "dial": tmp_path / "a.csv", "dx_hz": 14_023_000.0, "mode": "cw", **more}
    with pytest.raises(HearmarkError, match=sentence):
        open_live(Wish(**given), Settings())
