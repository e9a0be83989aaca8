"""How far the belief is from the best that could be known: a filter with the simulator's own priors beside it.

Pile-ups are played at event level (medium, CW); our station only listens, and is told of each answer what the engine
would mark (85 % found, 10 % of them wrong) or, as "exact", where it truly was. Contacts 2 to 6 and 7 to 14:

* loss: minus the logarithm of the probability of the 50 Hz in which the next one is truly answered;
* hit: how often the DX hears, within his passband, who calls where the belief promises most (normal weight, 150 Hz);

for the shipped belief and for the bounds:

* bound: particles drawn as the simulator draws the DX (`simulate/listening.py`): habit, steps, dwell, passband; his
  callers' distances, by passband, are normal mixtures fitted to development pile-ups, and for a DX who looks for quiet
  it is told who called, which no receiver quite is;
* bound, told: the same, and it is told the habit;
* known: habit, its parameters and his place in the contact before, like the study's ceiling.

Run: python bench/ear_bound.py [--first SEED] [--seeds N]
"""

from __future__ import annotations

import argparse
import random
from dataclasses import dataclass

import numpy as np

from hearmark.ear.advice import busy
from hearmark.ear.belief import Belief
from hearmark.events import FloatArray
from hearmark.simulate.air import stream
from hearmark.simulate.people import Pileup
from hearmark.simulate.scenario import HABITS
from hearmark.simulate.session import Habit
from hearmark.study.crowd import Crowd
from hearmark.study.marks import ENGINE, find
from hearmark.study.station import OwnStation, Reply
from hearmark.study.trial import Trial

CONTACTS, EARLY = 14, slice(1, 6)
LATE = slice(6, CONTACTS)
MINUTES, SILENT_DB = 8.0, -60.0
STEP_HZ, BIN_HZ, REACH_HZ = 25.0, 50.0, 150.0
DRAWS = 24
PASSBAND_HZ = (250.0, 300.0, 400.0, 500.0, 600.0, 800.0)
PASSBAND_SHARE = np.array([1, 1, 1, 2, 1, 1]) / 7
ANSWERED = (
    ((0.39, 0.57, 0.04), (93.0, 249.0, 750.0)),
    ((0.49, 0.49, 0.02), (124.0, 275.0, 1640.0)),
    ((0.67, 0.32, 0.01), (180.0, 329.0, 2294.0)),
    ((0.62, 0.36, 0.02), (194.0, 353.0, 1946.0)),
    ((0.57, 0.42, 0.01), (206.0, 358.0, 2270.0)),
    ((0.46, 0.49, 0.05), (255.0, 373.0, 1885.0)),
)
"""Shares and spreads of the answered station about his place, by passband: seeds 100 to 299."""
DWELLS, DWELL_SHARE = np.array([(1, 1), (1, 2), (1, 3), (2, 4), (3, 6)]), np.array([4, 3, 3, 2, 1]) / 13


@dataclass
class Contact:
    """What is known before it (`activity`), and of it. `answered_hz` None: no reply; `next_hz`: places he may go to."""

    activity: FloatArray | None
    receive_hz: float
    mark_hz: float | None = None
    confidence: float = 0.0
    answered_hz: float | None = None
    occupied_hz: tuple[float, ...] = ()
    worked: bool = False
    next_hz: FloatArray | None = None


@dataclass
class Play:
    """One pile-up as it was heard."""

    habit: Habit
    seed: int
    low_hz: float
    high_hz: float
    passband_hz: float
    activity_hz: FloatArray
    contacts: list[Contact]


class Watch:
    """A tactic that never calls, and writes down what it is told."""

    promised = 0.0

    def __init__(self, pileup: Pileup, crowd: Crowd) -> None:
        self.pileup, self.crowd = pileup, crowd
        self.rng, self.draws = stream(pileup.scenario.seed, 900_003), random.Random(pileup.scenario.seed)
        self.before = pileup.listening.fork(self.draws)
        self.contacts: list[Contact] = []
        self.now: Contact | None = None

    def place(self, now_s: float) -> float | None:
        """Nowhere; what is known now is kept."""
        if self.now is None:
            level = self.crowd.activity_db
            self.now = Contact(None if level is None else busy(level), self.pileup.receive_hz)
        return None

    def answered(self, reply: Reply, crowd: Crowd) -> None:
        """The first answer of a contact, as the engine would mark it."""
        mark = find(ENGINE["cw"], reply, crowd, self.rng)
        if self.now is None or self.now.answered_hz is not None or reply.sent is None:
            return
        self.now.answered_hz = reply.sent.frequency_hz
        if mark is not None:
            self.now.mark_hz, self.now.confidence = mark.frequency_hz, mark.confidence

    def confirmed(self, now_s: float) -> None:
        """The contact is over, and he has moved on."""
        contact, self.now = self.now, None
        occupied_hz = self.pileup.occupied_hz
        if contact is not None:
            places = []
            for _ in range(DRAWS):
                future = self.before.fork(self.draws)
                future.worked(contact.answered_hz or future.receive_hz, occupied_hz)
                places.append(future.place_hz)
            contact.worked, contact.occupied_hz, contact.next_hz = True, tuple(occupied_hz), np.array(places)
            self.contacts.append(contact)
        self.before = self.pileup.listening.fork(self.draws)

    def broken_off(self, now_s: float) -> None:
        """Nobody was worked, so he has not moved."""
        if self.now is not None and self.now.answered_hz is not None:
            self.contacts.append(self.now)
            self.now = None


