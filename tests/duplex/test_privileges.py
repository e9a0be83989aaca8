"""May I transmit there: how tables are read, joined, corrected, cut."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hearmark.duplex import privileges
from hearmark.duplex.privileges import allowed, cut, intervals_hz, names, table, verdict, window_verdict
from hearmark.errors import HearmarkError
from hearmark.events import Plan, PlanMode

OWN = """
name = "mine"
title = "My club licence"
as_of = 2026-01-01
extends = "us-general"
[[segment]]
low_khz = 14000.0
high_khz = 14100.0
kinds = ["cw"]
"""


def test_every_table_says_where_it_comes_from() -> None:
    assert {
        "us-extra",
        "us-advanced",
        "us-general",
        "us-technician",
        "us-novice",
        "itu-1",
        "itu-2",
        "itu-3",
        "iaru-1",
    } == set(names())
    for name in names():
        held = table(name)
        assert held.name == name
        assert held.source
        assert held.written_from
        assert held.caution
        assert date(2010, 1, 1) < held.as_of < date(2027, 1, 1)


def test_unknown_licence_is_unknown_and_not_allowed() -> None:
    assert verdict(None, 14.2e6, "usb").lawful is None
    assert allowed(None, "usb").known is False
    plan = Plan(14.2e6, 14.205e6, 14.21e6, "usb")
    assert window_verdict(None, plan, cut(plan, allowed(None, "usb"))).lawful is None


def test_an_allocation_is_no_licence_but_what_lies_outside_is_refused() -> None:
    assert verdict(table("itu-1"), 7_150e3, "lsb").lawful is None
    assert "your licence decides" in verdict(table("itu-1"), 7_150e3, "lsb").why
    assert verdict(table("itu-1"), 7_250e3, "lsb").lawful is False


def test_a_band_plan_is_no_law() -> None:
    against = verdict(table("iaru-1"), 14_040e3, "usb")
    assert against.lawful is None
    assert "against the band plan" in against.why
    assert verdict(table("iaru-1"), 14_200e3, "usb").why.endswith("as the band plan has it; your licence decides")
    assert allowed(table("iaru-1"), "usb").known is False


@pytest.mark.parametrize("name", names())
@pytest.mark.parametrize("mode", ["cw", "usb", "lsb", "am", "fm"])
def test_intervals_and_verdicts_agree(name: str, mode: PlanMode) -> None:
    held = table(name)
    if held.kind == "plan":
        return
    for low_hz, high_hz in intervals_hz(held, mode):
        for hz in (low_hz, high_hz, (low_hz + high_hz) / 2):
            assert verdict(held, hz, mode).lawful is not False
        for hz in (low_hz - 2.0, high_hz + 2.0):
            assert verdict(held, hz, mode).lawful is False


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.floats(1e6, 30e6), st.sampled_from(["cw", "usb", "lsb", "am", "fm"]), st.floats(100.0, 6_000.0))
def test_a_wider_signal_is_never_more_lawful(hz: float, mode: PlanMode, width_hz: float) -> None:
    held = table("us-extra")
    if verdict(held, hz, mode, width_hz).lawful is False:
        assert verdict(held, hz, mode, 2 * width_hz).lawful is False


def test_dates_decide() -> None:
    held = table("us-general")
    assert verdict(held, 5_355e3, "usb", day=date(2026, 1, 1)).lawful is False
    assert verdict(held, 5_355e3, "usb", day=date(2026, 3, 1)).lawful is True


def test_own_table_replaces_the_bands_that_it_mentions(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(OWN)
    held = table("mine", path)
    assert verdict(held, 14_050e3, "cw").lawful is True
    assert verdict(held, 14_250e3, "usb").lawful is False
    assert verdict(held, 21_300e3, "usb").lawful is True
    assert table("", path) == held
    assert table("us-general", path).name == "us-general"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("name = 3", "fault at"),
        ("name = ", "are not TOML"),
        (OWN.replace("high_khz = 14100.0", "high_khz = 13000.0"), "expected high_khz above low_khz"),
        (OWN.replace('"cw"', '"morse"'), "fault at segment.0.kinds.0"),
        (OWN.replace("us-general", "nowhere"), 'no privileges table "nowhere"'),
        (OWN.replace("low_khz = 14000.0", "low_khz = nan"), "fault at segment.0.low_khz"),
    ],
)
def test_faulty_tables_get_one_sentence(text: str, sentence: str, tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(text)
    with pytest.raises(HearmarkError, match=sentence):
        table("mine", path)
    with pytest.raises(HearmarkError, match="Cannot read the privileges"):
        table("mine", tmp_path / "missing.toml")


def test_the_window_is_cut_and_it_says_why() -> None:
    held = table("us-general")
    plan = Plan(14_340e3, 14_345e3, 14_350e3, "usb")
    parts = cut(plan, allowed(held, "usb"))
    assert parts == ((14_345e3, 14_347.1e3),)
    said = window_verdict(held, plan, parts)
    assert said.lawful is False
    assert "cut to 14345.00 to 14347.10 kHz, because USB on 14350.00" in said.why
    inside = replace(plan, listen_high_hz=14_347e3)
    assert window_verdict(held, inside, cut(inside, allowed(held, "usb"))).lawful is True
    outside = replace(plan, listen_low_hz=14_348e3)
    assert cut(outside, allowed(held, "usb")) == ()
    assert window_verdict(held, outside, ()).lawful is False


def test_a_hole_in_the_window_is_seen() -> None:
    held = table("us-general")
    plan = Plan(7_120e3, 7_122e3, 7_180e3, "cw")
    parts = cut(plan, allowed(held, "cw"))
    assert parts == ((7_122e3, 7_124_925.0), (7_175_075.0, 7_180e3))
    assert window_verdict(held, plan, parts).lawful is False


def test_allowed_keeps_to_the_band() -> None:
    assert allowed(table("us-general"), "usb", 14.2e6).intervals_hz == ((14_225e3, 14_347.1e3),)
    nothing = allowed(table("us-technician"), "usb", 14.2e6)
    assert (nothing.intervals_hz, nothing.known) == ((), True)
    assert "may not send USB on 20m" in nothing.why


@pytest.mark.parametrize("width_hz", [0.0, -1.0, float("nan"), 1e9])
def test_no_width_is_refused(width_hz: float) -> None:
    with pytest.raises(HearmarkError, match="cannot be; give 1 to 1000000 Hz"):
        verdict(table("us-general"), 14.2e6, "usb", width_hz)


def test_segments_do_not_overlap_in_what_they_permit_by_mistake() -> None:
    for name in names():
        segments = privileges.table(name).segment
        for k, one in enumerate(segments):
            for other in segments[k + 1 :]:
                apart = one.high_khz <= other.low_khz or other.high_khz <= one.low_khz
                dated = one.until == other.since or other.until == one.since if one.since != other.since else False
                channels = one.note.startswith("channel") and other.note.startswith("channel")
                assert apart or dated or channels, (name, one, other)
