"""Medians, ratios and intervals against ones computed by hand, and the picture."""

from typing import Any

import numpy as np
import pytest

from hearmark.study.picture import study_png
from hearmark.study.summary import readable, summary


def record(tactic: str, habit: str, seed: int, minutes: float | None, limit: float = 60.0) -> dict[str, Any]:
    worked_at_s = None if minutes is None else 60.0 * minutes
    return {
        "key": f"{tactic}/{habit}/{seed}", "tactic": tactic, "habit": habit, "seed": seed, "worked_at_s": worked_at_s,
        "limit_s": 60.0 * limit, "calls": 10, "promised": 0.5, "answered": 1, "contacts": 6,
    }  # fmt: skip


def made(seeds: int = 20) -> list[dict[str, Any]]:
    """The program needs 4 and 9 minutes in the two habits, the tail-ender twice and four times that, ±10 %."""
    rng = np.random.default_rng(3)
    rows = []
    for seed in range(seeds):
        for habit, minutes in (("stay", 4.0), ("step", 9.0)):
            spread = rng.uniform(0.9, 1.1)
            rows.append(record("program", habit, seed, minutes * spread))
            rows.append(record("tail-end", habit, seed, minutes * spread * (2.0 if habit == "stay" else 4.0)))
            rows.append(record("fixed", habit, seed, None))
            rows.append(record("ceiling", habit, seed, minutes * spread * 0.9))
            rows.append(record("told", habit, seed, minutes * spread * 0.95))
    return rows


def test_ratio_is_the_geometric_mean_over_habits() -> None:
    found = summary(made())
    ratio = found["ratios"]["tail-end / program"]
    assert ratio["ratio"] == pytest.approx(np.sqrt(2.0 * 4.0), abs=0.02)
    assert ratio["interval"][0] <= ratio["ratio"] <= ratio["interval"][1]
    assert found["of_ceiling"]["share"] == pytest.approx(0.9, abs=0.01)
    assert found["of_told"]["share"] == pytest.approx(0.95, abs=0.01)
    assert "told the habit and hears every answer: 95 %" in readable(found)
    assert found["slowest_against_tail_end"]["habit"] == "stay"
    assert found["slowest_against_tail_end"]["slower"] == pytest.approx(-0.5, abs=0.01)


def test_who_was_not_worked_counts_with_the_whole_time() -> None:
    found = summary(made())
    fixed = next(row for row in found["tactics"] if row["tactic"] == "fixed")
    assert fixed["median_min"] == {"stay": 60.0, "step": 60.0}
    assert fixed["unworked_all"] == 1.0
    assert "(100 %)" in readable(found)


def test_the_interval_covers_the_truth_about_as_often_as_it_says() -> None:
    """A median of lognormal times: over 60 studies the 95 % interval misses it a few times, not most of the time."""
    inside = 0
    for study in range(60):
        rng = np.random.default_rng(100 + study)
        rows = [record("program", "stay", seed, float(8.0 * np.exp(rng.normal(0.0, 0.8)))) for seed in range(30)]
        low, high = summary(rows)["tactics"][0]["interval_min"]["stay"]
        inside += low <= 8.0 <= high
    assert 51 <= inside <= 60


def test_the_chance_promised_stands_beside_what_came() -> None:
    assert summary(made())["promised"] == {"mean_chance_per_call": 0.05, "answers_per_call": 0.1}


def test_the_last_lines_say_of_whom_they_are_and_have_no_signs() -> None:
    found = summary(made())
    found["slowest_against_tail_end"] = {"habit": "jump", "slower": 2.05, "interval": [-0.62, 8.67]}
    last = readable(found).splitlines()[-2:]
    assert last == [
        "worst habit of the program against the perfect tail-ender: jump, 205 % slower (62 % sooner to 867 % slower)",
        "the program's chance per call: promised 5.0 %, came 10.0 %",
    ]


@pytest.mark.parametrize(("seeds", "few"), [(3, True), (11, True), (12, False)])
def test_the_head_says_what_the_last_column_is_and_when_seeds_are_few(seeds: int, few: bool) -> None:
    head = readable(summary(made(seeds))).split("\n\n")[0]
    assert "All habits: geometric mean of the medians." in head
    assert ("So few pile-ups tell little: take 12 or more a habit." in head) is few


def test_contacts_of_the_dx_an_hour() -> None:
    rows = [record("program", "stay", 1, 4.0), record("program", "stay", 2, 8.0), record("program", "stay", 3, None)]
    assert summary(rows)["tactics"][0]["contacts_per_hour"] == pytest.approx((3 * 6 + 2) / (72.0 / 60.0), abs=0.05)


def test_picture_is_a_png() -> None:
    assert study_png(summary(made(3))).startswith(b"\x89PNG")
