"""`hearmark path`: the contract of its JSON, its words, and one sentence for each thing a person may do wrong."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from hearmark import cli

BASE = ["path", "--from", "JO50", "--date", "2026-03-21", "--solar-flux", "140"]


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        cli.main([*BASE, *arguments])
    out = capsys.readouterr()
    return int(ended.value.code or 0), out.out, out.err


def test_json_keeps_its_contract(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "--to", "FN31", "--frequencies-mhz", "18.1,21.2", "--json")
    found = json.loads(out)
    assert code == 0
    assert found["distance_km"] == pytest.approx(6229.4, abs=1.0)
    assert found["bearing_deg"] == pytest.approx(296.0, abs=1.0)
    assert [(h["utc_hour"], h["frequency_mhz"]) for h in found["hours"][:3]] == [(0, 18.1), (0, 21.2), (1, 18.1)]
    assert len(found["hours"]) == 48
    assert all(0.0 <= h["probability"] <= 1.0 for h in found["hours"])
    assert found["usual_probability"] == pytest.approx(np.mean([h["probability"] for h in found["hours"]]), abs=1e-3)
    assert all(
        (h["probability"] >= 0.5) == (h["snr_db_hz"] >= 27.0)
        for h in found["hours"]
        if abs(h["snr_db_hz"] - 27.0) > 0.1
    )


def test_power_and_need_count_in_decibels(capsys: pytest.CaptureFixture[str]) -> None:
    found = [
        json.loads(run(capsys, "--to", "FN31", "--frequencies-mhz", "14.1", "--json", *more)[1])["hours"][15]
        for more in ((), ("--power-w", "1000"), ("--required-db-hz", "43"))
    ]
    assert found[1]["snr_db_hz"] - found[0]["snr_db_hz"] == pytest.approx(10.0, abs=0.15)
    assert found[2]["probability"] < found[0]["probability"] < found[1]["probability"]


def test_the_bands_in_words_and_a_picture(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    picture = tmp_path / "path.png"
    code, out, _ = run(capsys, "--to", "-33.5,151", "--picture", str(picture))
    assert code == 0
    assert "point to" in out
    assert all(f" {band} " in out for band in ("160 m", "20 m", "10 m"))
    assert picture.read_bytes()[:4] == b"\x89PNG"


def test_the_long_path_is_named_with_its_hours_and_a_closed_band_as_closed(capsys: pytest.CaptureFixture[str]) -> None:
    out = run(capsys, "--to", "RF80")[1]
    line = next(line for line in out.splitlines() if line.startswith("Long path, point to"))
    assert "20 m 0" in line
    assert next(line for line in out.splitlines() if "160 m" in line).endswith("closed")
    found = json.loads(run(capsys, "--to", "RF80", "--json")[1])
    ways = {(o["path"], o["bearing_deg"]) for o in found["openings"]}
    assert ways == {("short", found["bearing_deg"]), ("long", found["long_path"]["bearing_deg"])}


@pytest.mark.parametrize(("day", "sun", "begins"), [("2026-12-21", "down", "night"), ("2026-06-21", "up", "day")])
def test_where_the_sun_does_not_rise_or_set_it_says_which(
    capsys: pytest.CaptureFixture[str], day: str, sun: str, begins: str
) -> None:
    """At 85 degrees north in midwinter and midsummer the sun stays 18 degrees below or above the horizon."""
    out = run(capsys, "--to", "85,20", "--date", day)[1]
    assert f"Sun there: {sun} all 24 h." in out
    found = json.loads(run(capsys, "--to", "85,20", "--date", day, "--json")[1])
    assert found["sun"]["there"]["begins"] == begins
    assert found["sun"]["there"]["rise"] is None


def test_several_stations_become_a_table_the_likeliest_first(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "--to", "FN31", "--to", "JN48", "--to", "QF56", "--json")
    rows = json.loads(out)["stations"]
    assert code == 0
    assert {row["station"] for row in rows} == {"FN31", "JN48", "QF56"}
    chances = [row["probability"] for row in rows]
    assert chances == sorted(chances, reverse=True)
    assert "JN48" in run(capsys, "--to", "FN31", "--to", "JN48")[1]


def test_what_is_heard_corrects(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    heard = tmp_path / "heard.csv"
    heard.write_text(
        "time,place,frequency_mhz,snr_db_hz,power_w\n2026-03-21T15:00Z,FN31,14.02,,100\n2026-03-21T15:10Z,QF56,14.02,12,100\n"
    )
    plain = json.loads(run(capsys, "--to", "FN31", "--json")[1])
    code, out, _ = run(capsys, "--to", "FN31", "--json", "--heard", str(heard))
    corrected = json.loads(out)
    assert code == 0
    assert corrected["learnt"]["stations"] == 2
    assert corrected["learnt"]["level_db"] < 0.0
    assert sum(h["probability"] for h in corrected["hours"]) < sum(h["probability"] for h in plain["hours"])


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (["--to", "nowhere land"], "no known place"),
        (["--to", "ZZ99"], "no known place"),
        (["--to", "FN31", "--from", "ZZ99"], "no place"),
        (["--to", "FN31", "--from", "JA1"], "no place"),
        (["--to", "95,10"], "latitude -90 to 90"),
        (["--to", "FN31", "--frequencies-mhz", "144"], "1.5 to 60 MHz"),
        (["--to", "FN31", "--frequencies-mhz", "many"], "no frequencies"),
        (["--to", "FN31", "--power-w", "0"], "no power"),
        (["--to", "FN31", "--sunspots", "100"], "not both"),
        (["--to", "FN31", "--solar-flux", "nan"], "--solar-flux"),
        (["--to", "FN31", "--required-db-hz", "nan"], "--required-db-hz"),
        (["--to", "FN31", "--antenna", "sloper"], "no antenna"),
        (["--to", "FN31", "--antenna", "dipole:0"], "no usable height"),
        (["--to", "FN31", "--picture", "/nowhere/x.png"], "Cannot write"),
        (["--to", "FN31", "--heard", "/nowhere/x.csv"], "Cannot read"),
        (["--to", "FN31", "--heard", __file__], "no measurements"),
        (["--to", "FN31", "--date", "yesterday"], "--date"),
        (["--to", "FN31", "--date", "9999-12-31"], "1900 to 2100"),
    ],
)
def test_bad_input_gets_one_sentence(capsys: pytest.CaptureFixture[str], arguments: list[str], why: str) -> None:
    code, out, error = run(capsys, *arguments)
    assert code == 2
    assert out == ""
    assert why in error
    assert error.count("\n") == 1
    assert "Traceback" not in error


def test_without_a_place_of_ones_own(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main(["path", "--to", "FN31"])
    assert ended.value.code == 2
    assert "own place" in capsys.readouterr().err


def test_the_antenna_of_the_settings_counts_when_no_option_is_given(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    asked = ("--from", "JO50", "--to", "FN31", "--date", "2026-03-21", "--frequencies-mhz", "14.1,28.2", "--json")

    def told(settings: str, *more: str) -> Any:
        path = tmp_path / "s.toml"
        path.write_text(settings)
        code, out, error = run(capsys, *asked, "--settings", str(path), *more)
        assert code == 0, error
        return json.loads(out)

    def levels(found: Any, mhz: float) -> list[float]:
        return [row["snr_db_hz"] for row in found["hours"] if row["frequency_mhz"] == mhz]

    low = "[[antenna]]\nname = 'low wire'\nlow_mhz = 13.0\nhigh_mhz = 15.0\nheight_m = 4.0\n"
    beam = "[[antenna]]\nname = 'big beam'\nlow_mhz = 13.0\nhigh_mhz = 15.0\nheight_m = 20.0\ngain_dbi = 7.1\n"
    usual, poor, good = told(""), told(low), told(beam)
    assert usual["own"]["antenna"] == "vertical or dipole 10 m up"
    assert poor["own"]["antenna"] == "low wire, 2.15 dBi, 4 m up"
    assert good["own"]["antenna"] == "big beam, 7.1 dBi, 20 m up"
    assert np.mean(levels(good, 14.1)) > np.mean(levels(usual, 14.1)) > np.mean(levels(poor, 14.1))
    assert levels(good, 14.1) == levels(told("", "--antenna", "beam:20"), 14.1), "the same antenna by option"
    assert levels(poor, 28.2) == levels(usual, 28.2), "where none of ours is used, the usual one counts"
    assert told(low, "--antenna", "usual")["own"]["antenna"] == "vertical or dipole 10 m up", "an option goes first"
    both = told(low + beam)
    assert both["own"]["antenna"] == "low wire, 2.15 dBi, 4 m up and big beam, 7.1 dBi, 20 m up"
    assert all(a >= b - 0.011 for a, b in zip(levels(both, 14.1), levels(good, 14.1), strict=True)), "the best of ours"
    vertical = told("[[antenna]]\nname = 'pole'\nupright = true\n")
    assert levels(vertical, 14.1) == levels(told("", "--antenna", "vertical"), 14.1)
