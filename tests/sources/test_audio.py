"""Mono audio and its dial log; the analytic signal behind it."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from hearmark.errors import HearmarkError
from hearmark.events import Block, Dial, Gap
from hearmark.sources.analytic import Analytic
from hearmark.sources.audio import AudioFile, read_dial_log
from hearmark.sources.recording import open_recording

RATE_HZ = 8_000


def tone(seconds: float, hz: float = 700.0) -> np.ndarray:
    return (0.5 * np.cos(2 * np.pi * hz * np.arange(int(seconds * RATE_HZ)) / RATE_HZ)).astype(np.float32)


def recording(folder: Path, log: str, seconds: float = 6.0) -> tuple[Path, Path]:
    wav, dial = folder / "a.wav", folder / "a.csv"
    soundfile.write(wav, tone(seconds), RATE_HZ, "FLOAT")
    dial.write_text(log)
    return wav, dial


@pytest.mark.parametrize("rate_hz", [8_000, 12_000, 48_000])
@pytest.mark.parametrize("hz", [150.0, 700.0, 2_900.0])
def test_analytic_keeps_the_tone_in_place_and_drops_its_mirror(rate_hz: int, hz: float) -> None:
    time_s = np.arange(rate_hz) / rate_hz
    analytic = Analytic(rate_hz)
    pieces = np.array_split(np.cos(2 * np.pi * hz * time_s).astype(np.float32), 7)
    out = np.concatenate([*(analytic.feed(piece) for piece in pieces), analytic.finish()])
    assert len(out) == rate_hz
    middle = slice(rate_hz // 4, -rate_hz // 4)
    expected = np.exp(2j * np.pi * hz * time_s)
    assert np.abs(out - expected)[middle].max() < 0.01


def test_dial_moves_and_own_transmission(tmp_path: Path) -> None:
    log = "time_s,receive_hz,keyed\n0,18143500,0\n1.5,18148000,0\n3,18148000,1\n4,18148000,0\n4.5,18143500,0\n"
    events = list(AudioFile(*recording(tmp_path, log)).events())
    blocks = [event for event in events if isinstance(event, Block)]
    assert all(block.audio for block in blocks)
    spans: list[tuple[float, float, float]] = []
    for block in blocks:
        if spans and spans[-1][1:] == (block.start_s, block.center_hz):
            spans[-1] = (spans[-1][0], block.stop_s, block.center_hz)
        else:
            spans.append((block.start_s, block.stop_s, block.center_hz))
    assert spans == [
        (0.0, 1.5, 18_143_500.0),
        (1.5, 3.0, 18_148_000.0),
        (4.0, 4.5, 18_148_000.0),
        (4.5, 6.0, 18_143_500.0),
    ]
    assert [event for event in events if isinstance(event, Gap)] == [Gap(3.0, 4.0, "own transmission")]
    assert [event.keyed for event in events if isinstance(event, Dial)] == [False, False, True, False, False]


def test_before_the_log_begins_and_keyed_to_the_end(tmp_path: Path) -> None:
    log = "time_s,receive_hz,keyed\n1,18143500,yes\n2,18143500,no\n5,18143500,true\n"
    events = list(AudioFile(*recording(tmp_path, log)).events())
    assert [event for event in events if isinstance(event, Gap)] == [
        Gap(0.0, 1.0, "before the dial log begins"),
        Gap(1.0, 2.0, "own transmission"),
        Gap(5.0, 6.0, "own transmission"),
    ]


def line_hz(block: Block) -> float:
    """Absolute frequency of the strongest line."""
    spectrum = np.abs(np.fft.fft(block.samples[1000:9000]))
    return block.center_hz + float(np.fft.fftfreq(8000, 1 / RATE_HZ)[np.argmax(spectrum)])


@pytest.mark.parametrize(
    ("sideband", "pitch_hz", "expected_hz"),
    [("usb", 0.0, 700.0), ("lsb", 0.0, -700.0), ("usb", 700.0, 0.0), ("lsb", 700.0, 0.0)],
)
def test_where_a_tone_lies(tmp_path: Path, sideband: str, pitch_hz: float, expected_hz: float) -> None:
    wav, dial = recording(tmp_path, "time_s,receive_hz\n0,18143500\n")
    source = open_recording(wav, None, dial, sideband, pitch_hz)  # type: ignore[arg-type]
    samples = np.concatenate([e.samples for e in source.events() if isinstance(e, Block)])
    block = Block(0, RATE_HZ, source.center_hz, samples)
    assert line_hz(block) - 18_143_500.0 == pytest.approx(expected_hz, abs=1.0)


@pytest.mark.parametrize(
    ("log", "sentence"),
    [
        ("", "needs a first line time_s,receive_hz,keyed"),
        ("time,hz\n0,1\n", "needs a first line time_s,receive_hz,keyed"),
        ("time_s,receive_hz,keyed\n0,eighteen,0\n", "Line 2 of the dial log .* is not two numbers and 0 or 1"),
        ("time_s,receive_hz,keyed\n0,1,maybe\n", "Line 2 of the dial log .* is not two numbers and 0 or 1"),
        ("time_s,receive_hz,keyed\n2,1,0\n1,1,0\n", "Line 3 of the dial log .* times must ascend"),
        ("time_s,receive_hz,keyed\n0,-5,0\n", "Line 2 of the dial log .* frequencies be in hertz"),
        ("time_s,receive_hz,keyed\nnan,5,0\n", "Line 2 of the dial log"),
        ("time_s,receive_hz,keyed\n0,14023,0\n", "Line 2 .* receive_hz 14023, which looks like kHz; .*: 14023000"),
        (
            "time_s,receive_hz,keyed\n0,14023000,0\n1,14.0235,0\n",
            r"Line 3 .* receive_hz 14\.0235, which looks like MHz; .*: 14023500",
        ),
        ("time_s,receive_hz,keyed\n0\n", "Line 2 of the dial log"),
    ],
)
def test_a_bad_log_names_its_line(tmp_path: Path, log: str, sentence: str) -> None:
    wav, dial = recording(tmp_path, log, 0.1)
    with pytest.raises(HearmarkError, match=sentence):
        AudioFile(wav, dial)


def test_two_channels_do_not_go_with_a_log(tmp_path: Path) -> None:
    wav, dial = recording(tmp_path, "time_s,receive_hz\n0,18143500\n", 0.1)
    soundfile.write(wav, np.zeros((100, 2)), RATE_HZ)
    with pytest.raises(HearmarkError, match="leave --dial out and add --center"):
        AudioFile(wav, dial)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.text(alphabet='time_srcvhz,keyd\n0123456789.-"\x00é', max_size=60) | st.binary(max_size=40))
def test_any_log(tmp_path_factory: pytest.TempPathFactory, content: str | bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(content if isinstance(content, bytes) else b"time_s,receive_hz,keyed\n" + content.encode())
    try:
        dials = read_dial_log(path)
    except HearmarkError as error:
        sentence = str(error)
    else:
        assert all(dial.receive_hz > 0 for dial in dials)
        return
    assert "\n" not in sentence
