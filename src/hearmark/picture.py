"""The ladder as a picture: one rung per turn, frequency across, each mark a point, the ear under the last rung."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from hearmark.events import Advice, Answer, Ear, Event, Mode, Turn
from hearmark.marks import SURE, settled
from hearmark.report import clock, newest
from hearmark.units import khz_from_hz

# Colours that stay apart with any colour vision (Okabe and Ito, Color Universal Design, 2008; from memory);
# shape always says the same as colour.
INK, RUNG, MARK, BY_HAND, EAR, CALL = "#222222", "#d4d4d4", "#0072b2", "#d55e00", "#009e73", "#cc79a7"
RIDGE_RUNGS = 3.0
MOST_LABELS = 60


def ladder_png(
    events: Sequence[Event], dx_hz: float, mode: Mode, window_hz: tuple[float, float] | None = None
) -> bytes:
    """A PNG of the ladder. `window_hz`: absolute (low, high), shaded if given.

    Frequency runs across as kHz from the DX, time downwards, one rung per turn. A filled disc is a
    mark by computation (larger: surer), a diamond one by the operator, a cross one taken back.
    """
    turns = newest(events, Turn)
    answers = [a for a in settled((e for e in events if isinstance(e, Answer)), mode) if a.confidence >= SURE]
    ears = [event for event in events if isinstance(event, Ear)]
    rungs = max(len(turns), 1)
    figure = Figure(figsize=(9.0, float(np.clip(2.8 + 0.14 * rungs, 4.0, 40.0))), layout="constrained")
    axes = figure.add_subplot()
    _rungs(axes, turns, rungs)
    _marks(axes, turns, answers, dx_hz)
    if ears:
        _ridge(axes, ears[-1], dx_hz, rungs)
    _advice(axes, [e for e in events if isinstance(e, Advice) and e.transmit_hz is not None], dx_hz, rungs)
    if window_hz:
        low, high = (khz_from_hz(edge - dx_hz) for edge in window_hz)
        axes.axvspan(low, high, color=EAR, alpha=0.06, lw=0, zorder=0)
        axes.annotate("window", (low, -0.9), (4, 0), textcoords="offset points", fontsize=8, color=EAR, va="top")
    axes.set_ylim(rungs + (RIDGE_RUNGS + 0.6 if ears else 0.2), -1.0)
    axes.set_xlabel(f"kHz from the DX on {khz_from_hz(dx_hz):.2f} kHz")
    axes.set_ylabel("time of each turn", fontsize=8, color=INK)
    standing = sum(a.retracted_at_s is None for a in answers)
    axes.set_title(
        f"{standing} answer{'' if standing == 1 else 's'} in {len(turns)} turn{'' if len(turns) == 1 else 's'}",
        loc="left",
    )
    axes.set_title(_legend(answers), loc="right", fontsize=8, color=INK)
    axes.spines[["top", "right", "left"]].set_visible(False)
    target = io.BytesIO()
    FigureCanvasAgg(figure)
    figure.savefig(target, format="png", metadata={"Software": "Hearmark"})
    return target.getvalue()


def _legend(answers: Sequence[Answer]) -> str:
    """What the shapes mean, of those that are there."""
    words = ["● found, larger: surer"]
    if any(answer.by == "operator" for answer in answers):
        words.append("◆ marked by hand")
    if any(answer.retracted_at_s is not None for answer in answers):
        words.append("× taken back")
    return "   ".join(words)


def _rungs(axes: Axes, turns: Sequence[Turn], rungs: int) -> None:
    """A line for every turn, thicker with more callers; the time at some of them."""
    for row, turn in enumerate(turns):
        axes.axhline(row, color=RUNG, lw=0.6 + min(turn.callers, 20) * 0.08, zorder=1)
    every = max(1, rungs // 30)
    rows = range(0, len(turns), every)
    axes.set_yticks(list(rows), [clock(turns[row].start_s) for row in rows])
    axes.tick_params(axis="y", length=0, labelsize=8, labelcolor=INK)


def _row(answer: Answer, turns: Sequence[Turn]) -> int:
    """The rung an answer belongs to: its own turn, else the last one begun before it."""
    for row, turn in enumerate(turns):
        if turn.id == answer.turn:
            return row
    begun = [row for row, turn in enumerate(turns) if turn.start_s <= answer.start_s + 0.5]
    return begun[-1] if begun else 0


def _marks(axes: Axes, turns: Sequence[Turn], answers: Sequence[Answer], dx_hz: float) -> None:
    """Points on their rungs, joined in order so that the eye follows the habit; calls where known."""
    standing = [a for a in answers if a.retracted_at_s is None]
    axes.plot(
        [khz_from_hz(a.frequency_hz - dx_hz) for a in standing],
        [_row(a, turns) for a in standing],
        color=MARK, lw=0.7, alpha=0.35, zorder=2,
    )  # fmt: skip
    for answer in answers:
        x, y = khz_from_hz(answer.frequency_hz - dx_hz), _row(answer, turns)
        shape = "x" if answer.retracted_at_s is not None else ("D" if answer.by == "operator" else "o")
        colour = BY_HAND if answer.by == "operator" else MARK
        axes.scatter([x], [y], s=12 + 40 * (answer.confidence - SURE), c=colour, marker=shape, zorder=3)
        if answer.call and len(answers) <= MOST_LABELS:
            axes.annotate(answer.call, (x, y), (5, 2), textcoords="offset points", fontsize=6.5, color=INK)


def _ridge(axes: Axes, ear: Ear, dx_hz: float, rungs: int) -> None:
    """The density as a hill standing below the last rung."""
    peak = float(np.max(ear.density_per_hz)) or 1.0
    base = rungs + RIDGE_RUNGS
    height = ear.density_per_hz / peak * (RIDGE_RUNGS - 0.4)
    across = (ear.frequency_hz - dx_hz) / 1000.0
    axes.fill_between(across, base - height, base, color=EAR, alpha=0.35, lw=0, zorder=2)
    axes.plot(across, base - height, color=EAR, lw=1.2, zorder=3)
    peak_at = float(np.argmax(ear.density_per_hz)) / len(ear.density_per_hz)
    side, align = (0.01, "left") if peak_at > 0.5 else (0.99, "right")  # where the hill is not
    axes.annotate(
        f"where he listens next: {ear.habit}", (side, base - RIDGE_RUNGS + 0.8), xycoords=("axes fraction", "data"),
        ha=align, va="top", fontsize=8, color=INK,
    )  # fmt: skip


def _advice(axes: Axes, advices: Sequence[Advice], dx_hz: float, rungs: int) -> None:
    """A dashed line down through the ridge at the frequency to call on."""
    if advices and advices[-1].transmit_hz is not None:
        x = khz_from_hz(advices[-1].transmit_hz - dx_hz)
        axes.plot([x, x], [rungs - 0.5, rungs + RIDGE_RUNGS], color=CALL, lw=1.6, ls=(0, (4, 2)), zorder=4)
        axes.annotate(
            f"call {x:+.2f}", (x, rungs - 0.5), (4, 0), textcoords="offset points", fontsize=8, color=INK, zorder=5
        )
