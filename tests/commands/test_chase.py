"""Spots and announced operations on the command line."""

import json
from pathlib import Path
from typing import Any

import pytest

from hearmark.cli import main

SPOTS = (
    "DX de N0AA:      18143.5  VP8AA        up 5-10                        1828Z\n"
    "DX de N0AB:      14025.0  3Y0J         up 2                           1815Z\n"
    "DX de nonsense\nhello\n"
)


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main([str(argument) for argument in arguments])
    out = capsys.readouterr()
    return int(str(ended.value.code)), out.out, out.err


def run_json(capsys: pytest.CaptureFixture[str], *arguments: object) -> Any:
    code, out, err = run(capsys, *arguments, "--json")
    assert code == 0, err
    return json.loads(out)


def test_spots_from_a_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "spots.txt"
    path.write_text(SPOTS)
    at = ("--at", "2026-03-21 18:30")
    found = run_json(capsys, "chase", "spots", path, *at)
    assert (found["spots"], found["lines_not_read"]) == (2, [3])
    assert [row["call"] for row in found["rows"]] == ["VP8AA", "3Y0J"]
    assert found["rows"][0]["listens"]["low_hz"] == 18_148_500
    code, text, _ = run(capsys, "chase", "spots", path, *at)
    assert code == 0
    assert "Bouvet never worked" in text
    assert "Not read as spots: line 3." in text


@pytest.mark.parametrize("text", ["", "some words\nand more\n", "DX de nonsense\n"])
def test_a_file_without_a_spot_is_refused(capsys: pytest.CaptureFixture[str], tmp_path: Path, text: str) -> None:
    path = tmp_path / "text.wav"
    path.write_text(text)
    code, out, err = run(capsys, "chase", "spots", path)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "holds no spot that can be read" in err


def test_log_settings_and_path_join(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path, settings, db = tmp_path / "spots.txt", tmp_path / "s.toml", tmp_path / "log.db"
    path.write_text(SPOTS)
    settings.write_text(f'[station]\nlocator = "JO50"\n[log]\nstore = "{db}"\n')
    code, _, _ = run(capsys, "log", "add", "VP8AA", "--freq", 18148.5, "--mode", "usb", "--settings", settings)
    assert code == 0
    found = run_json(capsys, "chase", "spots", path, "--at", "2026-03-21 18:30", "--settings", settings)
    rows = {row["call"]: row for row in found["rows"]}
    assert rows["VP8AA"]["duplicate"]
    assert 0.0 <= rows["3Y0J"]["path"] <= 1.0
    assert found["rows"][0]["call"] == "3Y0J"


def test_announced_operations_of_today(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "watch.csv"
    path.write_text("call,since,until,bands,modes\n3Y0J,2026-03-20,2026-03-25,20m,cw\nVP8AA,2026-05-01,,,\n")
    found = run_json(capsys, "chase", "today", "--watch", path, "--at", "2026-03-21")["chances"]
    assert [(c["call"], c["band"], c["probability"]) for c in found] == [("3Y0J", "20m", None)]
    code, text, _ = run(capsys, "chase", "today", "--watch", path, "--at", "2026-04-21")
    assert code == 0
    assert "No announced operation" in text


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("spots",), "Which spots?"),
        (("spots", "nosuch.txt"), "Cannot read nosuch.txt"),
        (("spots", "--node", "nowhere"), '"nowhere" is no address of a node'),
        (("spots", "--node", "localhost:1", "--seconds", "0.3"), "Nothing came from localhost:1"),
        (("spots", "x.txt", "--node", "localhost:1"), "not both"),
        (("spots", "x.txt", "--limit", "-1"), "--limit -1 is less than none"),
        (("today",), "Which operations?"),
        (("today", "--watch", "nosuch.csv"), "Cannot read nosuch.csv"),
    ],
)
def test_bad_input_is_one_line(capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], said: str) -> None:
    code, _, err = run(capsys, "chase", *arguments)
    assert code == 2
    assert said in err
    assert err.count("\n") == 1


def test_columns_by_other_names_and_unknown_ones(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "watch.csv"
    path.write_text("Call,From,To,Band\n3Y0J,2026-03-20,2026-03-25,20m\nVP8AA,2026-04-01,2026-04-02,20m\n")
    found = run_json(capsys, "chase", "today", "--watch", path, "--at", "2026-03-21")["chances"]
    assert {row["call"] for row in found} == {"3Y0J"}
    path.write_text("call,dates\n3Y0J,2026-03-20\n")
    code, _, err = run(capsys, "chase", "today", "--watch", path)
    assert code == 2
    assert 'row 2: "dates" is unknown; known are call, entity' in err
    other = tmp_path / "watch.toml"
    other.write_text('[[operations]]\ncall = "3Y0J"\n')
    code, _, err = run(capsys, "chase", "today", "--watch", other)
    assert code == 2
    assert "must hold [[operation]] sections" in err
