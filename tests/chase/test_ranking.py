"""Spots joined with needs, announcements, privileges, path, lists: order and reasons."""

import random
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from hearmark.chase.paths import NEEDED_DB_HZ, Paths
from hearmark.chase.ranking import Known, rank
from hearmark.chase.spots import SpotLine
from hearmark.chase.today import chances
from hearmark.chase.watch import Operation, read_watch
from hearmark.duplex.privileges import table
from hearmark.errors import HearmarkError
from hearmark.log.entities import Entities, Place, places
from hearmark.log.needs import WORKED, History, Worked
from hearmark.log.own import Wanted
from hearmark.path.bands import BANDS
from hearmark.path.chances import predict
from hearmark.path.conditions import Conditions, Equipment
from hearmark.path.places import Place as Point
from hearmark.path.places import place_from_locator

NOW = datetime(2026, 3, 21, 18, 30, tzinfo=UTC)


def spot(call: str, khz: float = 14025.0, comment: str = "", minutes: float = 0, by: str = "N0AA") -> SpotLine:
    return SpotLine(call, khz * 1e3, NOW - timedelta(minutes=minutes), by, comment)


@pytest.fixture
def known() -> Known:
    counted = Worked()
    for entity, zone in ((291, 5), (230, 14)):
        slots = {("20m", "cw"): WORKED}
        counted.slots["entity"][entity] = dict(slots)
        counted.slots["cq_zone"][zone] = dict(slots)
    return Known(Entities(), counted)


def calls(rows: Sequence[object]) -> list[str]:
    return [row.call for row in rows]  # type: ignore[attr-defined]


def test_needed_goes_before_worked_and_each_row_says_why(known: Known) -> None:
    rows = rank([spot("DL1AA"), spot("3Y0J"), spot("DL1AB", 7010.0)], known, NOW)
    assert calls(rows) == ["3Y0J", "DL1AB", "DL1AA"]
    assert rows[0].why[0].startswith("Bouvet never worked")
    assert rows[1].why[0].startswith("Federal Republic of Germany not on 40m")
    assert all(row.score == pytest.approx(row.chance * row.worth) for row in rows)


def test_announcement_brings_a_plan(known: Known) -> None:
    (row,) = rank([spot("3Y0J", 18143.5, "ssb up 5-10")], known, NOW)
    assert row.reading is not None
    assert (row.reading.plan.listen_low_hz, row.reading.plan.listen_high_hz) == (18148.5e3, 18153.5e3)
    assert "listens 18148.5 to 18153.5" in row.why


def test_newest_announcement_counts_and_spots_of_one_station_are_one_row(known: Known) -> None:
    found = [
        spot("3Y0J", 14025.0, "up 2", 20),
        spot("3Y0J", 14024.0, "up 3", 10, "N0AB"),
        spot("3Y0J", 14024.0, "cq", 1),
    ]
    (row,) = rank(found, known, NOW)
    assert (row.frequency_hz, row.people, row.comment) == (14024.0e3, 2, "up 3")


def test_where_we_may_not_send_is_said_and_ranked_low(known: Known) -> None:
    licensed = replace(known, licence=table("us-general"))
    rows = rank([spot("3Y0J", 14005.0, "up 2"), spot("3Y0A", 14040.0, "up 2")], licensed, NOW)
    assert [row.lawful for row in rows] == [True, False]
    assert any("may not send" in reason for reason in rows[1].why)
    assert rows[1].score < 0.1 * rows[0].score


def test_path_weighs(known: Known) -> None:
    def path(asked: Sequence[tuple[Place, float, str]], now: datetime) -> list[float | None]:
        return [0.9 if place.entity == 24 else 0.01 for place, _, _ in asked]

    rows = rank([spot("VP8AA"), spot("3Y0J")], replace(known, path=path), NOW)
    assert calls(rows) == ["3Y0J", "VP8AA"]
    assert "path 90 %" in rows[0].why
    assert "path 1 %" in rows[1].why


