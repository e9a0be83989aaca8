"""hearmark repeaters, pass and exposure from the command line."""

import json
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from hearmark.cli import commands
from hearmark.errors import HearmarkError

OMM = [
    {
        "OBJECT_NAME": "INVENTED 1", "OBJECT_ID": "2024-001A", "EPOCH": "2026-11-16T12:00:00", "MEAN_MOTION": "15.0",
        "ECCENTRICITY": "0.001", "INCLINATION": "97.5", "RA_OF_ASC_NODE": "120.0", "ARG_OF_PERICENTER": "90.0",
        "MEAN_ANOMALY": "270.0", "NORAD_CAT_ID": "90001", "BSTAR": "0.00005", "MEAN_MOTION_DOT": "0.000001",
    }
]  # fmt: skip


def run(*words: str) -> str:
    return CliRunner().invoke(commands, words, catch_exceptions=False, standalone_mode=False).stdout


@pytest.fixture
def elements(tmp_path: Path) -> str:
    path = tmp_path / "some.json"
    path.write_text(json.dumps(OMM))
    return str(path)


def test_passes_with_tuning(elements: str) -> None:
    words = (
        "pass", "--elements", elements, "--from", "JO50", "--date", "2026-11-17", "--uplink", "145.93-145.99",
        "--downlink", "435.61-435.67", "--inverting", "--uplink-mode", "lsb", "--downlink-mode", "usb",
    )  # fmt: skip
    content = json.loads(run(*words, "--json"))
    assert len(content["passes"]) >= 3
    for one in content["passes"]:
        assert one["max_elevation_deg"] >= 5.0
        assert 0.0 < one["elements_age_days"] < 2.0
        assert datetime.fromisoformat(one["rise_utc"]) < datetime.fromisoformat(one["set_utc"])
        rows = one["tuning"]
        assert rows[0]["receive_hz"] > 435_640_000 > rows[-1]["receive_hz"]
        assert rows[0]["transmit_hz"] < 145_960_000 < rows[-1]["transmit_hz"]
        assert rows[0]["range_rate_km_s"] < 0.0 < rows[-1]["range_rate_km_s"]
    assert "elements" in run(*words)


def test_a_pass_follows_with_the_radio(elements: str) -> None:
    text = run(
        "pass", "--elements", elements, "--from", "50.1,8.7", "--uplink", "145.96", "--downlink", "435.64",
        "--radio", "simulated", "--seconds", "0.3", "--oldest", "36500",
    )  # fmt: skip
    assert "hears 4356" in text


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--date", "2027-03-01"), "more than 30 days are refused"),
        (("--satellite", "none"), 'No satellite "none"'),
        (("--hours", "0"), "--hours 0 cannot be"),
        (("--uplink", "145.9"), "Give both --uplink and --downlink"),
        (("--uplink", "x", "--downlink", "1"), "is no frequency"),
        (("--uplink", "145.9-145.99", "--downlink", "435.6"), "equally wide"),
        (("--from", "nowhere"), "is no place"),
        (("--radio", "simulated"), "To follow live, name one --satellite"),
    ],
)
def test_bad_passes_get_one_sentence(words: tuple[str, ...], sentence: str, elements: str) -> None:
    with pytest.raises(HearmarkError, match=sentence):
        run("pass", "--elements", elements, "--from", "JO50", "--date", "2026-11-17", *words)


def test_repeaters_by_distance_and_band(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text(
        "name,output_mhz,tone,locator\nQA0FAR,145.6,88.5,JN48\nQA0NEAR,145.65,,JO50ab\nQA0UP,438.95,,JO50\n"
    )
    content = json.loads(run("repeaters", str(path), "--from", "JO50aa", "--band", "2m", "--json"))
    assert [row["name"] for row in content["repeaters"]] == ["QA0NEAR", "QA0FAR"]
    near = content["repeaters"][0]
    assert (near["transmit_hz"], near["duplex"], near["shift_guessed"], near["lawful"]) == (
        145.05e6,
        "half",
        True,
        None,
    )
    text = run("repeaters", str(path), "--from", "JO50aa", "--within", "50", "--licence", "itu-1")
    assert "QA0FAR" not in text
    assert "send   145.0500 MHz" in text
    with pytest.raises(HearmarkError, match='There is no band "3m"'):
        run("repeaters", str(path), "--band", "3m")
    with pytest.raises(HearmarkError, match="add --from"):
        run("repeaters", str(path), "--within", "5")


def test_the_radio_is_set_to_a_repeater(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("name,output_mhz,tone\nQA0HILL,145.6,88.5\n")
    text = run("repeaters", str(path), "--set", "qa0hill", "--address", "simulated")
    assert "hears 145600.00 kHz FM, sends on 145000.00 kHz, split on" in text
    assert "Its tone is 88.5: switch it on at the radio." in text
    with pytest.raises(HearmarkError, match='No repeater "other" in the list'):
        run("repeaters", str(path), "--set", "other", "--address", "simulated")
    with pytest.raises(HearmarkError, match="no part of that window may be used"):
        run("repeaters", str(path), "--set", "QA0HILL", "--address", "simulated", "--licence", "us-novice")


def test_exposure_says_what_it_takes_for_granted() -> None:
    text = run("exposure", "--frequency-mhz", "14.2", "--power-w", "100")
    assert "sending 25 % of the time (calling in a pile-up: 2 s of every 8)" in text
    assert "near-field limits apply" in text
    assert "licensed practice decide" in text
    words = ("exposure", "--frequency-mhz", "144", "--power-w", "1500", "--gain-dbi", "24", "--loss-db", "0")
    content = json.loads(run(*words, "--factor", "1", "--duty", "1", "--json"))
    assert [round(one["distance_m"] / 0.3048) for one in content["limits"]] == [287, 643]
    low = json.loads(run("exposure", "--frequency-mhz", "1.9", "--power-w", "10", "--json"))
    assert low["limits"][0]["near_field"] is True


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--frequency-mhz", "0"), "is no frequency"),
        (("--frequency-mhz", "0.1"), "from 0.3 MHz"),
        (("--frequency-mhz", "14", "--power-w", "-1"), "cannot be"),
        (("--frequency-mhz", "14", "--duty", "2"), "A duty of 2 cannot be"),
        (("--frequency-mhz", "14", "--gain-dbi", "200"), "gain of 200 dBi cannot be"),
    ],
)
def test_bad_exposure_gets_one_sentence(words: tuple[str, ...], sentence: str) -> None:
    with pytest.raises(HearmarkError, match=sentence):
        run("exposure", *words)
