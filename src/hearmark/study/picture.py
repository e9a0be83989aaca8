"""A study as a picture: for each habit the median time of each tactic with its interval."""

from __future__ import annotations

import io
from typing import Any

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from hearmark.picture import BY_HAND, CALL, EAR, INK, MARK, RUNG

_LOOK = {
    "fixed": ("#888888", "s"),
    "random": ("#bbbbbb", "D"),
    "tail-end": (BY_HAND, "v"),
    "expert": ("#e69f00", "^"),
    "program": (MARK, "o"),
    "one receiver": ("#56b4e9", "P"),
    "exact marks": (EAR, "X"),
    "told": ("#009e73", "p"),
    "ceiling": (CALL, "*"),
}


def study_png(found: dict[str, Any]) -> bytes:
    """PNG: minutes across (logarithmic), habits down, a mark and a 95 % interval for each tactic."""
    habits, rows = found["habits"], found["tactics"]
    lanes = [*habits, "all habits"]
    figure = Figure(figsize=(9.0, 1.4 + 0.145 * len(lanes) * (len(rows) + 1)), layout="constrained")
    axes = figure.add_subplot()
    for place, row in enumerate(rows):
        colour, shape = _LOOK[row["tactic"]]
        for lane, name in enumerate(lanes):
            every = name == "all habits" and lane == len(habits)
            middle = row["geometric_min"] if every else row["median_min"][name]
            low, high = row["geometric_interval_min"] if every else row["interval_min"][name]
            y = lane + 0.8 * ((place + 0.5) / len(rows) - 0.5)
            axes.plot([low, high], [y, y], color=colour, lw=2.2, alpha=0.75, solid_capstyle="butt")
            axes.plot([middle], [y], color=colour, marker=shape, ms=6.5, mec=INK, mew=0.4, ls="none",
                      label=row["label"] if lane == 0 else None)  # fmt: skip
    for lane in range(1, len(lanes)):
        axes.axhline(lane - 0.5, color=RUNG, lw=0.8, zorder=0)
    axes.set_xscale("log")
    shown = [m for m in (1, 2, 3, 5, 10, 20, 30, 60, 120, 240) if m <= found["minutes"] * 1.01]
    axes.set_xticks(shown, [str(m) for m in shown])
    axes.minorticks_off()
    axes.axvline(found["minutes"], color=INK, lw=0.8, ls=":")
    axes.set_yticks(range(len(lanes)), lanes)
    axes.set_ylim(len(lanes) - 0.5, -0.5)
    axes.set_xlabel(f"minutes until in the log: median and 95 % interval; {found['minutes']:g} = not in the log")
    axes.spines[["top", "right"]].set_visible(False)
    figure.legend(loc="outside upper center", ncols=4, fontsize=8, frameon=False)
    target = io.BytesIO()
    FigureCanvasAgg(figure)
    figure.savefig(target, format="png", dpi=110, metadata={"Software": "Hearmark"})
    return target.getvalue()