def test_old_spots_fade(known: Known) -> None:
    rows = rank([spot("VP8AA", minutes=120), spot("3Y0J", minutes=1)], known, NOW)
    assert calls(rows) == ["3Y0J", "VP8AA"]
    assert rows[1].chance < 0.2 * rows[0].chance


def test_misread_call_is_shown_as_such(known: Known) -> None:
    rows = rank([spot("3Y0J", by="A"), spot("3Y0J", by="B"), spot("3Y0I", by="C")], known, NOW)
    assert [(row.call, row.probably) for row in rows] == [("3Y0J", ""), ("3Y0I", "3Y0J")]
    assert rows[1].why[0] == "looks like a misread 3Y0J"


def test_duplicate_is_warned_before_calling(known: Known) -> None:
    history = History(1, 0, {("20m", "cw"): None})
    (row,) = rank([spot("DL1AA")], replace(known, histories={"DL1AA": history}), NOW)
    assert row.duplicate
    assert "worked before on this band" in row.why[0]
    (other,) = rank([spot("DL1AA", 7010.0)], replace(known, histories={"DL1AA": history}), NOW)
    assert not other.duplicate


def test_own_list_and_announced_operations_go_up(known: Known) -> None:
    joined = replace(known, wanted=(Wanted("call", "DL1AA"),), operations=(Operation("K1AA"),))
    rows = rank([spot("DL1AA"), spot("K1AA"), spot("DL1AB")], joined, NOW)
    assert set(calls(rows[:2])) == {"DL1AA", "K1AA"}
    assert {"on your list", "announced operation"} <= {reason for row in rows[:2] for reason in row.why}


def test_nothing_at_all_gives_an_empty_list(known: Known) -> None:
    assert rank([], known, NOW) == []
    assert rank([spot("T0ST", 13000.0)], known, NOW) == [], "outside all bands"


def test_paths_all_at_once_are_those_one_by_one_and_those_of_the_whole_prediction() -> None:
    """Near, in between and far, both ways round, all bands and groups, on another day than that of the maps' month."""
    rng = random.Random(3)
    found = [place for place in places() if place.latitude_deg is not None and place.longitude_deg is not None]
    asked = [
        (place, rng.choice(list(BANDS.values()))[2], rng.choice(list(NEEDED_DB_HZ))) for place in rng.sample(found, 120)
    ]
    here, conditions = place_from_locator("JO50"), Conditions(100.0, kp=5.0)

    def made() -> Paths:
        return Paths(here, lambda day: conditions, Equipment())

    moment = datetime(2026, 12, 3, 7, 20, tzinfo=UTC)
    together = np.array(made()(asked, moment), dtype=float)
    alone = [made()([one], moment)[0] for one in asked[:40]]
    np.testing.assert_allclose(together[:40], np.array(alone, dtype=float), atol=1e-6)
    assert together.min() < 0.05
    assert together.max() > 0.9
    day = [datetime(2026, 12, 3, hour, tzinfo=UTC) for hour in range(24)]
    points = [Point(place.latitude_deg or 0.0, place.longitude_deg or 0.0) for place, _, _ in asked]
    for group, needed in NEEDED_DB_HZ.items():
        bands_hz = [middle for _, _, middle in BANDS.values()]
        whole = predict(here, points, day, bands_hz, conditions, required_db_hz=needed).probability
        for number, (_, hz, own) in enumerate(asked):
            if own == group:
                seven, eight = whole[number, 7:9, bands_hz.index(hz)]
                assert together[number] == pytest.approx(seven + (eight - seven) / 3, abs=1e-6)


def test_paths_prepared_for_a_day_are_those_asked_for_hour_by_hour() -> None:
    here, place = place_from_locator("JO50"), Entities().lookup("VP8AA", NOW.date())
    assert place is not None
    asked = [(place, 14.05e6, "cw"), (place, 144e6, "cw")]
    ahead, plain = (Paths(here, lambda day: Conditions(100.0), Equipment()) for _ in range(2))
    hours = [NOW + timedelta(hours=hour) for hour in range(24)]
    ahead.prepare(asked, hours)
    for moment in hours[::5]:
        one, other = ahead(asked, moment), plain(asked, moment)
        assert one[0] == pytest.approx(other[0], abs=1e-6)
        assert one[1] is None


