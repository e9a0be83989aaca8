"""The score sheet of a lesson: what was done, how long it took, which faults, and what others needed."""

from __future__ import annotations

from collections import Counter
from typing import Any

from hearmark.practice.faults import KINDS
from hearmark.practice.play import Practice
from hearmark.report import clock

SCHEMA = 1
PENDING = "pending"
Sheet = dict[str, Any]

WORDS = {
    "on his frequency": "called on his frequency", "split off": "split was off",
    "over the answered": "called over the answered station", "over him": "sent while he was sending",
    "dial moved": "receive dial moved", "late": "late", "outside the window": "called outside the window",
    "did not listen": "sent without having listened", "no report": "gave no report when answered",
    "unasked report": "gave a report unasked", "asked to wait": "called although he had asked to wait",
    "sent at all": "sent, where only listening was asked for",
}  # fmt: skip
"""Kind of fault to words."""


def sheet(practice: Practice, others: dict[str, float | str | None] | None = None) -> Sheet:
    """Plain JSON values. `others`: seconds that the two others needed, None for one who was not worked, or PENDING."""
    lesson = practice.lesson
    counted = Counter(fault.kind for fault in practice.faults)
    calls = [press for press in practice.presses if press.what == "call"]
    return {
        "schema": SCHEMA,
        "lesson": lesson.title,
        "mode": practice.mode,
        "seed": practice.seed,
        "call": practice.call,
        "dx": {"call": practice.dx_call, "frequency_hz": practice.scenario.dx_hz},
        "goal": lesson.goal,
        "state": practice.state,
        "reached": reached(practice),
        "ended_s": _rounded(practice.ended_s),
        "contact_s": _rounded(practice.worked_at_s),
        "first_call_s": _rounded(calls[0].heard_s) if calls else None,
        "calls": len(calls),
        "faults": [{"time_s": _rounded(one.time_s), "kind": one.kind, "say": one.say} for one in practice.faults],
        "counts": {kind: counted[kind] for kind in KINDS if counted[kind]},
        "marks": {
            "made": len(practice.finds),
            "right": sum(find.right for find in practice.finds),
            "found": len(practice.found),
            "answered": len(practice.replies),
        },
        "logged": None
        if practice.logged is None
        else {
            "call": practice.logged.call,
            "right": practice.logged.right,
            "receive_hz": practice.logged.receive_hz,
            "transmit_hz": practice.logged.transmit_hz,
            "at_s": _rounded(practice.logged.at_s),
        },
        "others": {"tail_ender_s": PENDING, "program_s": PENDING} if others is None else dict(others),
    }


def reached(practice: Practice) -> bool:
    """Whether what the lesson asks for was done."""
    if practice.lesson.goal == "contact":
        return practice.worked_at_s is not None
    return practice.state == "done"


def readable(found: Sheet) -> str:
    """The sheet in lines for a person."""
    took = found["contact_s"] if found["goal"] == "contact" else found["ended_s"]
    head = f"{found['lesson']}, {found['mode'].upper()}, seed {found['seed']}: "
    if found["reached"]:
        head += f"{'contact' if found['goal'] == 'contact' else 'found'} after {clock(took)}"
    else:
        head += f"not reached in {clock(found['ended_s'] or 0.0)}"
    marks = found["marks"]
    lines = [head, f"  calls made {found['calls']}; marks {marks['right']} right of {marks['made']}"]
    for name, who in (("tail_ender_s", "the perfect tail-ender"), ("program_s", "the program")):
        lines.append(f"  {who}: {_others(found['others'][name])}")
    logged = found["logged"]
    if logged is not None:
        copied = "copied right" if logged["right"] else f"he was {found['dx']['call']}"
        lines.append(f"  in the practice log: {logged['call']}, {copied}")
    if not found["faults"]:
        lines.append("  no faults")
    for kind, count in found["counts"].items():
        lines.append(f"  {count} x {WORDS[kind]}")
    return "\n".join(lines) + "\n"


def _others(value: float | str | None) -> str:
    if value == PENDING:
        return "still being played"
    return "no contact in that time" if value is None else clock(float(value))


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
