"""A source through an engine: what is kept."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from hearmark import cli
from hearmark.events import Answer, Block, Dial, Ear, Event, Gap, Levels, Row
from hearmark.review import dialled_window_hz, hear
from hearmark.simulate import recording
from hearmark.simulate.people import play
from hearmark.simulate.scenario import preset
from hearmark.sources.source import SourceEvent


class Tape:
    sample_rate_hz, center_hz, duration_s = 1_000.0, 7e6, 3.0

    def events(self) -> Iterator[SourceEvent]:
        yield Dial(0.0, 7e6)
        yield Block(0, 1_000.0, 7e6, np.zeros(1_000, np.complex64))
        yield Gap(1.0, 2.0, "own transmission")
        yield Block(2_000, 1_000.0, 7e6, np.zeros(1_000, np.complex64))
        yield Levels(3.0, -20.0, 0.0, -60.0)


class Echo:
    """Answers every block."""

    def __init__(self) -> None:
        self.fed: list[type] = []

    def feed(self, event: Event) -> list[Event]:
        self.fed.append(type(event))
        at_s = event.start_s if isinstance(event, Block) else 0.0
        ear = Ear(at_s, np.arange(3.0), np.ones(3), "stays")
        row = Row(at_s, 0.0, 1.0, np.zeros(3, np.float32))
        return [Answer(1, at_s, None, at_s, 7e6, 0.9), ear, row] if isinstance(event, Block) else [event]

    def finish(self) -> list[Event]:
        return [Answer(2, 2.9, 3.0, 3.0, 7e6, 0.8)]


def test_everything_is_fed_and_facts_are_kept_once() -> None:
    engine, reached = Echo(), []
    kept = hear(Tape(), engine, reached.append)
    assert engine.fed == [Dial, Block, Gap, Block, Levels]
    assert [type(event) for event in kept] == [Dial, Answer, Gap, Answer, Levels, Answer, Ear]
    assert isinstance(kept[-1], Ear)
    assert kept[-1].time_s == 2.0
    assert reached == [1.0, 3.0]


def test_the_window_of_a_receiver_is_where_its_dial_looked_for_callers() -> None:
    dials = [Dial(0.0, 14_023_000.0), Dial(5.0, 14_024_500.0), Dial(8.0, 14_023_100.0), Dial(9.0, 14_025_500.0)]
    assert dialled_window_hz(dials, 14_023_000.0, "cw") == (14_023_500.0, 14_026_500.0)
    assert dialled_window_hz([*dials, Dial(10.0, 14_030_000.0, True)], 14_023_000.0, "cw")[1] == 14_026_500.0
    assert dialled_window_hz(dials[:1], 14_023_000.0, "cw") == (14_024_000.0, 14_026_000.0)
    assert dialled_window_hz(dials[:1], 18_143_500.0, "usb")[0] < 18_143_500.0


def test_a_dial_that_never_came_near_the_dx_is_told(tmp_path: Path) -> None:
    wav, dial = tmp_path / "a.wav", tmp_path / "d.csv"
    soundfile.write(wav, np.random.default_rng(1).normal(0.0, 0.01, 8_000 * 4), 8_000)
    words = ("review", str(wav), "--dx", "14023", "--mode", "cw", "--window", "up 1-6", "--dial", str(dial))
    for log, told in [
        ("0,14026000,0\n1,14025500,0\n2,14023000,1\n9,14023000,0\n", True),
        ("0,14026000,0\n1,14023200,0\n", False),
    ]:
        dial.write_text(f"time_s,receive_hz,keyed\n{log}")
        result = CliRunner().invoke(cli.commands, words, catch_exceptions=False, standalone_mode=False)
        assert "He was not heard: there is nothing to advise." in result.output
        far = "The dial never came near his 14023.00 kHz: 14025.50 kHz was the nearest, so he could not be heard."
        assert (far in result.output) is told


def test_a_recording_from_end_to_end(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The document's contract, filled by the real engine."""
    session = play(preset("easy", "cw", 11, None, 30.0), None)
    scenario = session.scenario
    meta = recording.write(session, tmp_path / "pile", 12_000, scenario.dx_hz + 1_500.0, datatype="ci16_le")
    found, picture = tmp_path / "out.json", tmp_path / "out.png"
    with pytest.raises(SystemExit) as ended:
        cli.main(
            ["review", str(meta), "--dx", "14023", "--mode", "cw", "--window", "up 1-2.5", "--json", str(found),
             "--picture", str(picture)]
        )  # fmt: skip
    assert ended.value.code == 0
    assert "1 answer:" in capsys.readouterr().out
    content = json.loads(found.read_text())
    assert content["recording"] == {"sample_rate_hz": 12_000.0, "center_hz": 14_024_500.0, "duration_s": 30.0}
    assert (content["dx"]["frequency_hz"], content["dx"]["mode"]) == (14_023_000.0, "cw")
    assert all(set(over) == {"start_s", "stop_s", "text"} for over in content["dx"]["overs"])
    contact = next(one for one in session.contacts if one.completed)
    (mark,) = [one for one in content["answers"] if one["confidence"] >= 0.5]
    assert set(mark) == {"start_s", "stop_s", "marked_at_s", "frequency_hz", "confidence", "call", "snr_db"}
    assert mark["frequency_hz"] == pytest.approx(contact.frequency_hz, abs=50.0)
    assert mark["start_s"] == pytest.approx(contact.reports[0][0], abs=2.0)
    assert mark["call"] == contact.call
    ear = content["ear"]
    step_hz = ear["frequency_hz"][1] - ear["frequency_hz"][0]
    assert sum(ear["density_per_hz"]) * step_hz == pytest.approx(1.0, abs=1e-3)
    assert scenario.window_low_hz - 300.0 < content["advice"]["transmit_hz"] < scenario.window_high_hz + 300.0
    assert 0.0 < content["advice"]["success_per_call"] < 1.0
    assert content["advice"]["why"]
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_the_picture_shows_the_window_that_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With nothing announced, text, document and picture name one window: where those call who respond to him."""
    from hearmark import picture

    session = play(preset("easy", "cw", 11, None, 45.0), None)
    meta = recording.write(session, tmp_path / "pile", 12_000, session.scenario.dx_hz + 1_500.0, datatype="ci16_le")
    shaded: list[tuple[float, float] | None] = []

    def drawn(*args: Any) -> bytes:
        shaded.append(args[3])
        return b"\x89PNG"

    monkeypatch.setattr(picture, "ladder_png", drawn)
    found = tmp_path / "out.json"
    with pytest.raises(SystemExit) as ended:
        cli.main(["review", str(meta), "--dx", "14023", "--json", str(found), "--picture", str(tmp_path / "out.png")])
    assert ended.value.code == 0
    works = json.loads(found.read_text())["dx"]["works"]
    assert works["split"] > 0.5
    (window_hz,) = shaded
    assert window_hz == works["window_hz"] is not None