def test_real_paths_are_the_same_twice_and_between_hours() -> None:
    paths = Paths(place_from_locator("JO50"), lambda day: Conditions(100.0), Equipment())
    place = Entities().lookup("VP8AA", NOW.date())
    assert place is not None
    asked = [(place, hz, group) for hz in (7e6, 14.05e6, 21.05e6) for group in ("cw", "phone")]
    first = paths(asked, NOW)
    assert first == paths(asked, NOW)
    assert all(chance is not None and 0.0 <= chance <= 1.0 for chance in first)
    assert all(cw >= phone for cw, phone in zip(first[::2], first[1::2], strict=True)), "speech needs more"  # type: ignore[operator]
    around = [paths(asked, NOW.replace(minute=minute))[2] for minute in (0, 30)]
    after = paths(asked, NOW.replace(hour=19, minute=0))[2]
    assert around[0] is not None
    assert after is not None
    assert around[1] == pytest.approx((around[0] + after) / 2)
    assert paths([(place, 144e6, "cw")], NOW) == [None]


def test_todays_chances(known: Known) -> None:
    def path(asked: Sequence[tuple[Place, float, str]], now: datetime) -> list[float | None]:
        return [0.8 if now.hour == 20 else 0.1 for _ in asked]

    operations = (
        Operation("3Y0J", entity=24, bands=("20m",), modes=("cw",), until=date(2026, 3, 21)),
        Operation("DL0AA", bands=("20m",), modes=("cw",)),
        Operation("VP8AA", since=date(2026, 4, 1)),
    )
    found = chances(operations, known.entities, known.worked, path, NOW)
    assert [(c.call, c.level) for c in found] == [("3Y0J", "new"), ("DL0AA", "new")]
    assert (found[0].best_hour, found[0].best) == (2, 0.8)
    assert found[0].hours[6:] == (0.0,) * 18, "it ends with the day"


def test_watch_list_in_both_forms(tmp_path: Path) -> None:
    csv, toml = tmp_path / "w.csv", tmp_path / "w.toml"
    csv.write_text("call,entity,since,until,bands,modes\nt0st,VP8,2026-03-01,2026-03-31,20m 17m,cw\n")
    toml.write_text(
        '[[operation]]\ncall="T0ST"\nentity=141\nsince=2026-03-01\nuntil=2026-03-31\nbands=["20m","17m"]\nmodes=["cw"]\n'
    )
    assert read_watch(csv) == read_watch(toml)
    (operation,) = read_watch(csv)
    assert operation.is_on(date(2026, 3, 31))
    assert not operation.is_on(date(2026, 4, 1))
    place = operation.place(Entities(), NOW.date())
    assert place is not None
    assert place.name == "Falkland Is."


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("call\nABC\n", 'call "ABC" is missing or no call'),
        ("call,locator\nT0ST,XX\n", "no Maidenhead locator"),
        ("call,since,until\nT0ST,2026-03-02,2026-03-01\n", "before it begins"),
        ("call,bands\nT0ST,20\n", '"20" in bands'),
        ("call,modes\nT0ST,morse\n", '"morse" in modes'),
    ],
)
def test_fault_in_the_watch_list_is_named(tmp_path: Path, text: str, why: str) -> None:
    path = tmp_path / "w.csv"
    path.write_text(text)
    with pytest.raises(HearmarkError, match=why):
        read_watch(path)


def test_list_asked_for_while_tables_are_read_is_the_same() -> None:
    here, place = place_from_locator("JO50"), Entities().lookup("VP8AA", NOW.date())
    assert place is not None
    asked = [(place, 14.05e6, "cw"), (replace(place, latitude_deg=None), 14.05e6, "cw")]
    warmed, plain = (Paths(here, lambda day: Conditions(100.0), Equipment()) for _ in range(2))
    warmed.warm_beside([place for place, _, _ in asked], NOW.date())
    assert warmed(asked, NOW) == plain(asked, NOW)
    assert warmed(asked, NOW)[1] is None
