"""What makes a mark final: the newest state of each answer, and since when it has stood.

Tolerances are those by which a mark is right: 50 Hz for a CW carrier, 150 Hz for the suppressed
carrier of a voice, which has no line of its own to measure.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from hearmark.events import Answer, Mode

SURE = 0.5
"""Confidence from which an answer counts as a mark."""
CW_TOLERANCE_HZ = 50.0
VOICE_TOLERANCE_HZ = 150.0


def tolerance_hz(mode: Mode) -> float:
    """How far from the true frequency a mark in this mode may lie and still be right."""
    return CW_TOLERANCE_HZ if mode == "cw" else VOICE_TOLERANCE_HZ


def settled(history: Iterable[Answer], mode: Mode) -> tuple[Answer, ...]:
    """The newest state of every answer, by start time, from all states in the order they came.

    `marked_at_s` of each state is the sample time at which that state came out. In the result it
    is the time of the first state from which on confidence stayed at 0.5 or more and the frequency
    stayed within tolerance of the last one; of the last state if that itself is not sure.
    """
    by_id: dict[int, list[Answer]] = {}
    for state in history:
        by_id.setdefault(state.id, []).append(state)
    return tuple(sorted((_final(states, tolerance_hz(mode)) for states in by_id.values()), key=lambda a: a.start_s))


def _final(states: list[Answer], within_hz: float) -> Answer:
    """The last of one answer's states, stamped with the time since when it has stood."""
    last = states[-1]
    marked_at_s = last.marked_at_s
    for state in reversed(states):
        if state.confidence < SURE or abs(state.frequency_hz - last.frequency_hz) > within_hz:
            break
        marked_at_s = min(marked_at_s, state.marked_at_s)
    return replace(last, marked_at_s=marked_at_s)
