"""hearmark radio and hearmark split --radio, on the simulated radio."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from hearmark.cli import commands
from hearmark.errors import HearmarkError


def run(*words: str) -> str:
    return CliRunner().invoke(commands, words, catch_exceptions=False, standalone_mode=False).stdout


def test_it_shows_the_radio() -> None:
    assert "hears 14195.00 kHz USB, sends on 14195.00 kHz, split off" in run("radio", "--address", "simulated")


def test_it_sets_and_shows_what_the_radio_says() -> None:
    said = json.loads(
        run("radio", "--address", "simulated", "up 5 to 10", "--on", "18143.5", "--mode", "usb", "--json")
    )
    assert (said["receive_hz"], said["transmit_hz"], said["split"]) == (18_143_500.0, 18_151_000.0, True)


def test_split_with_radio_sets_it(tmp_path: Path) -> None:
    path = tmp_path / "station.toml"
    path.write_text('[radio]\naddress = "simulated"\n')
    text = run("split", "up", "5", "--on", "18143.5", "--settings", str(path), "--radio")
    assert "The radio hears 18143.50 kHz USB, sends on 18148.50 kHz, split on" in text


def test_watch_ends_by_itself_when_told() -> None:
    assert "Watching" in run("radio", "--address", "simulated", "--watch", "--seconds", "0.2")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("radio",), "is not known; add --address"),
        (("radio", "--address", "simulated", "up 5"), "add --on KHZ"),
        (("radio", "--address", "simulated", "hello", "--on", "7000"), "does not say where he listens"),
        (
            ("radio", "--address", "simulated", "up 10", "--on", "14345", "--licence", "us-extra"),
            "Nothing was set: no part",
        ),
        (
            ("radio", "--address", "simulated", "up 5", "--on", "14200", "--at", "14349", "--licence", "us-extra"),
            r"Nothing was set: 14349\.00 kHz lies outside",
        ),
        (("radio", "--address", "simulated", "up 5", "--on", "14350"), r"14355\.00 kHz lies in no amateur band"),
        (
            ("radio", "--address", "simulated", "up 5", "--on", "14195", "--at", "7100"),
            r"7100\.00 kHz lies outside the band that he works on",
        ),
        (("radio", "--address", "simulated", "up 0.5", "--on", "14200", "--at", "14200.1"), "would cover him"),
    ],
)
def test_bad_input_gets_one_sentence(words: tuple[str, ...], sentence: str) -> None:
    with pytest.raises(HearmarkError, match=sentence):
        run(*words)
