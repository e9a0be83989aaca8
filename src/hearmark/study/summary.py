"""What a study found: median times by habit and tactic, and how many times sooner one tactic is than another."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from hearmark.events import FloatArray
from hearmark.simulate.scenario import HABITS
from hearmark.study.tactics import LABELS, NAMES
from hearmark.units import percent

DRAWS = 1_000
FEW = 12
"""Fewer pile-ups a habit than this tell little, and that is said."""
PROGRAM, TOLD, CEILING = "program", "told", "ceiling"
Found = dict[str, Any]


def summary(records: Sequence[dict[str, Any]], seed: int = 1) -> Found:
    """Facts for `--json`. Times in minutes; who was not worked counts with the whole time.

    Ratio of two tactics: geometric mean over habits of the ratios of median times. Intervals: 95 %, bootstrap over
    seeds (the same seeds for every tactic and habit), `DRAWS` draws from `seed`.
    """
    tactics: list[str] = [name for name in NAMES if any(r["tactic"] == name for r in records)]
    habits: list[str] = [name for name in HABITS if any(r["habit"] == name for r in records)]
    seeds = sorted({r["seed"] for r in records})
    minutes = np.full((len(tactics), len(habits), len(seeds)), np.nan)
    worked = np.zeros(minutes.shape, dtype=bool)
    for r in records:
        place = (tactics.index(r["tactic"]), habits.index(r["habit"]), seeds.index(r["seed"]))
        worked[place] = r["worked_at_s"] is not None
        minutes[place] = (r["worked_at_s"] if worked[place] else r["limit_s"]) / 60.0
    rng = np.random.default_rng(seed)
    drawn = minutes[:, :, rng.integers(0, len(seeds), (DRAWS, len(seeds)))]  # (tactic, habit, draw, seed)
    medians, many = np.nanmedian(minutes, axis=2), np.nanmedian(drawn, axis=3)
    rows = []
    for index, name in enumerate(tactics):
        here = ~np.isnan(minutes[index])
        rows.append(
            {
                "tactic": name,
                "label": LABELS[name],
                "sessions": int(here.sum()),
                "median_min": {h: round(float(medians[index, i]), 2) for i, h in enumerate(habits)},
                "interval_min": {h: _interval(many[index, i], 2) for i, h in enumerate(habits)},
                "unworked": {h: round(_unworked(worked[index, i], here[i]), 3) for i, h in enumerate(habits)},
                "unworked_all": round(_unworked(worked[index], here), 3),
                "contacts_per_hour": _rate([r for r in records if r["tactic"] == name]),
                "geometric_min": round(float(np.exp(np.log(medians[index]).mean())), 2),
                "geometric_interval_min": _interval(np.exp(np.log(many[index]).mean(axis=0)), 2),
            }
        )
    return {
        "habits": habits,
        "seeds": len(seeds),
        "minutes": max((r["limit_s"] for r in records), default=0.0) / 60.0,
        "tactics": rows,
        "ratios": _ratios(tactics, medians, many, PROGRAM) | _ratios(tactics, medians, many, "one receiver"),
        "of_told": _of(TOLD, tactics, medians, many),
        "of_ceiling": _of(CEILING, tactics, medians, many),
        "slowest_against_tail_end": _slowest(tactics, habits, medians, many),
        "promised": _promised(records),
    }


def _ratios(tactics: list[str], medians: FloatArray, many: FloatArray, over: str) -> dict[str, Found]:
    if over not in tactics:
        return {}
    base = tactics.index(over)
    out = {}
    for index, name in enumerate(tactics):
        if name in (over, PROGRAM):
            continue
        ratio = np.exp((np.log(medians[index]) - np.log(medians[base])).mean())
        draws = np.exp((np.log(many[index]) - np.log(many[base])).mean(axis=0))
        out[f"{name} / {over}"] = {"ratio": round(float(ratio), 2), "interval": _interval(draws, 2)}
    return out


def _of(player: str, tactics: list[str], medians: FloatArray, many: FloatArray) -> Found | None:
    """How near the program's speed comes to that of a player who knows more: ratio of their times."""
    if PROGRAM not in tactics or player not in tactics:
        return None
    found = _ratios(tactics, medians, many, PROGRAM)[f"{player} / {PROGRAM}"]
    return {"share": found["ratio"], "interval": found["interval"]}


