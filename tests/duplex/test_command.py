"""hearmark split from the command line: the readings as promised, words for people, one sentence for bad input."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from hearmark.cli import commands
from hearmark.errors import HearmarkError


def run(*words: str) -> str:
    result = CliRunner().invoke(commands, words, catch_exceptions=False, standalone_mode=False)
    return result.output


def test_json_has_what_is_promised() -> None:
    content = json.loads(run("split", "up 5 to 10", "--on", "18143.5", "--mode", "usb", "--json"))
    first = content["readings"][0]
    wanted = {
        "receive_hz": 18_143_500.0, "listen_low_hz": 18_148_500.0, "listen_high_hz": 18_153_500.0, "lawful": None,
    }  # fmt: skip
    assert {name: first[name] for name in wanted} == wanted
    assert first["probability"] == 1.0
    assert "licence is not known" in first["why"]


@pytest.mark.parametrize(("licence", "lawful"), [("us-general", True), ("us-technician", False), ("itu-1", None)])
def test_licence_decides(licence: str, lawful: bool | None) -> None:
    text = run("split", "up 5 to 10", "--on", "18143.5", "--mode", "usb", "--licence", licence, "--json")
    assert json.loads(text)["readings"][0]["lawful"] is lawful


def test_licence_may_come_from_the_settings(tmp_path: Path) -> None:
    path = tmp_path / "station.toml"
    path.write_text('[station]\nlicence = "us-extra"\nband_plan = "iaru-1"\n')
    text = run("split", "up", "2", "--on", "14040", "--settings", str(path))
    assert "you may send there" in text
    assert "CW on 14042.00 takes 14041.92 to 14042.08 kHz, as the band plan has it" in text


def test_words_say_how_to_set_it_and_that_nothing_is_keyed() -> None:
    text = run("split", "up 5", "--on", "18143.5", "--licence", "us-extra")
    assert "VFO B on 18148.50 kHz, USB; split on" in text
    assert "never keys a transmitter" in text


def test_what_may_not_be_used_is_not_set() -> None:
    text = run("split", "up 10", "--on", "14195", "--licence", "us-general")
    assert "No part of that window may be used" in text
    assert "VFO B" not in text


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("split", "hello", "--on", "18143.5"), "does not say where he listens"),
        (("split", "up 5", "--on", "-1"), "is no frequency"),
        (("split", "up 5", "--on", "14200", "--licence", "uk"), 'no privileges table "uk"; choose one of iaru-1'),
        (("split", "up 5", "--on", "14200", "--licence", "us-extra", "--bandwidth", "0"), "cannot be"),
        (("split", "up", "--on", "14025", "--at", "14025"), "^Not moved: 0 Hz from the DX our signal would cover him"),
        (
            ("split", "up 5", "--on", "14195", "--at", "14196", "--licence", "us-extra", "--json"),
            "^Not moved: 1000 Hz from the DX our signal would cover him; keep 2700 Hz or more away",
        ),
        (("split", "listening 14190 to 14200", "--on", "14195"), "^Not moved: 0 Hz from the DX"),
        (("split", "up 5", "--on", "14350"), "^Not moved: 14355.00 kHz lies in no amateur band"),
        (("split", "up 10", "--on", "14345", "--licence", "us-extra"), "14355.00 kHz lies in no amateur band"),
        (("split", "simplex", "--on", "14400", "--json"), "14400.00 kHz lies in no amateur band"),
        (("split", "up 5", "--on", "14195", "--at", "14360"), "14360.00 kHz lies in no amateur band"),
        (("split", "up 5", "--on", "14195", "--at", "7100"), "7100.00 kHz lies outside the band that he works on"),
    ],
)
def test_bad_input_gets_one_sentence(words: tuple[str, ...], sentence: str) -> None:
    with pytest.raises(HearmarkError, match=sentence):
        run(*words)


def test_a_place_of_ones_own_is_held_against_the_licence() -> None:
    text = run("split", "up 5", "--on", "14195", "--mode", "usb", "--at", "14100", "--licence", "us-extra")
    assert "You may NOT call where you want to: USB on 14100.00" in text
    assert "Set it" not in text


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("up 5", "--on", "14195", "--at", "14210"), "Note: 14210.00 kHz lies outside the window"),
        (("up 5 to 15", "--on", "14340"), "call on 14347.50 kHz"),
        (("QSX 50110", "--on", "28885"), "call on 50110.00 kHz"),
        (("simplex", "--on", "14195", "--at", "14195"), "Set it: hear 14195.00, call on 14195.00 kHz"),
    ],
)
def test_what_is_no_usual_place_and_may_be_meant_is_set(words: tuple[str, ...], said: str) -> None:
    text = run("split", *words)
    assert said in text
    assert "Set it" in text


def test_a_window_that_is_cut_says_so_and_is_set_inside() -> None:
    text = run("split", "up 1 to 5", "--on", "14345", "--mode", "usb", "--licence", "US-Extra")
    assert "you may send in a part of it only" in text
    assert "call on 14346.55 kHz" in text


@pytest.mark.parametrize(
    ("announcement", "said"),
    [
        ("up 5 no europe", "; he does not want EU;"),
        ("up 5 no europe and asia", "; he does not want EU or AS;"),
        ("up 5 north america only", "; he asks for NA;"),
        ("up 5 listening for fours", "; he asks for 4;"),
        ("up 5 na only no europe", "; he asks for NA, and he does not want EU;"),
    ],
)
def test_whom_he_wants_and_whom_not(announcement: str, said: str) -> None:
    assert said in run("split", announcement, "--on", "14195")


@pytest.mark.parametrize("words", [("-5",), ("split", "-5"), ("-5 to -10",)])
def test_a_minus_before_a_figure_is_an_announcement(words: tuple[str, ...]) -> None:
    first = json.loads(run("split", *words, "--on", "14195", "--json"))["readings"][0]
    assert first["listen_high_hz"] == 14_190_000.0


@pytest.mark.parametrize(
    ("khz", "said"),
    [("14.195", "looks like MHz; give it in kHz: 14195"), ("18143500", "looks like Hz; give it in kHz: 18143.5")],
)
def test_a_wrong_unit_is_told(khz: str, said: str) -> None:
    with pytest.raises(HearmarkError, match=said):
        run("split", "up", "5", "--on", khz)


@pytest.mark.parametrize("khz", ["137", "472.5", "1825", "5357", "10368100"])
def test_every_band_can_be_given_in_khz(khz: str) -> None:
    assert json.loads(run("split", "simplex", "--on", khz, "--json"))["readings"][0]["lawful"] is None