def played(habit: Habit, seed: int) -> Play:
    pileup = Pileup(Trial("program", habit, seed).scenario())
    pileup.advance(0.0)
    scenario = pileup.scenario
    low_hz, high_hz = scenario.window_low_hz, scenario.window_high_hz
    crowd = Crowd(scenario.mode, low_hz, high_hz, pileup.stations)
    watch = Watch(pileup, crowd)
    OwnStation(pileup, watch, crowd, SILENT_DB, seed, 60.0 * MINUTES).run()
    passband_hz = pileup.listening.passband_hz
    return Play(habit, seed, low_hz, high_hz, passband_hz, crowd.frequency_hz, watch.contacts[:CONTACTS])


def answered(offset_hz: FloatArray, passband: int) -> FloatArray:
    """Density per hertz of the answered station so far from his place."""
    share, spread_hz = np.array(ANSWERED[passband])
    return np.asarray(
        (share * np.exp(-0.5 * (offset_hz[..., None] / spread_hz) ** 2) / spread_hz / np.sqrt(2 * np.pi)).sum(-1)
    )


class Shipped:
    """The belief of the program."""

    def __init__(self, play: Play, exact: bool) -> None:
        self.belief, self.play, self.exact, self.time_s = Belief(play.low_hz, play.high_hz, "cw"), play, exact, 0.0

    def density(self, contact: Contact) -> tuple[FloatArray, FloatArray]:
        """Grid in hertz, and density per hertz of where the next one is answered."""
        if contact.activity is not None:
            self.belief = self.belief.heard(self.play.activity_hz, contact.activity)
        return self.belief.frequency_hz, self.belief.density_per_hz()

    def tell(self, contact: Contact) -> None:
        """What was known of the contact."""
        self.time_s += 15.0
        mark_hz, confidence = known(contact, self.exact)
        if mark_hz is not None:
            self.belief = self.belief.mark(self.time_s, mark_hz, confidence)
        elif contact.worked:
            self.belief = self.belief.missed(self.time_s)


def known(contact: Contact, exact: bool) -> tuple[float | None, float]:
    return (contact.answered_hz, 0.97) if exact else (contact.mark_hz, min(contact.confidence, 0.97))


class Known:
    """Habit, parameters and place of the contact before."""

    def __init__(self, play: Play) -> None:
        self.grid_hz = grid(play)
        self.passband = PASSBAND_HZ.index(play.passband_hz)
        self.now = np.ones(len(self.grid_hz)) / (len(self.grid_hz) * STEP_HZ)

    def density(self, contact: Contact) -> tuple[FloatArray, FloatArray]:
        """Grid in hertz, and density per hertz of where the next one is answered."""
        return self.grid_hz, self.now

    def tell(self, contact: Contact) -> None:
        """What was known of the contact."""
        if contact.next_hz is not None:
            now = answered(self.grid_hz[:, None] - contact.next_hz[None, :], self.passband).mean(axis=1) + 1e-7
            self.now = now / (now.sum() * STEP_HZ)


def grid(play: Play) -> FloatArray:
    return np.arange(play.low_hz - 600.0, play.high_hz + 601.0, STEP_HZ)


