"""What a session taught: where he listened, how the forecasts held, and what would have been faster."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence
from typing import Any

from hearmark.report import clock
from hearmark.session import Facts
from hearmark.units import counted, khz_from_hz, percent

REACH_HZ = {"cw": 100.0, "voice": 300.0}
"""Calling this near to where he listens next may be heard. Common practice, no source."""
RULES = {
    "advised": "where advised",
    "ear": "on top of the hill",
    "own": "where you stood",
    "last": "where he answered last",
    "step": "last answer plus his last step",
    "middle": "middle of the window",
}
Lessons = dict[str, Any]


def reach_hz(facts: Facts) -> float:
    """The reach in the session's mode."""
    return REACH_HZ["cw" if facts["dx"]["mode"] == "cw" else "voice"]


def standing(facts: Facts) -> list[Facts]:
    """Marks that were not taken back, in time."""
    return sorted((a for a in facts["answers"] if a["retracted_at_s"] is None), key=lambda a: float(a["start_s"]))


def lessons(facts: Facts) -> Lessons:
    """The lessons as plain JSON values; None where the facts do not say."""
    marks = standing(facts)
    stand = {mark["id"] for mark in marks}
    forecasts = [f for f in facts["forecasts"] if f["answer"] in stand]
    rules = {name: _followed(facts, marks, name) for name in RULES}
    judged = [a["judgement"] for a in facts["answers"] if a.get("judgement")]
    worked = facts["worked"]
    return {
        "dx": facts["dx"],
        "start": facts["start"],
        "duration_s": facts["duration_s"],
        "habit": facts["habit"],
        "turns": len(facts["turns"]),
        "marks": len(marks),
        "taken_back": len(facts["answers"]) - len(marks),
        "by_hand": sum(a["by"] == "operator" for a in marks),
        "right": sum(j == "right" for j in judged) if judged else None,
        "wrong": sum(j in ("wrong", "taken back") for j in judged) if judged else None,
        "calls_made": len(facts["calls"]) or None,
        "worked": worked,
        "seconds_to_work": _took_s(facts),
        "ear": {
            "forecasts": len(forecasts),
            "bits": _mean([f["bits"] for f in forecasts]),
            "searched": _median([f["searched"] for f in forecasts]),
            "peak_within_reach": _mean([float(near) for near in _peaks(facts, marks)]),
        },
        "rules": {name: rule for name, rule in rules.items() if rule is not None},
        "faster": _faster(rules),
    }


def _took_s(facts: Facts) -> float | None:
    if not facts["worked"] or not facts["calls"]:
        return None
    return round(float(facts["worked"]["time_s"]) - float(facts["calls"][0]["start_s"]), 1)


def _peaks(facts: Facts, marks: Sequence[Facts]) -> list[bool]:
    by_id = {mark["id"]: mark["frequency_hz"] for mark in marks}
    within = reach_hz(facts)
    return [abs(f["peak_hz"] - by_id[f["answer"]]) <= within for f in facts["forecasts"] if f["answer"] in by_id]


def _followed(facts: Facts, marks: Sequence[Facts], rule: str) -> Lessons | None:
    """How near a caller who kept to one rule would have been to each answer; None if the facts do not tell."""
    at = _places(facts, marks)[rule]
    pairs = [(number, at(number)) for number in range(len(marks))]
    known = [(number, abs(hz - marks[number]["frequency_hz"])) for number, hz in pairs if hz is not None]
    if not known:
        return None
    within = reach_hz(facts)
    hits = [number for number, away_hz in known if away_hz <= within]
    return {
        "answers": len(known),
        "within_reach": len(hits),
        "median_away_hz": round(statistics.median(away_hz for _, away_hz in known), 1),
        "first_at_s": None if not hits else marks[hits[0]]["start_s"],
        "first_after_answers": None if not hits else hits[0] + 1,
    }


def _places(facts: Facts, marks: Sequence[Facts]) -> dict[str, Callable[[int], float | None]]:
    """For each rule, where a caller would have stood before answer number n."""
    made = {f["answer"]: f for f in facts["forecasts"]}
    hz = [mark["frequency_hz"] for mark in marks]
    window = facts["window_hz"]

    def said(name: str) -> Callable[[int], float | None]:
        return lambda n: made.get(marks[n]["id"], {}).get(name)

    return {
        "advised": said("advised_hz"),
        "ear": said("peak_hz"),
        "own": said("own_hz"),
        "last": lambda n: hz[n - 1] if n >= 1 else None,
        "step": lambda n: 2 * hz[n - 1] - hz[n - 2] if n >= 2 else None,
        "middle": lambda n: None if window is None else sum(window) / 2,
    }


