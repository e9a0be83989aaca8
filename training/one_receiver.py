"""What one ordinary receiver hears of a pile-up: its slice stays on the DX, or looks into the window while he listens."""

from __future__ import annotations

import random

import numpy as np

MOVE_S = 0.15


def slices(r: random.Random, listening: np.ndarray, step_s: float, window: tuple[float, float], hears: tuple[float, float],
           wanted: np.ndarray) -> np.ndarray:
    """(steps, 2): lowest and highest bin from the DX that is heard at each step; none while the dial moves.

    `listening` (steps,): the DX does not send; `window`: bins from the DX; `hears`: what the filter passes, in bins from
    the dial; `wanted` (steps,): where the answered station is, or not a number.
    """
    steps = len(listening)
    dial = np.zeros(steps)
    if r.random() < 0.5:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], listening.astype(np.int8), [0]])))
        for begin, end in edges.reshape(-1, 2):
            if r.random() < 0.25:
                continue
            at = begin + int(r.uniform(0.1, 0.6) / step_s)
            back = min(steps, end + int(r.uniform(-0.8, 0.4) / step_s))
            while at < back:
                known = wanted[min(at, end - 1)]
                place = known if known == known and r.random() < 0.5 else r.uniform(*window)
                until = min(back, at + int(r.uniform(0.4, 3.0) / step_s))
                inside = 0.35 * (hears[1] - hears[0])
                dial[at:until] = place - (hears[0] + hears[1]) / 2 + r.uniform(-inside, inside)
                at = until
    moved = np.flatnonzero(np.diff(dial)) + 1
    heard = np.stack([dial + hears[0], dial + hears[1]], 1)
    for k in moved:
        heard[k : k + max(1, int(MOVE_S / step_s))] = np.nan
    return heard


def seen(heard: np.ndarray, position: float | np.ndarray, room: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    """(steps,): does the slice hold `position`, with so much room below and above?"""
    return (heard[:, 0] + room[0] <= position) & (position <= heard[:, 1] - room[1])


def known_targets(target: np.ndarray, visible: np.ndarray) -> np.ndarray:
    """Targets as far as they can be known: nobody (-1) until the slice has held the station."""
    out = target.copy()
    edges = np.flatnonzero(np.diff(target)) + 1
    for begin, end in zip(np.concatenate([[0], edges]), np.concatenate([edges, [len(target)]])):
        if target[begin] >= 0:
            out[begin:end] = np.where(np.logical_or.accumulate(visible[begin:end]), target[begin], -1)
    return out