def _slowest(tactics: list[str], habits: list[str], medians: FloatArray, many: FloatArray) -> Found | None:
    """In which habit the program does worst against the perfect tail-ender: program's time over his, less 1."""
    if PROGRAM not in tactics or "tail-end" not in tactics:
        return None
    ours, his = tactics.index(PROGRAM), tactics.index("tail-end")
    slower = medians[ours] / medians[his] - 1.0
    worst = int(np.argmax(slower))
    draws = many[ours, worst] / many[his, worst] - 1.0
    return {"habit": habits[worst], "slower": round(float(slower[worst]), 3), "interval": _interval(draws, 3)}


def _promised(records: Sequence[dict[str, Any]]) -> Found | None:
    """Chance per call that the advice promised, and what came of it."""
    own = [r for r in records if r["tactic"] == PROGRAM and r["calls"]]
    if not own:
        return None
    calls = sum(r["calls"] for r in own)
    return {
        "mean_chance_per_call": round(sum(r["promised"] for r in own) / calls, 4),
        "answers_per_call": round(sum(r["answered"] for r in own) / calls, 4),
    }


def _rate(records: Sequence[dict[str, Any]]) -> float:
    """Contacts of the DX an hour, ours with the others."""
    hours: float = sum(r["limit_s"] if r["worked_at_s"] is None else r["worked_at_s"] for r in records) / 3600.0
    contacts = sum(int(r["contacts"]) + (r["worked_at_s"] is not None) for r in records)
    return round(contacts / max(hours, 1e-9), 1)


def _unworked(worked: Any, here: Any) -> float:
    return float(1.0 - worked[here].mean()) if here.any() else 1.0


def _interval(draws: FloatArray, digits: int) -> list[float]:
    return [round(float(value), digits) for value in np.nanquantile(draws, (0.025, 0.975))]


def readable(found: Found) -> str:
    """The table for a person."""
    habits, minutes = found["habits"], found["minutes"]
    lines = [
        f"Minutes until in the log, median of {found['seeds']} pile-ups a habit; not in the log after "
        f"{minutes:g} minutes counts as {minutes:g} (its share in brackets).",
        "All habits: geometric mean of the medians.",
        *([f"So few pile-ups tell little: take {FEW} or more a habit."] if found["seeds"] < FEW else []),
        "",
        f"{'':24s}" + "".join(f"{h:>14s}" for h in habits) + f"{'all habits':>22s}{'his contacts/h':>16s}",
    ]
    for row in found["tactics"]:
        cells = "".join(f"{row['median_min'][h]:7.1f} {_share(row['unworked'][h]):>6s}" for h in habits)
        low, high = row["geometric_interval_min"]
        lines.append(
            f"{row['label']:24s}{cells}{row['geometric_min']:8.1f} ({low:.1f} to {high:.1f})"
            f"{row['contacts_per_hour']:12.0f}"
        )
    lines.append("")
    for name, ratio in found["ratios"].items():
        low, high = ratio["interval"]
        lines.append(f"{name:28s} {ratio['ratio']:5.2f}   95 %: {low:.2f} to {high:.2f}")
    for name, who in (
        ("of_told", "of one who is told the habit and hears every answer"),
        ("of_ceiling", "of the ceiling, who knows the habit with its parameters and his true place"),
    ):
        if found[name]:
            (low, high), share = found[name]["interval"], found[name]["share"]
            lines.append(
                f"speed of the program, as a share {who}: {percent(share)} ({percent(low)} to {percent(high)})"
            )
    if found["slowest_against_tail_end"]:
        worst = found["slowest_against_tail_end"]
        low, high = worst["interval"]
        lines.append(
            f"worst habit of the program against the perfect tail-ender: {worst['habit']}, {_slower(worst['slower'])} "
            f"({_slower(low)} to {_slower(high)})"
        )
    if found["promised"]:
        lines.append(
            f"the program's chance per call: promised {percent(found['promised']['mean_chance_per_call'], 1)}, "
            f"came {percent(found['promised']['answers_per_call'], 1)}"
        )
    return "\n".join(lines)


def _slower(share: float) -> str:
    return f"{percent(abs(share))} {'slower' if share > 0 else 'sooner'}"


def _share(value: float) -> str:
    return f"({percent(value)})" if value > 0 else ""
