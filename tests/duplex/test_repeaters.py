"""Repeaters from a plain CSV list: pairs, shifts, tones."""

from pathlib import Path

import pytest

from hearmark.duplex.repeaters import Repeater, read_repeaters, shifts, tone_of, usual_shift_hz
from hearmark.errors import HearmarkError

LIST = """name,output_mhz,input_mhz,shift_mhz,tone,mode,locator,note
QA0HILL,145.600,,,88.5,fm,JO50ab,on the hill
QA0TOWN,438.950,431.350,,D023N,,JO40,
QA0ODD,145.7125,,-0.6,,,,

QA0FAR,146.94,,-0.6,1750,FM,"50.0,8.0",
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "list.csv"
    path.write_text(LIST)
    return path


def test_list_is_read(path: Path) -> None:
    hill, town, odd, far = read_repeaters(path)
    assert (hill.input_hz, hill.shift_hz, hill.tone, hill.guessed) == (145_000_000.0, -600_000.0, "88.5", True)
    assert (town.input_hz, town.tone, town.guessed) == (431_350_000.0, "D023", False)
    assert (odd.input_hz, odd.guessed) == (145_112_500.0, False)
    assert (far.tone, far.locator) == ("1750", "50.0,8.0")


def test_it_is_half_duplex_for_us_and_a_pair(path: Path) -> None:
    plan = read_repeaters(path)[0].plan()
    assert (plan.receive_hz, plan.listen_low_hz, plan.listen_high_hz) == (145.6e6, 145.0e6, 145.0e6)
    assert (plan.kind, plan.duplex, plan.mode, plan.tone) == ("repeater", "half", "fm", "88.5")


@pytest.mark.parametrize(
    ("output_mhz", "region", "shift_khz"),
    [
        (145.6, 1, -600.0), (146.94, 2, -600.0), (147.06, 2, 600.0), (147.06, 3, 600.0), (444.5, 2, 5_000.0),
        (449.0, 2, -5_000.0), (438.95, 1, -7_600.0), (433.0, 1, 1_600.0), (224.5, 2, -1_600.0), (29.66, 1, -100.0),
        (14.2, 1, None),
    ],
)  # fmt: skip
def test_usual_shifts(output_mhz: float, region: int, shift_khz: float | None) -> None:
    """Common practice, no source."""
    assert usual_shift_hz(output_mhz * 1e6, region) == (None if shift_khz is None else shift_khz * 1e3)
    assert shifts()["source"].startswith("common practice, no source")


@pytest.mark.parametrize(
    ("text", "tone"),
    [
        ("88.5", "88.5"),
        ("88,5 Hz", "88.5"),
        ("1750", "1750"),
        ("d023n", "D023"),
        ("D754", "D754"),
        ("", ""),
        ("67", "67.0"),
    ],
)
def test_tones(text: str, tone: str) -> None:
    assert tone_of(text) == tone


@pytest.mark.parametrize("text", ["88", "x", "D089", "-5", "nan"])
def test_what_is_no_tone(text: str) -> None:
    with pytest.raises(HearmarkError, match="is no tone"):
        tone_of(text)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("a,b\n1,2\n", "columns name and output_mhz"),
        ("", "columns name and output_mhz"),
        ("name,output_mhz\nX,abc\n", "line 2: output_mhz 'abc' is no frequency in MHz"),
        ("name,output_mhz\nX,120.0\n", "lies in no amateur band"),
        ("name,output_mhz\nX,\n", "lies in no amateur band"),
        ("name,output_mhz\nX,14.2\n", "no usual shift"),
        ("name,output_mhz,input_mhz\nX,145.6,120\n", "its input on 120 MHz"),
        ("name,output_mhz,tone\nX,145.6,88\n", 'line 2: "88" is no tone'),
        ("name,output_mhz,mode\nX,145.6,pencil\n", "mode 'pencil' is not known"),
    ],
)
def test_faulty_lists_get_one_sentence(text: str, sentence: str, tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text(text)
    with pytest.raises(HearmarkError, match=sentence):
        read_repeaters(path)
    with pytest.raises(HearmarkError, match="Cannot read the repeaters"):
        read_repeaters(tmp_path / "none.csv")
    with pytest.raises(HearmarkError, match="no ITU region 4"):
        usual_shift_hz(145.6e6, 4)


def test_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("name;output_mhz;shift_mhz\nQA0X;145,6;-0,6\n")
    assert read_repeaters(path) == [Repeater("QA0X", 145.6e6, 145.0e6)]


def test_list_as_spreadsheets_write_it(path: Path) -> None:
    path.write_bytes("name;output_mhz;shift_mhz;tone\r\nHügel;145,600;-0,6;88,5\r\n".encode("cp1252"))
    (hill,) = read_repeaters(path)
    assert (hill.name, hill.input_hz, hill.tone) == ("Hügel", 145_000_000.0, "88.5")
    path.write_bytes(b"\x00\xff\xfe")
    with pytest.raises(HearmarkError, match="are not text; give a CSV file"):
        read_repeaters(path)
