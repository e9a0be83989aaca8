"""The command line: what is printed, what is written, how it ends. The engine is a stand-in that marks a line."""

import json
import socket
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import click
import numpy as np
import pytest
import soundfile

from hearmark import cli
from hearmark.events import Advice, Answer, Block, Ear, Event, Over, Plan, Turn, Working
from hearmark.web.relay import Relay

Run = Callable[..., tuple[int, str, str]]
RATE_HZ = 24_000


@dataclass(frozen=True)
class EngineConfig:
    dx_hz: float | None
    mode: str | None
    window_low_hz: float | None
    window_high_hz: float | None
    own_call: str = ""


class Engine:
    """Marks the strongest line of each second."""

    made: list[EngineConfig]

    def __init__(self, config: EngineConfig) -> None:
        Engine.made = [config]
        self.config = config
        self.power = np.zeros(RATE_HZ)

    def feed(self, event: Event) -> list[Event]:
        if isinstance(event, Block) and len(event.samples) > 2_000:
            self.center_hz = event.center_hz
            self.power += np.abs(np.fft.fft(event.samples, RATE_HZ)) ** 2
        return []

    def finish(self) -> list[Event]:
        at_hz = self.center_hz + float(np.fft.fftfreq(RATE_HZ, 1 / RATE_HZ)[np.argmax(self.power)])
        f_hz = np.linspace(at_hz - 500, at_hz + 500, 11)
        low_hz, high_hz = self.config.window_low_hz or at_hz - 500, self.config.window_high_hz or at_hz + 500
        return [
            Plan(self.config.dx_hz or at_hz, low_hz, high_hz, "cw" if self.config.mode == "cw" else "usb"),
            Over(1, 0.0, 1.0, self.config.dx_hz or at_hz, "ZZ0DX UP"),
            Turn(1, 1.0, 2.0, 1, 3),
            Answer(1, 1.1, 1.9, 1.5, at_hz, 0.9, "ZZ1AB", 12.0, 1),
            Ear(2.0, f_hz, np.full(11, 1 / 1100), "stays"),
            Advice(2.0, "call", at_hz, 0.4, "He stays."),
        ]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    module = ModuleType("hearmark.engine")
    module.Engine, module.EngineConfig = Engine, EngineConfig  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "hearmark.engine", module)

    def call(*arguments: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as ended:
            cli.main([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        return int(ended.value.code or 0), out, err

    return call


@pytest.fixture
def iq_wav(tmp_path: Path) -> Path:
    """Three seconds around 18149 kHz with a line on 18151.2 kHz."""
    time_s = np.arange(3 * RATE_HZ) / RATE_HZ
    line = 0.3 * np.exp(2j * np.pi * 2_200 * time_s)
    path = tmp_path / "a.wav"
    soundfile.write(path, np.column_stack([line.real, line.imag]), RATE_HZ, "PCM_16")
    return path


def test_review_of_a_wav(run: Run, iq_wav: Path, tmp_path: Path) -> None:
    found, picture = tmp_path / "out.json", tmp_path / "out.png"
    code, out, err = run(
        "review", iq_wav, "--dx", 18143.5, "--mode", "usb", "--window", "up 5-10", "--center", 18149,
        "--json", found, "--picture", picture,
    )  # fmt: skip
    assert (code, err) == (0, "")
    assert "18151.20    +7.70   90 %  12 dB  ZZ1AB" in out
    assert "Call on 18151.20 kHz, 40 % a call." in out
    content = json.loads(found.read_text())
    assert content["schema"] == 1
    assert content["recording"] == {"sample_rate_hz": 24000.0, "center_hz": 18149000.0, "duration_s": 3.0}
    assert content["answers"][0]["frequency_hz"] == pytest.approx(18_151_200.0, abs=2.0)
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert Engine.made == [EngineConfig(18_143_500.0, "usb", 18_148_500.0, 18_153_500.0)]


def test_review_without_mode_and_window_takes_those_of_the_plan(run: Run, iq_wav: Path, tmp_path: Path) -> None:
    found = tmp_path / "out.json"
    code, out, _ = run("review", iq_wav, "--dx", 18143.5, "--center", 18149, "--json", found)
    assert code == 0
    assert Engine.made == [EngineConfig(18_143_500.0, None, None, None)]
    assert "The DX on 18143.50 kHz, USB" in out
    assert json.loads(found.read_text())["dx"]["mode"] == "usb"


def test_review_of_audio_with_a_dial_log(run: Run, tmp_path: Path) -> None:
    wav, dial, found = tmp_path / "a.wav", tmp_path / "a.csv", tmp_path / "a.json"
    soundfile.write(wav, 0.3 * np.cos(2 * np.pi * 900 * np.arange(3 * RATE_HZ) / RATE_HZ), RATE_HZ)
    dial.write_text("time_s,receive_hz,keyed\n0,14025000,0\n")
    code, _, err = run("review", wav, "--dx", 14023, "--mode", "cw", "--dial", dial, "--json", found, "--pitch", 600)
    assert Engine.made == [EngineConfig(14_023_000.0, "cw", 14_024_000.0, 14_026_000.0)]
    assert (code, err) == (0, "")
    assert json.loads(found.read_text())["answers"][0]["frequency_hz"] == pytest.approx(14_025_300.0, abs=10.0)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["none.sigmf-meta", "--dx", "14023"], "Cannot read none.sigmf-meta"),
        (["{wav}", "--dx", "14023"], "add --center KHZ"),
        (["{wav}", "--center", "18149"], "add --dx KHZ"),
        (["{wav}", "--dx", "14023", "--dial", "x.csv"], "add --mode"),
        (["{wav}", "--center", "18149", "--dx", "18143.5", "--window", "sideways"], "is not understood"),
        (["{wav}", "--center", "18149", "--dx", "14023"], "the samples cover 18137.0 to 18161.0 kHz"),
        (["{wav}", "--center", "18149", "--dx", "18143.5", "--window", "up 50-60"], "The window 18193.50 to 18203.50"),
        (["{wav}", "--center", "18149", "--dx", "-3"], "--dx -3 is no frequency"),
        (["{wav}", "--center", "18149", "--json", "/no/such/folder/x.json"], "Cannot write /no/such/folder/x.json"),
        (["{wav}", "--dx", "14023", "--mode", "fm"], "'fm' is not one of"),
        (["{wav}", "--colour", "red"], "No such option"),
    ],
)
def test_bad_input_is_one_line_and_code_2(run: Run, iq_wav: Path, arguments: list[str], sentence: str) -> None:
    code, out, err = run("review", *(argument.format(wav=iq_wav) for argument in arguments))
    assert (code, out) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1
    assert err.startswith("hearmark: ")


