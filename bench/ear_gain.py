"""How much the belief knows about the next answered frequency: log loss per turn, by habit.

Sessions are drawn here, from habits written for this purpose with parameters of their own, not those of the grid.
Marks are delivered as a receiver would: CW 85 % of the contacts found and 10 % of the marks wrong, SSB 75 % and 15 %,
the wrong ones on a few loud stations out of turn. The score of a turn is minus the logarithm of the probability of the
bin (50 Hz CW, 150 Hz SSB) in which he truly answered, turns 5 to 40, against

* uniform over the window;
* last spot: 0.9 normal about the last mark, 200 Hz wide, and 0.1 uniform;
* ceiling: the true habit with its true parameters and its true state up to the turn before.

Development seeds are 0 to 999 999, held-back seeds start at 5 000 000. Run: python bench/ear_gain.py [--held-back]
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from hearmark.ear.belief import Belief
from hearmark.events import FloatArray, Mode

HABITS = ("stay", "wander", "step", "two spots", "jump", "quiet")
TURNS = 40
FROM = 4
SCATTER_HZ = 120.0


@dataclass
class Play:
    """One session: `pick_hz` (turns,), marks (turns,) with nan for missed, ceiling probabilities of the true bins."""

    habit: str
    mode: Mode
    low_hz: float
    high_hz: float
    bin_hz: float
    pick_hz: FloatArray
    mark_hz: FloatArray
    confidence: FloatArray
    ceiling: FloatArray
    activity: FloatArray | None
    change: int | None = None


def mass(
    centres: FloatArray, weights: FloatArray, sigma_hz: float, pick: float, low: float, high: float, width: float
) -> float:
    """Probability of the bin around `pick` under a mixture of normals, each folded back inside low..high."""
    left = low + np.floor((pick - low) / width) * width
    right = min(left + width, high)
    total = 0.0
    for fold in (lambda x: x, lambda x: 2 * low - x, lambda x: 2 * high - x):
        a, b = sorted((fold(left), fold(right)))
        total += float(weights @ (norm.cdf((b - centres) / sigma_hz) - norm.cdf((a - centres) / sigma_hz)))
    return total


class Habit:
    """A true habit: `expect` gives centres, weights and spread of the next place, `go` draws it."""

    def __init__(self, name: str, rng: np.random.Generator, low: float, high: float, start: float | None) -> None:
        self.name, self.rng, self.low, self.high = name, rng, low, high
        self.place = rng.uniform(low, high) if start is None else start
        self.wander = float(np.exp(rng.uniform(np.log(40.0), np.log(600.0))))
        self.step = float(np.exp(rng.uniform(np.log(50.0), np.log(600.0)))) * rng.choice([-1.0, 1.0])
        self.jitter = rng.uniform(0.0, 0.15)
        dwell = int(rng.integers(1, 6))
        self.dwells = [dwell] if rng.random() < 0.6 else list(range(1, 2 * dwell))
        self.age, self.left = 0, int(rng.choice(self.dwells))
        self.wraps = rng.random() < 0.5
        other = rng.uniform(low, high)
        while abs(other - self.place) < 300.0:
            other = rng.uniform(low, high)
        self.spots = (self.place, other)
        self.change = float(rng.choice([0.15, 0.5, 0.85, 1.0]))
        self.first = True

    def stepped(self) -> tuple[float, float]:
        """Place and signed step after a step from here."""
        target, step = self.place + self.step, self.step
        if self.low <= target <= self.high:
            return target, step
        if self.wraps:
            return (self.low if step > 0 else self.high), step
        return (2 * self.high - target if target > self.high else 2 * self.low - target), -step

    def expect(self, activity: FloatArray) -> tuple[FloatArray, FloatArray, float]:
        """Centres, weights and spread of the next answered frequency."""
        one = np.ones(1)
        if self.first or self.name == "stay":
            return np.array([self.place]), one, SCATTER_HZ
        if self.name == "wander":
            return np.array([self.place]), one, float(np.hypot(self.wander, SCATTER_HZ))
        if self.name == "step":
            alive = [d for d in self.dwells if d > self.age]
            chance = sum(d == self.age + 1 for d in alive) / len(alive)
            target, _ = self.stepped()
            spread = float(np.hypot(self.jitter * self.step * chance, SCATTER_HZ))
            return np.array([self.place, target]), np.array([1 - chance, chance]), spread
        if self.name == "two spots":
            other = self.spots[1] if self.place == self.spots[0] else self.spots[0]
            return np.array([self.place, other]), np.array([1 - self.change, self.change]), SCATTER_HZ
        return np.array([quietest(activity, self.low, self.high)]), one, SCATTER_HZ

    def go(self, activity: FloatArray) -> None:
        """Draw the next place."""
        if self.first:
            self.first = False
        elif self.name == "wander":
            place = self.place + self.rng.normal(0.0, self.wander)
            while not self.low <= place <= self.high:
                place = 2 * self.high - place if place > self.high else 2 * self.low - place
            self.place = place
        elif self.name == "step":
            self.age += 1
            if self.age >= self.left:
                target, step = self.stepped()
                self.place = float(np.clip(target + self.rng.normal(0, self.jitter * abs(step)), self.low, self.high))
                self.step = step
                self.age, self.left = 0, int(self.rng.choice(self.dwells))
        elif self.name == "two spots":
            if self.rng.random() < self.change:
                self.place = self.spots[1] if self.place == self.spots[0] else self.spots[0]
        elif self.name == "jump":
            self.place = self.rng.uniform(self.low, self.high)
        elif self.name == "quiet":
            self.place = quietest(activity, self.low, self.high)


def quietest(activity: FloatArray, low: float, high: float) -> float:
    """Where the activity, smoothed by his passband, is least."""
    kernel = np.hanning(9)
    smooth = np.convolve(np.pad(activity, 4, mode="edge"), kernel / kernel.sum(), mode="valid")
    return float(np.linspace(low, high, len(activity))[int(np.argmin(smooth))])


def draw(habit: str, seed: int, change_to: str | None = None) -> Play:
    rng = np.random.default_rng(seed)
    mode: Mode = "cw" if rng.random() < 0.5 else "usb"
    bin_hz = 50.0 if mode == "cw" else 150.0
    width = float(np.exp(rng.uniform(np.log(2000.0), np.log(8000.0 if mode == "cw" else 20000.0))))
    low = 14_025_000.0 + round(rng.uniform(0, 4000))
    high = low + width
    truth = Habit(habit, rng, low, high, None)
    callers = rng.uniform(low, high, int(rng.integers(10, 50)))
    loud = rng.uniform(low, high, int(rng.integers(1, 4)))
    found, wrong = (0.85, 0.10) if mode == "cw" else (0.75, 0.15)
    change = TURNS // 2 if change_to else None
    pick, mark, confidence, ceiling, activities = [], [], [], [], []
    grid = np.linspace(low, high, 200)
    for turn in range(TURNS if change_to is None else 2 * TURNS):
        if change_to is not None and turn == change:
            start = truth.place
            truth = Habit(change_to, rng, low, high, start if rng.random() < 0.5 else None)
        move = rng.random(len(callers)) < 0.15
        callers = np.where(move, rng.uniform(low, high, len(callers)), callers)
        activity = np.exp(-0.5 * ((grid[:, None] - callers[None, :]) / 150.0) ** 2).sum(axis=1)
        activity = activity + rng.normal(0, 0.02, len(grid))
        centres, weights, spread = truth.expect(activity)
        truth.go(activity)
        value = truth.place + rng.normal(0.0, SCATTER_HZ)
        while not low <= value <= high:
            value = 2 * high - value if value > high else 2 * low - value
        left = low + np.floor((value - low) / bin_hz) * bin_hz
        if truth.name == "jump" and turn != change:
            ceiling.append((min(left + bin_hz, high) - left) / width)
        else:
            ceiling.append(mass(centres, weights, spread, value, low, high, bin_hz))
        pick.append(value)
        if rng.random() >= found:
            mark.append(np.nan)
            confidence.append(0.0)
        elif rng.random() < wrong:
            mark.append(float(rng.choice(loud)) + rng.normal(0, 30.0))
            confidence.append(float(np.clip(rng.normal(0.82, 0.1), 0.5, 0.99)))
        else:
            mark.append(value + rng.normal(0, 20.0 if mode == "cw" else 60.0))
            confidence.append(float(np.clip(rng.normal(0.9, 0.07), 0.5, 0.99)))
        activities.append(activity)
    return Play(
        habit,
        mode,
        low,
        high,
        bin_hz,
        np.array(pick),
        np.array(mark),
        np.array(confidence),
        np.array(ceiling),
        np.array(activities) if "quiet" in (habit, change_to) else None,
        change,
    )


def bin_mass(belief: Belief, pick: float, play: Play) -> tuple[float, float]:
    """Probability of the true bin, and the level of the smallest region by density that holds it (for calibration)."""
    left = play.low_hz + np.floor((pick - play.low_hz) / play.bin_hz) * play.bin_hz
    fine = np.linspace(left, left + play.bin_hz, 5)
    value = float(np.exp(belief.log_density(0.5 * (fine[1:] + fine[:-1]))).mean() * play.bin_hz)
    grid = belief.frequency_hz
    density = np.exp(belief.log_density(np.arange(grid[0], grid[-1], 10.0)))
    here = float(np.exp(belief.log_density(pick)))
    level = float(density[density > here].sum() / density.sum())
    return max(value, 1e-12), level


@dataclass
class Score:
    """Log loss per turn, nat, shape (turns,), and calibration levels."""

    ear: FloatArray
    uniform: FloatArray
    last: FloatArray
    ceiling: FloatArray
    level: FloatArray
    update_s: FloatArray


def score(play: Play, make: Callable[[Play], Belief] | None = None) -> Score:
    belief = Belief(play.low_hz, play.high_hz, play.mode) if make is None else make(play)
    last: float | None = None
    rows = []
    grid = np.linspace(play.low_hz, play.high_hz, 200)
    width = play.high_hz - play.low_hz
    for turn in range(len(play.pick_hz)):
        pick = play.pick_hz[turn]
        if play.activity is not None:
            belief = belief.heard(grid, play.activity[turn])
        value, level = bin_mass(belief, pick, play)
        left = play.low_hz + np.floor((pick - play.low_hz) / play.bin_hz) * play.bin_hz
        uniform = (min(left + play.bin_hz, play.high_hz) - left) / width
        spot = uniform
        if last is not None:
            spot = 0.1 * uniform + 0.9 * mass(
                np.array([last]), np.ones(1), 200.0, pick, play.low_hz, play.high_hz, play.bin_hz
            )
        began = time.perf_counter()
        mark = play.mark_hz[turn]
        belief = belief.missed(turn * 15.0) if np.isnan(mark) else belief.mark(turn * 15.0, mark, play.confidence[turn])
        belief.density_per_hz()
        took = time.perf_counter() - began
        if not np.isnan(mark):
            last = float(mark)
        losses = -np.log([value, uniform, spot, max(play.ceiling[turn], 1e-12)])
        rows.append((*losses, level, took))
    return Score(*np.array(rows).T)


def table(seeds: range) -> None:
    print(f"Log loss per turn, nat, turns {FROM + 1} to {TURNS}; {len(seeds)} sessions a habit")
    print(
        f"{'habit':10s} {'uniform':>8s} {'last':>8s} {'ear':>8s} {'ceiling':>8s} {'gain':>7s} {'of':>7s} "
        f"{'share':>6s} {'50 %':>6s} {'90 %':>6s}"
    )
    gains, tops, levels, took = 0.0, 0.0, [], []
    for habit in HABITS:
        scores = [score(draw(habit, seed)) for seed in seeds]
        means = {
            name: np.mean([getattr(s, name)[FROM:TURNS] for s in scores])
            for name in ("uniform", "last", "ear", "ceiling")
        }
        base = min(means["uniform"], means["last"])
        gain, top = base - means["ear"], base - means["ceiling"]
        gains, tops = gains + gain, tops + top
        level = np.concatenate([s.level[FROM:TURNS] for s in scores])
        levels.append(level)
        took.append(np.concatenate([s.update_s for s in scores]))
        print(
            f"{habit:10s} {means['uniform']:8.3f} {means['last']:8.3f} {means['ear']:8.3f} {means['ceiling']:8.3f} "
            f"{gain:7.3f} {top:7.3f} {gain / top if top > 0.02 else float('nan'):6.0%} "
            f"{np.mean(level < 0.5):6.1%} {np.mean(level < 0.9):6.1%}",
            flush=True,
        )
    level = np.concatenate(levels)
    print(
        f"all: gain {gains:.3f} of {tops:.3f} = {gains / tops:.0%}; regions 50 %: {np.mean(level < 0.5):.1%}, "
        f"90 %: {np.mean(level < 0.9):.1%}; update with density, ms: "
        f"median {1e3 * np.median(np.concatenate(took)):.2f}, "
        f"95 % {1e3 * np.quantile(np.concatenate(took), 0.95):.2f}"
    )


def changes(seeds: range) -> None:
    print("\nAfter a change of habit at turn 21: gain over the better of uniform and last spot, by turns since")
    pairs = [
        ("stay", "step"),
        ("step", "stay"),
        ("step", "two spots"),
        ("wander", "step"),
        ("two spots", "stay"),
        ("jump", "step"),
        ("jump", "stay"),
        ("stay", "two spots"),
    ]
    for before, after in pairs:
        back(f"{before:>9s} to {after:9s}", [score(draw(before, seed, after)) for seed in seeds], TURNS // 2)
    print("The same from nothing, with no other habit to forget:")
    for after in sorted({after for _, after in pairs}):
        back(f"{after:>9s}{'':13s}", [score(draw(after, seed)) for seed in seeds], 0)


def back(name: str, scores: list[Score], at: int) -> None:
    """Prints after how many turns from `at` on half of the settled gain is there."""
    ear, last, uniform = (
        np.array([getattr(s, name)[at:] for s in scores]).mean(axis=0) for name in ("ear", "last", "uniform")
    )
    gain = np.minimum(last.mean(), uniform.mean()) - ear
    settled = gain[15:40].mean()
    smooth = np.convolve(gain, np.ones(3) / 3, mode="valid")
    turns = int(np.argmax(smooth >= 0.5 * settled)) + 1 if (smooth >= 0.5 * settled).any() else -1
    print(
        f"{name} settled {settled:6.3f}; half of it after {turns} turns; "
        f"turns 1..8: {' '.join(f'{g:5.2f}' for g in gain[:8])}",
        flush=True,
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--held-back", action="store_true")
    parser.add_argument("--sessions", type=int, default=40)
    parser.add_argument("--changes", action="store_true")
    args = parser.parse_args()
    first = 5_000_000 if args.held_back else 0
    table(range(first, first + args.sessions))
    if args.changes:
        changes(range(first, first + args.sessions))
