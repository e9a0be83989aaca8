"""How good are the marks: answers against the true contacts of a session.

An answer counts from confidence 0.5. It is right if its time meets the first report of a completed
contact within 2 s and its frequency is within 50 Hz (CW) or 150 Hz (voice). Each completed contact
can be found once. A mark of a further report of the contact, or of a station that was called but
not worked, at the right frequency counts neither way. A mark taken back counts as wrong.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from hearmark.events import Answer, Mode
from hearmark.marks import SURE, settled, tolerance_hz
from hearmark.simulate.session import Contact

SLACK_S = 2.0
"""How far from the true reply a mark's time may lie."""

Judgement = Literal["right", "again", "not worked", "wrong", "taken back"]
"""again: a further mark of a found contact, or of its further reports; not worked: called, not completed.
These two count neither way; wrong and taken back count against precision."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What one answer was worth; `contact` is the index of the true contact it meets, if any."""

    answer: Answer
    judgement: Judgement
    contact: int | None = None
    delay_s: float | None = None


@dataclass(frozen=True, slots=True)
class Trial:
    """The answers of one session (newest state of each) beside its truth."""

    answers: tuple[Answer, ...]
    contacts: tuple[Contact, ...]
    mode: Mode


@dataclass(frozen=True, slots=True)
class Score:
    """Counts over one or many trials. `completed`: true contacts to find."""

    completed: int
    right: int
    wrong: int
    delays_s: tuple[float, ...]

    @property
    def recall(self) -> float | None:
        """Share of the completed contacts that were found; None if there were none."""
        return self.right / self.completed if self.completed else None

    @property
    def precision(self) -> float | None:
        """Share of the counting marks that were right; None if there were none."""
        marks = self.right + self.wrong
        return self.right / marks if marks else None

    @property
    def median_delay_s(self) -> float | None:
        """Median time from the start of the true reply to the mark; None if none was right."""
        return statistics.median(self.delays_s) if self.delays_s else None


def trial(answers: Iterable[Answer], contacts: Iterable[Contact], mode: Mode) -> Trial:
    """Answers in any states, in the order they came, and the truth."""
    return Trial(settled(answers, mode), tuple(contacts), mode)


def verdicts(of: Trial, threshold: float = SURE) -> tuple[Verdict, ...]:
    """Judge each answer whose confidence is at least `threshold`, in the order they were marked."""
    judged: list[Verdict] = []
    found: set[int] = set()
    for answer in sorted(of.answers, key=lambda a: a.marked_at_s):
        if answer.confidence < threshold:
            continue
        if answer.retracted_at_s is not None:
            judged.append(Verdict(answer, "taken back"))
            continue
        met = _met(answer, of.contacts, tolerance_hz(of.mode))
        if met is None:
            judged.append(Verdict(answer, "wrong"))
            continue
        index, report = met
        contact = of.contacts[index]
        if not contact.completed:
            judged.append(Verdict(answer, "not worked", index))
        elif report > 0 or index in found:
            judged.append(Verdict(answer, "again", index))
        else:
            found.add(index)
            judged.append(Verdict(answer, "right", index, answer.marked_at_s - contact.reports[0][0]))
    return tuple(judged)


def score(trials: Trial | Sequence[Trial], threshold: float = SURE) -> Score:
    """Count one trial, or several together."""
    every = [trials] if isinstance(trials, Trial) else trials
    judged = [verdict for one in every for verdict in verdicts(one, threshold)]
    return Score(
        completed=sum(contact.completed and bool(contact.reports) for one in every for contact in one.contacts),
        right=sum(verdict.judgement == "right" for verdict in judged),
        wrong=sum(verdict.judgement in ("wrong", "taken back") for verdict in judged),
        delays_s=tuple(verdict.delay_s for verdict in judged if verdict.delay_s is not None),
    )


def best_recall(trials: Trial | Sequence[Trial], precision: float, lowest: float = 0.0) -> tuple[float, float] | None:
    """(recall, threshold) of the best recall whose precision is at least `precision`.

    Every confidence that occurs, from `lowest` up, is tried as the threshold; of equal recalls the
    highest threshold wins. None if no threshold gives that precision, or there is nothing to find.
    """
    every = [trials] if isinstance(trials, Trial) else trials
    best: tuple[float, float] | None = None
    for threshold in sorted({a.confidence for one in every for a in one.answers if a.confidence >= lowest}):
        result = score(every, threshold)
        enough = result.precision is not None and result.precision >= precision
        if enough and result.recall is not None and (best is None or result.recall >= best[0]):
            best = (result.recall, threshold)
    return best


def _met(answer: Answer, contacts: Sequence[Contact], within_hz: float) -> tuple[int, int] | None:
    """(contact, report) that this answer meets in time and frequency, the nearest in time if several do."""
    stop_s = answer.start_s if answer.stop_s is None else answer.stop_s
    best: tuple[float, int, int] | None = None
    for index, contact in enumerate(contacts):
        if abs(answer.frequency_hz - contact.frequency_hz) > within_hz:
            continue
        for report, (from_s, to_s) in enumerate(contact.reports):
            if answer.start_s <= to_s + SLACK_S and stop_s >= from_s - SLACK_S:
                candidate = (abs(answer.start_s - from_s), index, report)
                best = candidate if best is None else min(best, candidate)
    return None if best is None else best[1:]
