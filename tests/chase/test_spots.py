"""Spots as the trade passes them; odd and broken lines; which mode; misread calls."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hearmark.chase.busted import busted, distance
from hearmark.chase.spots import SpotLine, group_of, mode_of, read_spot, read_spots

NOW = datetime(2026, 3, 21, 18, 30, tzinfo=UTC)


def spot(line: str) -> SpotLine:
    found = read_spot(line, NOW)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        (
            "DX de N0AA:      18143.5  T0ST         up 5-10                        1828Z",
            SpotLine("T0ST", 18143.5e3, NOW - timedelta(minutes=2), "N0AA", "up 5-10"),
        ),
        (
            "dx de n0aa-#: 14025.05 vp8/t0st cw 23 dB 25 wpm cq 1829Z JO50\a\a",
            SpotLine("VP8/T0ST", 14025.05e3, NOW - timedelta(minutes=1), "N0AA-#", "cw 23 dB 25 wpm cq"),
        ),
        ("DX de N0AA 7010.0 T0ST", SpotLine("T0ST", 7010e3, NOW, "N0AA", "")),
        (
            "18143.5  T0ST  20-Mar-2026 2359Z  up 5-10   <N0AA>",
            SpotLine("T0ST", 18143.5e3, datetime(2026, 3, 20, 23, 59, tzinfo=UTC), "N0AA", "up 5-10"),
        ),
        ("18143.5 T0ST up 5-10", SpotLine("T0ST", 18143.5e3, NOW, "", "up 5-10")),
        ("18.1435 T0ST", SpotLine("T0ST", 18143.5e3, NOW, "", "")),
        ("50.313 t0st FT8", SpotLine("T0ST", 50.313e6, NOW, "", "FT8")),
        ("472.5 T0ST", SpotLine("T0ST", 472.5e3, NOW, "", "")),
    ],
)
def test_forms(line: str, wanted: SpotLine) -> None:
    assert spot(line) == wanted


def test_time_is_the_last_such_time() -> None:
    assert spot("DX de N0AA: 7010 T0ST 2300Z").at == datetime(2026, 3, 20, 23, 0, tzinfo=UTC)
    assert spot("DX de N0AA: 7010 T0ST 1840Z").at == datetime(2026, 3, 21, 18, 40, tzinfo=UTC), "their clock is ahead"


@pytest.mark.parametrize(
    "line",
    ["", "To ALL de N0ZZ: hello", "DX de N0AA: 7010", "DX de N0AA: 7010 NOCALL 1830Z", "DX de N0AA: x T0ST 1830Z",
     "18143.5 T0ST 31-Foo-2026 1830Z x", "DX de N0AA: 0 T0ST 1830Z"],
)  # fmt: skip
def test_what_is_no_spot(line: str) -> None:
    assert read_spot(line, NOW) is None


def test_lines_that_look_like_spots_and_are_none_are_named() -> None:
    spots, strange = read_spots(["hello", "DX de N0AA: 7010 T0ST 1830Z", "DX de N0AA: nonsense", "12 NOCALL"], NOW)
    assert len(spots) == 1
    assert strange == [3, 4]


@settings(max_examples=400, derandomize=True)
@given(st.text(max_size=120) | st.text(max_size=60).map("DX de N0AA: 7010.0 T0ST ".__add__))
def test_any_text_is_read_without_an_error(line: str) -> None:
    found = read_spot(line, NOW)
    assert found is None or found.frequency_hz > 0


# Where which mode is sent: common practice, no source
@pytest.mark.parametrize(
    ("line", "mode", "group"),
    [
        ("14025 T0ST", "cw", "cw"),
        ("14195 T0ST", "usb", "phone"),
        ("7160 T0ST", "lsb", "phone"),
        ("14075 T0ST", "FT8", "digital"),
        ("14025 T0ST RTTY up", "RTTY", "digital"),
        ("14195 T0ST cw", "cw", "cw"),
        ("7160 T0ST ssb", "lsb", "phone"),
    ],
)
def test_mode(line: str, mode: str, group: str) -> None:
    assert mode_of(spot(line)) == mode
    assert group_of(mode) == group


@pytest.mark.parametrize(
    ("one", "other", "wanted"),
    # Published examples of edit distance are for words; these are counted by hand
    [
        ("T0ST", "T0ST", 0),
        ("T0ST", "T0SH", 1),
        ("T0ST", "T0STA", 1),
        ("T0ST", "0TST", 1),
        ("T0ST", "K1AA", 3),
        ("A", "", 1),
    ],
)
def test_distance(one: str, other: str, wanted: int) -> None:
    assert distance(one, other) == wanted
    assert distance(other, one) == wanted


def lines(*said: tuple[str, str, float]) -> list[SpotLine]:
    return [SpotLine(call, khz * 1e3, NOW, by) for by, call, khz in said]


def test_misread_call_near_a_better_supported_one() -> None:
    found = lines(("A", "T0ST", 14025.0), ("B", "T0ST", 14025.1), ("C", "T0SH", 14025.0), ("D", "K1AA", 14025.0))
    assert busted(found) == {"T0SH": "T0ST"}


def test_nobody_is_doubted_without_better_support_or_far_away() -> None:
    assert busted(lines(("A", "T0ST", 14025.0), ("B", "T0SH", 14025.0))) == {}
    assert busted(lines(("A", "T0ST", 14025.0), ("B", "T0ST", 14025.0), ("C", "T0SH", 14040.0))) == {}
    old = SpotLine("T0SH", 14025e3, NOW - timedelta(hours=3), "C")
    assert busted([*lines(("A", "T0ST", 14025.0), ("B", "T0ST", 14025.0)), old]) == {}


def test_trust_counts_as_support() -> None:
    found = lines(("A", "T0ST", 14025.0), ("B", "T0SH", 14025.0))
    assert busted(found, lambda call: float(call == "T0SH")) == {"T0ST": "T0SH"}


def test_same_person_twice_is_one_voice() -> None:
    found = lines(("A", "T0SH", 14025.0), ("A", "T0SH", 14025.1), ("B", "T0ST", 14025.0), ("C", "T0ST", 14025.0))
    assert busted(found) == {"T0SH": "T0ST"}


def test_a_figure_beyond_all_bands_is_in_none() -> None:
    assert spot("DX de N0AA: 999999.0 T0ST").band == ""
    assert spot("DX de N0AA: 10368.1 T0ST").band == "3cm"