class Particles:
    """The simulator's DX, many of him for each habit; arrays (habits, particles)."""

    COUNT = 4_000
    KEPT = ("weight", "passband", "step", "wander", "turns", "fewest", "most", "spot", "other", "place", "left")

    def __init__(self, play: Play, exact: bool, told: bool) -> None:
        self.exact, self.grid_hz = exact, grid(play)
        self.low, self.high, self.width = play.low_hz, play.high_hz, play.high_hz - play.low_hz
        self.habits: tuple[Habit, ...] = (play.habit,) if told else HABITS
        shape = (len(self.habits), self.COUNT)
        self.rng = rng = np.random.default_rng(play.seed)
        self.evidence, self.weight = np.zeros(shape[0]), np.full(shape, 1.0 / self.COUNT)
        self.passband = rng.choice(len(PASSBAND_HZ), size=shape, p=PASSBAND_SHARE)
        self.step = np.clip(rng.uniform(0.03, 0.2, shape) * self.width, 60, 1500) * rng.choice([-1, 1], shape)
        self.wander = np.clip(rng.uniform(0.03, 0.12, shape) * self.width, 50, 800)
        self.turns = rng.random(shape) < 0.3
        dwell = DWELLS[rng.choice(len(DWELLS), size=shape, p=DWELL_SHARE)]
        self.fewest, self.most = dwell[..., 0], dwell[..., 1]
        first = rng.uniform(0.05, 0.95, shape)
        for row, habit in enumerate(self.habits):
            if habit == "stay":
                kinds = np.array([rng.uniform(0.0, 0.3, self.COUNT), first[row], np.full(self.COUNT, 0.5)])
                first[row] = kinds[rng.integers(0, 3, self.COUNT), np.arange(self.COUNT)]
        second = (first + rng.uniform(0.3, 0.7, shape)) % 1.0
        apart = np.where(np.abs(1 - 2 * first) >= 0.25, 1 - first, first + np.where(first < 0.5, 0.4, -0.4))
        second = np.where(np.abs(second - first) < 0.25, apart, second)
        self.spot, self.other = self.low + first * self.width, self.low + second * self.width
        self.place, self.left = self.spot.copy(), self.dwell()

    def dwell(self) -> FloatArray:
        """Contacts at the next place."""
        return np.asarray(self.fewest + np.floor(self.rng.random(self.fewest.shape) * (self.most - self.fewest + 1)))

    def density(self, contact: Contact) -> tuple[FloatArray, FloatArray]:
        """Grid in hertz, and density per hertz of where the next one is answered."""
        habit = np.exp(self.evidence - self.evidence.max())
        weight = self.weight * (habit / habit.sum())[:, None]
        cell = np.clip(np.round((self.place - self.grid_hz[0]) / STEP_HZ).astype(int), 0, len(self.grid_hz) - 1)
        total, offset_hz = np.zeros(len(self.grid_hz)), np.arange(-80, 81) * STEP_HZ
        for passband in range(len(PASSBAND_HZ)):
            here = self.passband == passband
            place = np.bincount(cell[here], weights=weight[here], minlength=len(total))
            total += np.convolve(place, answered(offset_hz, passband) * STEP_HZ, mode="same")
        return self.grid_hz, 0.995 * total / (total.sum() * STEP_HZ) + 0.005 / (len(total) * STEP_HZ)

    def tell(self, contact: Contact) -> None:
        """What was known of the contact."""
        mark_hz, confidence = known(contact, self.exact)
        if mark_hz is not None:
            likelihood = np.zeros(self.weight.shape)
            for passband in range(len(PASSBAND_HZ)):
                here = self.passband == passband
                likelihood[here] = answered(mark_hz - self.place[here], passband)
            self.weight = self.weight * (confidence * likelihood + (1.0 - confidence) / self.width)
            total = self.weight.sum(axis=1)
            self.evidence, self.weight = self.evidence + np.log(total), self.weight / total[:, None]
            for row in np.flatnonzero(1.0 / (self.weight**2).sum(axis=1) < 0.5 * self.COUNT):
                self.resample(int(row))
        if contact.worked:
            self.move(mark_hz, contact.occupied_hz)

    def resample(self, row: int) -> None:
        """Particles of one habit anew by their weights, places a little apart."""
        edges = np.cumsum(self.weight[row])
        at = np.searchsorted(edges, (self.rng.random() + np.arange(self.COUNT)) / self.COUNT * edges[-1])
        at = np.minimum(at, self.COUNT - 1)
        for name in self.KEPT:
            getattr(self, name)[row] = getattr(self, name)[row][at]
        self.weight[row] = 1.0 / self.COUNT
        self.place[row] = np.clip(self.place[row] + self.rng.normal(0.0, 8.0, self.COUNT), self.low, self.high)

    def move(self, mark_hz: float | None, occupied_hz: tuple[float, ...]) -> None:
        """As `Listening.worked` does."""
        rng, low, high = self.rng, self.low, self.high
        self.left = self.left - 1
        go = self.left <= 0
        self.left = np.where(go, self.dwell(), self.left)
        for row, habit in enumerate(self.habits):
            place, step, goal = self.place[row], self.step[row], self.place[row]
            if habit == "wander":
                heard_hz = place + rng.normal(0.0, 190.0, self.COUNT) if mark_hz is None else mark_hz
                place = place + 0.5 * (heard_hz - place)
                goal = place + rng.normal(0.0, 1.0, self.COUNT) * self.wander[row]
                goal = np.where(goal < low, 2 * low - goal, np.where(goal > high, 2 * high - goal, goal))
                goal = np.clip(goal, low, high)
            elif habit == "step":
                goal = place + step * rng.uniform(0.7, 1.3, self.COUNT)
                out = (goal < low) | (goal > high)
                again = np.where(step > 0, low, high) + np.sign(step) * rng.uniform(0, 0.05, self.COUNT) * self.width
                goal = np.where(out, np.where(self.turns[row], np.clip(goal, low, high), again), goal)
                self.step[row] = np.where(go[row] & out & self.turns[row], -step, step)
            elif habit == "jump":
                goal = rng.uniform(low, high, self.COUNT)
            elif habit == "two spots":
                nearer = np.abs(place - self.spot[row]) < np.abs(place - self.other[row])
                away = np.where(nearer, self.other[row], self.spot[row])
                goal = np.where(rng.random(self.COUNT) < 0.7, away, place)
            elif habit == "quiet":
                goal = self.quietest(row, np.sort(np.array(occupied_hz)))
            self.place[row] = np.where(go[row], goal, place)

    def quietest(self, row: int, occupied_hz: FloatArray) -> FloatArray:
        """Of sixteen places drawn that with the fewest callers."""
        near_hz = np.maximum(np.array(PASSBAND_HZ)[self.passband[row]] * 0.5, self.width / 24.0)
        drawn = self.low + (np.arange(16)[:, None] + self.rng.random((16, self.COUNT))) * self.width / 16.0
        count = np.searchsorted(occupied_hz, drawn + near_hz) - np.searchsorted(occupied_hz, drawn - near_hz)
        best = np.argmin(count + self.rng.uniform(0.0, 2.0, count.shape), axis=0)
        return np.asarray(drawn[best, np.arange(self.COUNT)])


