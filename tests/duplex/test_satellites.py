"""Elements from files, transponders, tuning, steps."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hearmark.duplex.doppler import Transponder, factor, plan, steps, tuning
from hearmark.duplex.elements import Elements, choose, read_elements
from hearmark.duplex.orbit import passes, sky
from hearmark.errors import HearmarkError

ONE = "1 90001U 24001A   26320.50000000  .00000100  00000-0  50000-4 0  999"
TWO = "2 90001  97.5000 120.0000 0010000  90.0000 270.0000 15.00000000 1000"
FIELDS = {
    "OBJECT_NAME": "INVENTED 1", "OBJECT_ID": "2024-001A", "EPOCH": "2026-11-16T12:00:00", "MEAN_MOTION": "15.0",
    "ECCENTRICITY": "0.001", "INCLINATION": "97.5", "RA_OF_ASC_NODE": "120.0", "ARG_OF_PERICENTER": "90.0",
    "MEAN_ANOMALY": "270.0", "NORAD_CAT_ID": "90001", "BSTAR": "0.00005", "MEAN_MOTION_DOT": "0.000001",
}  # fmt: skip
LINEAR = Transponder(435.1e6, 435.14e6, 145.85e6, 145.89e6, inverting=True, uplink_mode="lsb", downlink_mode="usb")


def lines() -> str:
    def checked(line: str) -> str:
        line = line.ljust(68)[:68]
        return line + str(sum(int(c) if c.isdigit() else c == "-" for c in line) % 10)

    return f"INVENTED 1\n{checked(ONE)}\n{checked(TWO)}\n"


@pytest.fixture
def elements(tmp_path: Path) -> Elements:
    path = tmp_path / "some.tle"
    path.write_text(lines())
    return read_elements(path)[0]


def xml() -> str:
    meta = "".join(f"<{k}>{FIELDS[k]}</{k}>" for k in ("OBJECT_NAME", "OBJECT_ID"))
    means = "".join(f"<{k}>{FIELDS[k]}</{k}>" for k in list(FIELDS)[2:9])
    rest = "".join(f"<{k}>{FIELDS[k]}</{k}>" for k in list(FIELDS)[9:])
    return (
        f"<ndm><omm><body><segment><metadata>{meta}</metadata><data><meanElements>{means}</meanElements>"
        f"<tleParameters>{rest}</tleParameters></data></segment></body></omm></ndm>"
    )


@pytest.mark.parametrize(
    "text",
    [
        lines(),
        "0 " + lines(),
        ",".join(FIELDS) + "\n" + ",".join(FIELDS.values()) + "\n",
        json.dumps([FIELDS]),
        json.dumps(FIELDS),
        xml(),
    ],
)
def test_every_form_gives_the_same_orbit(text: str, elements: Elements, tmp_path: Path) -> None:
    path = tmp_path / "other"
    path.write_text(text)
    (found,) = read_elements(path)
    assert (found.name, found.number) == ("INVENTED 1", 90001)
    assert found.epoch == datetime(2026, 11, 16, 12, tzinfo=UTC)
    when = datetime(2026, 11, 17, tzinfo=UTC)
    one, other = (sky(e, 50.0, 8.0, when, [0.0, 3_000.0]) for e in (elements, found))
    assert np.allclose(one.range_km, other.range_km, atol=0.1)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "holds no elements"),
        ("hello\nworld\n", "holds no elements"),
        (lines()[:-2] + "x\n", "checksum is wrong"),
        (lines().split("\n")[2], "without its first"),
        (lines().split("\n")[1][:40], "has 69 characters, this one 40"),
        (json.dumps([{**FIELDS, "ECCENTRICITY": "1.5"}]), "describe no orbit"),
        (json.dumps([{**FIELDS, "MEAN_MOTION": "fast"}]), "are no elements"),
        (json.dumps([{k: v for k, v in FIELDS.items() if k != "EPOCH"}]), "EPOCH is missing"),
        (json.dumps([{**FIELDS, "EPOCH": "yesterday"}]), "are no elements"),
        ("[1]", "where the elements of a satellite belong"),
        ("[", "is not JSON"),
        ("<ndm>", "is not XML"),
        ('<!DOCTYPE a [<!ENTITY b "c">]><ndm/>', "defines entities"),
    ],
)
def test_faulty_files_get_one_sentence(text: str, sentence: str, tmp_path: Path) -> None:
    path = tmp_path / "some"
    path.write_text(text)
    with pytest.raises(HearmarkError, match=sentence):
        read_elements(path)
    with pytest.raises(HearmarkError, match="Cannot read the elements"):
        read_elements(tmp_path / "missing")


def test_stale_elements_are_refused(elements: Elements) -> None:
    elements.check_age(elements.epoch + timedelta(days=29))
    with pytest.raises(HearmarkError, match=r"are 31 days away .* more than 30 days are refused"):
        elements.check_age(elements.epoch + timedelta(days=31))
    elements.check_age(elements.epoch + timedelta(days=31), oldest_days=40.0)


def test_satellites_are_chosen_by_name_or_number(elements: Elements) -> None:
    assert choose([elements], "invented") == choose([elements], "90001") == choose([elements], None) == [elements]
    with pytest.raises(HearmarkError, match='No satellite "other" in the file; it holds INVENTED 1'):
        choose([elements], "other")


def test_a_pass_rises_culminates_and_sets(elements: Elements) -> None:
    start = datetime(2026, 11, 17, tzinfo=UTC)
    found = passes(elements, 50.0, 8.0, start, 24.0, least_deg=10.0)
    assert found
    for one in found:
        assert one.rise < one.culmination < one.set
        assert 10.0 <= one.top_elevation_deg <= 90.0
        around = sky(elements, 50.0, 8.0, one.rise, [-5.0, 0.0, 5.0]).elevation_deg
        assert around[0] < 0.0 < around[2]
        assert abs(around[1]) < 0.02


def test_inverting_and_not() -> None:
    assert LINEAR.down_hz(435.1e6) == 145.89e6
    assert LINEAR.up_hz(145.85e6) == 435.14e6
    straight = Transponder(435.1e6, 435.14e6, 145.85e6, 145.89e6)
    assert straight.down_hz(435.11e6) == 145.86e6
    with pytest.raises(HearmarkError, match="lies outside the uplink"):
        LINEAR.down_hz(435.2e6)
    with pytest.raises(HearmarkError, match="lies outside the downlink"):
        LINEAR.up_hz(145.9e6)
    with pytest.raises(HearmarkError, match="equally wide"):
        Transponder(435.1e6, 435.2e6, 145.85e6, 145.89e6)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.floats(-7.5, 7.5), st.floats(145.855e6, 145.885e6), st.booleans())
def test_what_is_held_stays(rate: float, hz: float, inverting: bool) -> None:
    through = Transponder(435.1e6, 435.14e6, 145.85e6, 145.89e6, inverting)
    both = tuning(through, rate, "satellite", hz)
    assert both.downlink_hz == hz
    assert both.transmit_hz * factor(rate) == pytest.approx(through.up_hz(hz), abs=1e-3)
    down = tuning(through, rate, "downlink", hz)
    assert down.receive_hz == pytest.approx(hz, abs=1e-3)
    up_hz = through.up_hz(hz) / factor(0.0)
    if abs(through.up_hz(hz) - 435.12e6) < 5e3:
        up = tuning(through, rate, "uplink", up_hz)
        assert up.transmit_hz == pytest.approx(up_hz, abs=1e-3)


def test_it_is_full_duplex_with_a_mode_for_each_side() -> None:
    made = plan(LINEAR, tuning(LINEAR, 3.0, "satellite"))
    assert (made.duplex, made.kind, made.mode, made.transmit_mode) == ("full", "satellite", "usb", "lsb")


def test_steps_keep_within_the_dead_band() -> None:
    rates = np.linspace(-6.0, 6.0, 600)
    moved = dict(steps(LINEAR, rates, "satellite", None, 100.0))
    assert 0 in moved
    assert 50 < len(moved) < 300
    last = moved[0]
    for k, rate in enumerate(rates):
        last = moved.get(k, last)
        now = tuning(LINEAR, float(rate), "satellite")
        assert abs(now.receive_hz - last.receive_hz) <= 100.0
        assert abs(now.transmit_hz - last.transmit_hz) <= 100.0
    with pytest.raises(HearmarkError, match="dead band of 0 Hz"):
        list(steps(LINEAR, rates, "satellite", None, 0.0))