def test_review_shades_the_window_that_was_given_and_tells_what_lies_outside(
    run: Run, iq_wav: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shaded = []
    monkeypatch.setattr("hearmark.picture.ladder_png", lambda *given: shaded.append(given[-1]) or b"")
    working = Working(2.0, 0.99, "usb", 6, 18_149_650.0, 18_154_050.0)
    finish = Engine.finish
    monkeypatch.setattr(Engine, "finish", lambda self: [*finish(self), working])
    always = ("review", iq_wav, "--dx", 18143.5, "--center", 18149, "--mode", "usb", "--picture", tmp_path / "x.png")
    out = run(*always, "--window", "up 1-5")[1]
    assert out.startswith("0:03 at 24 kHz")
    assert "The DX on 18143.50 kHz, USB: 1 over\n" in out
    assert "1 answer:\n" in out
    note = "Note: answers or callers reach to {} kHz, outside the window {} kHz that was given.\n"
    assert out.endswith(note.format("+10.6", "+1.0 to +5.0"))
    assert "Note" not in run(*always, "--window", "up 6-10")[1]
    assert "Note" not in run(*always)[1]
    dx_hz = 18_143_500.0
    assert shaded == [
        (dx_hz + 1_000.0, dx_hz + 5_000.0),
        (dx_hz + 6_000.0, dx_hz + 10_000.0),
        [working.low_hz, working.high_hz],
    ]


def test_review_writes_over_nothing_that_it_reads(run: Run, iq_wav: Path, tmp_path: Path) -> None:
    out = tmp_path / "pile"
    run("simulate", out, "--level", "easy", "--duration", 5, "--rate", RATE_HZ)
    meta, data, dial = tmp_path / "pile.sigmf-meta", tmp_path / "pile.sigmf-data", tmp_path / "d.csv"
    dial.write_text("time_s,receive_hz,keyed\n0,14025000,0\n")
    before = {path: path.read_bytes() for path in (meta, data, iq_wav, dial)}
    cases = [
        (meta, "--json", meta),
        (meta, "--picture", data),
        (data, "--json", meta),
        (iq_wav, "--picture", iq_wav),
        (iq_wav, "--dial", dial, "--mode", "cw", "--json", dial),
    ]
    for recording, *more in cases:
        code, text, err = run("review", recording, "--dx", 14023, *more)
        assert (code, text) == (2, "")
        assert "one of the files that are read" in err
    code, _, err = run("review", meta, "--dx", 14023, "--json", tmp_path / "x", "--picture", tmp_path / "x")
    assert code == 2
    assert "written twice" in err
    code, _, err = run("listen", "--file", meta, "--dx", 14023, "--record", out)
    assert code == 2
    assert "one of the files that are read" in err
    assert {path: path.read_bytes() for path in before} == before


def test_simulate_writes_over_nothing_but_what_it_wrote(run: Run, tmp_path: Path) -> None:
    out, meta, data = (tmp_path / name for name in ("pile", "pile.sigmf-meta", "pile.sigmf-data"))
    words = ("simulate", out, "--level", "easy", "--duration", 5, "--rate", RATE_HZ)
    for seed, truth in ((1, "--no-truth"), (2, "--truth"), (3, "--truth")):
        assert run(*words, truth, "--seed", seed)[0] == 0
    heard = meta.read_text().replace("A simulated pile-up", "Heard on the air")
    for text in (heard, "{}", "[]", None):
        meta.unlink() if text is None else meta.write_text(text)
        before = data.read_bytes()
        code, said, err = run(*words)
        assert (code, said) == (2, "")
        assert err == f"hearmark: {data} is there already and is not simulated, and would be lost; give another name.\n"
        assert data.read_bytes() == before
        assert (meta.read_text() if meta.exists() else None) == text


def test_simulate_writes_a_recording_that_review_reads(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "pile"
    code, text, err = run("simulate", out, "--mode", "cw", "--level", "easy", "--duration", 20, "--rate", RATE_HZ)
    assert (code, err) == (0, "")
    assert "the DX on 14023.00 kHz, CW" in text
    code, text, err = run("review", tmp_path / "pile.sigmf-meta", "--dx", 14023, "--mode", "cw")
    assert (code, err) == (0, "")
    assert text.startswith("0:20 at 24 kHz")


def test_simulate_refuses_what_it_cannot_do(run: Run, tmp_path: Path) -> None:
    assert run("simulate", tmp_path / "no" / "pile")[0] == 2
    code, _, err = run("simulate", tmp_path / "pile", "--habit", "flies")
    assert code == 2
    assert "flies" in err


@pytest.mark.parametrize("text", ["nan", "inf", "-inf"])
def test_no_option_takes_a_figure_that_is_none(text: str) -> None:
    def options(command: click.Command) -> list[click.Parameter]:
        if isinstance(command, click.Group):
            return [one for part in command.commands.values() for one in options(part)]
        return command.params

    figures = [one for one in options(cli.commands) if isinstance(one.type, click.types.FloatParamType)]
    assert len(figures) > 40
    for one in figures:
        with pytest.raises(click.BadParameter):
            one.type.convert(text, one, None)


@pytest.mark.parametrize(
    "arguments",
    [
        ("simulate", "{out}", "--seed", "-1"),
        ("listen", "--demo", "--port", "0", "--seed", "-1"),
        ("simulate", "{out}", "--rate", "nan"),
        ("simulate", "{out}", "--rate", "inf"),
        ("study", "--weaker-than", "nan", "--seeds", "1"),
        ("split", "up 5", "--on", "14023", "--bandwidth", "nan"),
        ("review", "a.wav", "--dial", "d.csv", "--mode", "cw", "--dx", "14023", "--pitch", "-600"),
        ("listen", "--file", "a.wav", "--dial", "d.csv", "--mode", "cw", "--dx", "14023", "--pitch", "5000"),
        ("radio", "--address", "simulated", "--watch", "--seconds", "-1"),
    ],
)
def test_impossible_figures_are_one_line_and_code_2(run: Run, tmp_path: Path, arguments: tuple[str, ...]) -> None:
    code, out, err = run(*(argument.format(out=tmp_path / "x") for argument in arguments))
    assert (code, out) == (2, "")
    assert err.startswith("hearmark: Invalid value for ")
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_listen_serves_the_demo_and_records_it(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    served = []

    def serve(relay: Relay, host: str, port: int, more: object) -> None:
        session = relay.session
        for _, event in zip(range(20), session._source, strict=False):
            session._engine.feed(event)
        session._engine.finish()  # type: ignore[attr-defined]
        served.append((session.view.mode, session.view.pausable, host, port))
        raise KeyboardInterrupt

    monkeypatch.setattr("hearmark.web.server.serve", serve)
    code, _, err = run("listen", "--demo", "--port", 0, "--record", tmp_path / "tape")
    assert (code, err.strip(), served) == (130, "", [("cw", True, "127.0.0.1", 0)])
    meta = json.loads((tmp_path / "tape.sigmf-meta").read_text())
    assert meta["annotations"][0]["core:label"] == "ZZ1AB"
    assert run("review", tmp_path / "tape.sigmf-meta", "--dx", 14023)[1].startswith("0:02 at 48 kHz")


def test_listen_refuses_at_once_what_cannot_be(run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def never(*_: object) -> None:
        raise AssertionError("nothing is prepared before")

    def nobody(*_: object) -> None:
        raise socket.gaierror(-2, "Name or service not known")

    monkeypatch.setattr("hearmark.listening.open_live", never)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        code, out, err = run("listen", "--demo", "--port", taken.getsockname()[1])
    assert (code, out) == (2, "")
    assert "another program has it already; choose another port with --port" in err
    assert "Errno" not in err
    log = tmp_path / "log.db"
    log.write_text("words " * 1000)
    for words, said in [
        (("--port", 99999), "port 99999: ports go from 0 to 65535; choose another"),
        (("--port", 0, "--host", "192.0.2.1"), "this machine has no such address; give another with --host"),
        (("--port", 0, "--licence", "uk"), 'no privileges table "uk"'),
        (("--port", 0, "--store", log), "damaged or no log"),
        (("--port", 0, "--store", tmp_path / "no" / "log.db"), "Cannot write"),
        (("--port", 0, "--tcp", "127.0.0.1:1"), "Several sources were named"),
    ]:
        code, out, err = run("listen", "--demo", *words)
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert said in err
        assert "Errno" not in err
    monkeypatch.setattr("socket.getaddrinfo", nobody)
    code, _, err = run("listen", "--demo", "--port", 0, "--radio", "foo")
    assert (code, err.count("\n")) == (2, 1)
    assert "No machine 'foo' is known" in err
    code, _, err = run("listen", "--demo", "--port", 0, "--radio", "foo:bar")
    assert code == 2
    assert "no address of radio control" in err


def test_listen_wants_a_frequency(run: Run, iq_wav: Path) -> None:
    code, out, err = run("listen", "--port", 0, "--file", iq_wav, "--center", 18149)
    assert (code, out, err) == (2, "", "hearmark: The frequency of the DX is not known; add --dx KHZ.\n")


def test_listen_to_a_recording_that_is_not_there_prints_one_sentence(run: Run, tmp_path: Path) -> None:
    code, out, err = run("listen", "--port", 0, "--file", tmp_path / "no.wav", "--dx", 14023)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "Cannot read" in err


def test_help_and_version(run: Run) -> None:
    assert run("--help")[0] == 0
    assert run("--version")[1].startswith("hearmark, version ")
    assert run()[0] == 2