def _faster(rules: dict[str, Lessons | None]) -> str:
    """One sentence: which rule would have been within reach first, or most often."""
    known = {name: rule for name, rule in rules.items() if rule is not None and rule["within_reach"]}
    if not known:
        return "No rule would have brought a caller within reach of an answer."
    best = max(known, key=lambda name: (known[name]["within_reach"] / known[name]["answers"], -list(RULES).index(name)))
    rule = known[best]
    said = f"Calling {RULES[best]} was within reach of {rule['within_reach']} of {rule['answers']} answers"
    own = rules["own"]
    if best == "own":
        return said + ": you could not have stood better by these rules."
    if own is None:
        return f"{said}, first at {clock(rule['first_at_s'])}."
    return f"{said}, first at {clock(rule['first_at_s'])}; you were within reach of {own['within_reach']}."


def _mean(values: Sequence[float]) -> float | None:
    return round(statistics.fmean(values), 3) if values else None


def _median(values: Sequence[float]) -> float | None:
    return round(statistics.median(values), 3) if values else None


def readable(found: Lessons) -> str:
    """The lessons in lines for a person."""
    dx, ear = found["dx"], found["ear"]
    who = dx["call"] or "The DX"
    lines = [
        f"{who} on {khz_from_hz(dx['frequency_hz']):.2f} kHz, {str(dx['mode']).upper()}"
        + (f", {found['start'][:16].replace('T', ' ')} UTC" if found["start"] else "")
        + f": {clock(found['duration_s'])} long, {counted(found['turns'], 'turn')}, {counted(found['marks'], 'mark')}"
        + (f", {found['taken_back']} more taken back" if found["taken_back"] else "")
        + (f", {found['by_hand']} by hand" if found["by_hand"] else "")
        + "."
    ]
    if found["right"] is not None:
        lines.append(
            f"Against the truth in the recording: {counted(found['right'], 'mark')} right, {found['wrong']} wrong."
        )
    if found["habit"]:
        lines.append(f"His habit: {found['habit']}.")
    if found["worked"]:
        calls = f" after {counted(found['calls_made'], 'call')}" if found["calls_made"] else ""
        took = f" in {clock(found['seconds_to_work'])}" if found["seconds_to_work"] is not None else ""
        lines.append(f"Worked at {clock(found['worked']['time_s'])}{calls}{took}.")
    elif found["calls_made"]:
        lines.append(f"You called {counted(found['calls_made'], 'time')} and did not work him.")
    if ear["forecasts"]:
        before = f"{ear['forecasts']} of the " if ear["forecasts"] < found["marks"] else ""
        near = (
            "" if ear["peak_within_reach"] is None else f", {percent(ear['peak_within_reach'])} of them under its top"
        )
        lines.append(
            f"Before {before}{counted(found['marks'], 'answer')} the hill held the true place "
            f"{2.0 ** ear['bits']:.1f} times as likely as an even window does ({ear['bits']:+.1f} bits); "
            f"half of them lay within its likeliest {percent(max(ear['searched'], 0.01))}{near}."
        )
    if found["rules"]:
        lines.append(f"  {'a caller who stood':<32} within reach   median away")
    for name, rule in found["rules"].items():
        share = f"{rule['within_reach']} of {rule['answers']}"
        lines.append(f"  {RULES[name]:<32} {share:>12}   {rule['median_away_hz'] / 1000:>7.2f} kHz")
    lines.append(found["faster"])
    return "\n".join(lines) + "\n"


def comparison(rows: Sequence[tuple[int, str, Lessons]]) -> list[Lessons]:
    """One row a session, so that months can be compared; oldest first."""
    return [
        {
            "session": number,
            "name": name,
            "start": found["start"],
            "call": found["dx"]["call"],
            "mode": found["dx"]["mode"],
            "turns": found["turns"],
            "marks": found["marks"],
            "calls_made": found["calls_made"],
            "worked": bool(found["worked"]),
            "seconds_to_work": found["seconds_to_work"],
            "ear_bits": found["ear"]["bits"],
            "advised_within_reach": _share(found["rules"].get("advised")),
            "own_within_reach": _share(found["rules"].get("own")),
        }
        for number, name, found in rows
    ]


def _share(rule: Lessons | None) -> float | None:
    return None if rule is None else round(rule["within_reach"] / rule["answers"], 3)
