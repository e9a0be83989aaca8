"""A session as a picture and as a page: his path over the turns, our calls, and what stood before each answer."""

from __future__ import annotations

import base64
import html
import io
from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from hearmark.lessons import RULES, lessons, readable, standing
from hearmark.picture import BY_HAND, CALL, EAR, INK, MARK, RUNG
from hearmark.report import clock
from hearmark.session import Facts
from hearmark.units import khz_from_hz, percent


def session_png(facts: Facts) -> bytes:
    """Time down, kHz from the DX across: marks joined by a line, the ear's top before each, our calls; bits beside."""
    marks, dx_hz = standing(facts), facts["dx"]["frequency_hz"]
    made = {f["answer"]: f for f in facts["forecasts"]}
    figure = Figure(figsize=(9.0, float(np.clip(2.6 + 0.16 * len(marks), 4.0, 40.0))), layout="constrained")
    axes, side = figure.subplots(1, 2, sharey=True, width_ratios=[5, 1])
    if facts["window_hz"]:
        low, high = (khz_from_hz(edge - dx_hz) for edge in facts["window_hz"])
        axes.axvspan(low, high, color=EAR, alpha=0.06, lw=0)
    minutes = [mark["start_s"] / 60 for mark in marks]
    for start_s, _ in facts["turns"]:
        axes.axhline(start_s / 60, color=RUNG, lw=0.5, zorder=0)
    across = [khz_from_hz(mark["frequency_hz"] - dx_hz) for mark in marks]
    axes.plot(across, minutes, color=MARK, lw=0.8, alpha=0.5, zorder=2)
    for mark, x, y in zip(marks, across, minutes, strict=True):
        by_hand = mark["by"] == "operator"
        wrong = mark.get("judgement") == "wrong"
        shape = "X" if wrong else "D" if by_hand else "o"
        axes.scatter([x], [y], s=30, c=BY_HAND if by_hand else MARK, marker=shape, zorder=3)
        if mark["call"] and len(marks) <= 60:
            axes.annotate(mark["call"], (x, y), (5, 2), textcoords="offset points", fontsize=6.5, color=INK)
        if mark["id"] in made:
            top = khz_from_hz(made[mark["id"]]["peak_hz"] - dx_hz)
            axes.plot([top, x], [y, y], color=EAR, lw=0.8, zorder=1)
            axes.scatter([top], [y], s=26, marker="|", c=EAR, zorder=2)
            side.barh(y, made[mark["id"]]["bits"], height=0.12, color=EAR)
    for back in (a for a in facts["answers"] if a["retracted_at_s"] is not None):
        axes.scatter([khz_from_hz(back["frequency_hz"] - dx_hz)], [back["start_s"] / 60], s=24, c=MARK, marker="x")
    calls = [c for c in facts["calls"] if c["frequency_hz"] is not None]
    axes.scatter(
        [khz_from_hz(c["frequency_hz"] - dx_hz) for c in calls], [c["start_s"] / 60 for c in calls],
        s=22, c=CALL, marker=">", zorder=4,
    )  # fmt: skip
    if facts["worked"] and facts["worked"].get("frequency_hz"):
        x, y = khz_from_hz(facts["worked"]["frequency_hz"] - dx_hz), facts["worked"]["time_s"] / 60
        axes.scatter([x], [y], s=130, marker="*", c=CALL, zorder=5)
        axes.annotate("worked", (x, y), (8, -3), textcoords="offset points", fontsize=9, color=INK)
    axes.set_ylim(max([facts["duration_s"] / 60, 0.1, *minutes]), 0)
    axes.set_xlabel(f"kHz from the DX on {khz_from_hz(dx_hz):.2f} kHz")
    axes.set_ylabel("minutes", fontsize=8)
    axes.set_title("● answered   | top of the ear before   ▸ your calls   ★ worked", fontsize=8, loc="left", color=INK)
    side.axvline(0, color=INK, lw=0.8)
    side.set_xlabel("bits")
    side.set_title("ear, against an even window", fontsize=7, color=INK, loc="right")
    for area in (axes, side):
        area.spines[["top", "right"]].set_visible(False)
    target = io.BytesIO()
    FigureCanvasAgg(figure)
    figure.savefig(target, format="png", metadata={"Software": "Hearmark"})
    return target.getvalue()


def session_html(facts: Facts, title: str) -> str:
    """One page that stands alone: the words, the rules as a table, every answer, and the picture."""
    found = lessons(facts)
    picture = base64.b64encode(session_png(facts)).decode()
    words = "".join(f"<p>{html.escape(line)}</p>" for line in readable(found).splitlines() if not line.startswith("  "))
    rules = "".join(
        f"<tr><td>{RULES[name]}</td><td>{r['within_reach']} of {r['answers']}</td>"
        f"<td>{r['median_away_hz'] / 1000:.2f} kHz</td></tr>"
        for name, r in found["rules"].items()
    )
    rows = "".join(_row(mark, facts) for mark in standing(facts))
    return (
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{html.escape(title)}</title>'
        "<style>body{font:16px/1.45 system-ui,sans-serif;max-width:62em;margin:2em auto;padding:0 1em;color:#16181d}"
        "table{border-collapse:collapse;margin:1em 0}td,th{padding:2px 14px 2px 0;text-align:left}"
        "th{border-bottom:1px solid #999}img{max-width:100%}</style>"
        f"<h1>{html.escape(title)}</h1>{words}"
        "<table><tr><th>a caller who stood</th><th>within reach</th><th>median away</th></tr>"
        f'{rules}</table><img alt="The session over time" src="data:image/png;base64,{picture}">'
        "<table><tr><th>time</th><th>kHz from him</th><th>call</th><th>sure</th><th>ear, bits</th><th>mark</th></tr>"
        f"{rows}</table></html>\n"
    )


def _row(mark: dict[str, Any], facts: Facts) -> str:
    made = next((f for f in facts["forecasts"] if f["answer"] == mark["id"]), None)
    away = khz_from_hz(mark["frequency_hz"] - facts["dx"]["frequency_hz"])
    bits = "" if made is None else f"{made['bits']:+.1f}"
    said = mark.get("judgement") or ("by hand" if mark["by"] == "operator" else "")
    return (
        f"<tr><td>{clock(mark['start_s'])}</td><td>{away:+.2f}</td><td>{html.escape(mark['call'] or '?')}</td>"
        f"<td>{percent(mark['confidence'])}</td><td>{bits}</td><td>{said}</td></tr>"
    )
