"""hearmark practice on the command line: lists, checks, one sentence for what is wrong."""

import json
from pathlib import Path
from typing import Any

import pytest

from hearmark.cli import main

SMALL = """
title = "Small"
text = "Listen."
window = "up 1"
callers = 1
sloppiness = 0
channel = "flat"
own_snr_db = 25
minutes = 3
"""


def run(capsys: Any, *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    out, err = capsys.readouterr()
    return int(ended.value.code or 0), out, err


def test_list_for_people_and_machines(capsys: Any) -> None:
    code, out, _ = run(capsys, "practice", "--list")
    assert code == 0
    assert "his-words" in out
    assert "The wild one" in out
    code, out, _ = run(capsys, "practice", "--list", "--json")
    rows = json.loads(out)["lessons"]
    assert [row["name"] for row in rows][:2] == ["his-words", "one-call"]
    assert rows[0]["modes"] == ["cw", "usb"]


def test_check_plays_a_lesson_with_the_two_others(capsys: Any, tmp_path: Path) -> None:
    path = tmp_path / "small.toml"
    path.write_text(SMALL)
    code, out, _ = run(capsys, "practice", "--lesson", str(path), "--check", "--json", "--seed", "4")
    assert code == 0
    found = json.loads(out)
    assert found["seed"] == 4
    assert found["duration_s"] == 180.0
    assert 5.0 < found["tail_ender_s"] < 180.0
    again = run(capsys, "practice", "--lesson", str(path), "--check", "--json", "--seed", "4")[1]
    assert json.loads(again) == found
    code, out, _ = run(capsys, "practice", "--lesson", str(path), "--check")
    assert '"Small" can be played: CW' in out
    assert "the perfect tail-ender:" in out


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--level", "nothing", "--list"), "There is no lesson 'nothing': choose one of his-words"),
        (("--lesson", "none.toml"), "Cannot read the lesson none.toml"),
        (("--json",), "--json goes with --list or --check"),
        (("--call", "HELLO", "--check"), "is no call sign"),
        (("--mode", "lsb", "--check"), "is in cw or usb, not in lsb"),
        (("--sheets", "/nowhere/sheets.jsonl", "--port", "0"), "Cannot write /nowhere/sheets.jsonl"),
        (("--seed", "-1"), "Invalid value for '--seed'"),
    ],
)
def test_what_is_wrong_is_one_sentence(capsys: Any, arguments: tuple[str, ...], sentence: str) -> None:
    code, _, err = run(capsys, "practice", *arguments)
    assert code == 2
    assert sentence in err
    assert "Traceback" not in err