Player = Shipped | Particles | Known


def score(play: Play, player: Player) -> FloatArray:
    """Loss and hit for each contact, shape (CONTACTS, 2); nan where there was none."""
    rows = np.full((CONTACTS, 2), np.nan)
    for row, contact in zip(rows, play.contacts, strict=False):
        grid_hz, density = player.density(contact)
        if contact.answered_hz is not None:
            row[0] = -np.log(max(float(np.interp(contact.answered_hz, grid_hz, density)) * BIN_HZ, 1e-9))
        offset_hz = np.arange(-500.0, 501.0, grid_hz[1] - grid_hz[0])
        promise = np.convolve(density, np.exp(-0.5 * (offset_hz / REACH_HZ) ** 2), mode="same")
        row[1] = abs(grid_hz[int(np.argmax(promise))] - contact.receive_hz) <= 0.5 * play.passband_hz
        player.tell(contact)
    return rows


def players(play: Play) -> dict[str, Player]:
    found: dict[str, Player] = {}
    for exact in (False, True):
        word = " exact" if exact else ""
        found["shipped" + word] = Shipped(play, exact)
        found["bound" + word] = Particles(play, exact, told=False)
        found["bound, told" + word] = Particles(play, exact, told=True)
    return found | {"known": Known(play)}


def main(first: int, seeds: int) -> None:
    scores: dict[str, dict[str, list[FloatArray]]] = {}
    for habit in HABITS:
        for seed in range(first, first + seeds):
            play = played(habit, seed)
            for name, player in players(play).items():
                scores.setdefault(name, {}).setdefault(habit, []).append(score(play, player))
    print(f"{seeds} pile-ups a habit from seed {first}; hit in contacts 2 to 6 / 7 to {CONTACTS}; loss, nat, the same")
    print(f"{'':20s}" + "".join(f"{habit:>13s}" for habit in HABITS) + f"{'mean loss':>14s}{'all hits':>17s}")
    rng = np.random.default_rng(1)
    picks = rng.integers(0, seeds, (400, seeds))
    for name, by_habit in scores.items():
        rows = np.array([by_habit[habit] for habit in HABITS])  # (habit, seed, contact, 2)
        early, late = np.nanmean(rows[:, :, EARLY], axis=(1, 2)), np.nanmean(rows[:, :, LATE], axis=(1, 2))
        hits = np.nanmean(rows[:, :, 1:, 1], axis=2)
        many = np.exp(np.log(hits[:, picks].mean(axis=2)).mean(axis=0))
        low, high = np.quantile(many, (0.025, 0.975))
        print(
            f"{name:20s}"
            + "".join(f"{f'{a:.2f} / {b:.2f}':>13s}" for a, b in zip(early[:, 1], late[:, 1], strict=True))
            + f"{early[:, 0].mean():8.2f} {late[:, 0].mean():5.2f}"
            + f"{np.exp(np.log(hits.mean(axis=1)).mean()):8.3f} ({low:.3f} to {high:.3f})",
            flush=True,
        )


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--first", type=int, default=100)
    parser.add_argument("--seeds", type=int, default=20)
    args = parser.parse_args()
    main(args.first, args.seeds)
