"""From what the reader saw, step by step, to text with a probability for every character.

A prefix beam search over the reader's output (connectionist temporal classification; the search after A. Hannun et al.,
arXiv:1408.2873, 2014, from memory), with what is likely to follow as a prior: of two languages, exchanges and random
groups, each hypothesis keeps the odds. The prior enters with the power `PRIOR`, so that it settles what is in doubt
and overrules nothing that was heard well. No decision falls before `LAG` steps: until then doubt is carried on.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources

import numba
import numpy as np
import numpy.typing as npt

from hearmark.modes.alphabet import ALPHABET

KEPT = 6
"""Symbols kept of each step: the likeliest ones."""
WIDTH = 20
PRIOR, REWARD = 0.5, 1.5
"""Power of the prior, and what each character earns in return, so that text is not shortened."""
HAZARD = 0.015
"""Chance per character that exchange turns to random groups, or back."""
LAG = 64
"""Steps (2 s) after which the probability of a character is settled."""
NEAR = 4
"""Steps within which two hypotheses mean the same character."""
_UNLIKELY = -9.0
_NEVER = -1e30
_NODES = 3_072
_FEED = 16
"""Steps at a time: each adds at most WIDTH * KEPT nodes."""
_LETTERS = len(ALPHABET)
_GROUP_ENDS = (0.0, 0.05, 0.05, 0.06, 0.08, 0.45, 0.3, 0.3)
"""Chance that a random group ends after so many characters: five are the rule (common practice, no source)."""

Symbols = npt.NDArray[np.int8]
Chances = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Copy:
    """`text`; for each of its characters `sure`, the probability, and `step`, when the reader had it (float, int)."""

    text: str
    sure: tuple[float, ...]
    step: tuple[int, ...]


NOTHING = Copy("", (), ())


@numba.njit(cache=True)
def likeliest(logits: npt.NDArray[np.float32]) -> tuple[Symbols, Chances]:
    """The `KEPT` likeliest symbols of each step and the logarithms of their chances, (streams, steps, KEPT) both."""
    streams, steps, count = logits.shape
    symbols = np.zeros((streams, steps, KEPT), np.int8)
    chances = np.zeros((streams, steps, KEPT), np.float32)
    for i in range(streams):
        for t in range(steps):
            row = logits[i, t]
            top = row.max()
            total = 0.0
            for s in range(count):
                total += np.exp(row[s] - top)
            log_total = top + np.log(total)
            least = np.float32(-1e30)
            filled = 0
            for s in range(count):
                value = row[s] - log_total
                if filled == KEPT and value <= least:
                    continue
                at = min(filled, KEPT - 1)
                while at > 0 and chances[i, t, at - 1] < value:
                    chances[i, t, at] = chances[i, t, at - 1]
                    symbols[i, t, at] = symbols[i, t, at - 1]
                    at -= 1
                chances[i, t, at] = value
                symbols[i, t, at] = s
                filled = min(filled + 1, KEPT)
                least = chances[i, t, KEPT - 1] if filled == KEPT else np.float32(-1e30)
    return symbols, chances


@cache
def _prior() -> tuple[Chances, Chances]:
    """Log chances of a character after two in exchanges, flat (n^3,), and in random groups after so many, (8, n)."""
    with resources.files("hearmark.modes").joinpath("language.npz").open("rb") as file:
        exchange = np.load(file)["exchange"].astype(np.float32).ravel()
    group = np.full((len(_GROUP_ENDS), _LETTERS), 1e-4)
    for so_far, ends in enumerate(_GROUP_ENDS):
        group[so_far, 1:37], group[so_far, 0] = (1.0 - ends) / 36.0, max(ends, 1e-4)
    return exchange, np.log(group / group.sum(axis=1, keepdims=True)).astype(np.float32)


def exchange_prior() -> Chances:
    """Logarithms of the chances of a character after two others in exchanges, flat (n^3,), indices of ALPHABET."""
    return _prior()[0]


class Copyist:
    """Copies one transmission: `feed` steps in order, `copy` what stands so far."""

    def __init__(self) -> None:
        self._prior = _prior()
        self._tree = np.zeros((2, _NODES), np.int32)  # parent, symbol (index into ALPHABET)
        self._when = np.zeros(_NODES, np.int64)
        self._weight = np.full(
            (2, _NODES), 0.5, np.float32
        )  # odds of exchange; the character's probability, -1: to come
        self._tree[0, 0], self._when[0] = -1, -(10**6)
        self._beam = np.zeros(WIDTH, np.int32)
        self._score = np.full((2, WIDTH), _NEVER)
        self._score[0, 0] = 0.0
        self._count = np.array([1, 1, 0], np.int64)  # hypotheses, nodes, steps
        self._settled: list[tuple[int, float, int]] = []

    def feed(self, symbols: Symbols, chances: Chances) -> None:
        """Steps of one stream, see `likeliest`: (steps, KEPT) both."""
        exchange, group = self._prior
        for k in range(0, len(symbols), _FEED):
            if self._count[1] > _NODES // 2:
                self._settle()
            _advance(
                symbols[k : k + _FEED], chances[k : k + _FEED], exchange, group, self._tree, self._when, self._weight,
                self._beam, self._score, self._count,
            )  # fmt: skip

    def copy(self) -> Copy:
        """The likeliest text so far, its last characters with what is known of them by now."""
        path, sure = _best(self._tree, self._when, self._weight, self._beam, self._score, self._count)
        found = self._settled + [
            (int(self._tree[1, n]), float(p), int(self._when[n])) for n, p in zip(path, sure, strict=True)
        ]
        while found and found[0][0] == 0:
            found = found[1:]
        while found and found[-1][0] == 0:
            found = found[:-1]
        text = "".join(ALPHABET[symbol] for symbol, _, _ in found)
        return Copy(text, tuple(p for _, p, _ in found), tuple(step for _, _, step in found))

    def _settle(self) -> None:
        """Let go of what all hypotheses share, and of hypotheses if they share too little."""
        path, sure = _best(self._tree, self._when, self._weight, self._beam, self._score, self._count)
        parent = self._tree[0]
        lines = []
        for node in self._beam[: self._count[0]]:
            line = []
            while node > 0:
                line.append(int(node))
                node = parent[node]
            lines.append(line[::-1])
        shared = 0
        while all(len(line) > shared and line[shared] == path[shared] for line in lines):
            shared += 1
        if len(path) - shared > 40:  # hypotheses that differ for so long: only the best goes on
            best = int(np.argmax(np.logaddexp(*self._score[:, : self._count[0]])))
            self._beam[0], self._score[:, 0], self._count[0] = self._beam[best], self._score[:, best].copy(), 1
            lines, shared = [lines[best]], len(path) - 1
        gone = max(0, min(shared, len(path)) - 9)  # what the prior still looks back at stays
        self._settled += [
            (int(self._tree[1, n]), float(p), int(self._when[n])) for n, p in zip(path[:gone], sure[:gone], strict=True)
        ]
        kept = sorted({node for line in lines for node in line[gone:]})
        new = {old: number for number, old in enumerate(kept, 1)}
        root = int(path[gone - 1]) if gone else 0
        moved = [root, *kept]
        tree, when, weight = self._tree[:, moved].copy(), self._when[moved].copy(), self._weight[:, moved].copy()
        tree[0, 1:] = [new.get(int(p), 0) for p in tree[0, 1:]]
        tree[0, 0] = -1
        size = len(moved)
        self._tree[:, :size], self._when[:size], self._weight[:, :size] = tree, when, weight
        self._beam[: self._count[0]] = [new.get(int(n), 0) for n in self._beam[: self._count[0]]]
        self._count[1] = size


@numba.njit(cache=True)
def _advance(symbols, chances, exchange, group, tree, when, weight, beam, score, count) -> None:  # type: ignore[no-untyped-def]
    parent, symbol = tree[0], tree[1]
    most = WIDTH * (KEPT + 1)
    node = np.zeros(most, np.int32)
    blank = np.zeros(most)
    letter = np.zeros(most)
    total = np.zeros(most)
    for t in range(len(symbols)):
        now = count[2]
        held = count[0]
        log_blank = _UNLIKELY
        for k in range(KEPT):
            if symbols[t, k] == 0:
                log_blank = chances[t, k]
        for i in range(held):
            node[i] = beam[i]
            blank[i] = np.logaddexp(score[0, i], score[1, i]) + log_blank
            letter[i] = _NEVER
            if beam[i] > 0:
                again = _UNLIKELY
                for k in range(KEPT):
                    if symbols[t, k] == symbol[beam[i]] + 1:
                        again = chances[t, k]
                letter[i] = score[1, i] + again
        m = held
        for k in range(KEPT):
            c = symbols[t, k] - 1
            log_c = chances[t, k]
            if c < 0 or log_c < _UNLIKELY + 2.0:
                continue
            for i in range(held):
                b = beam[i]
                known = b > 0 or (parent[b] == -1 and when[b] >= 0)
                last = symbol[b] if known else 0
                before = symbol[parent[b]] if b > 0 and (parent[b] > 0 or when[parent[b]] >= 0) else 0
                if c == 0 and last == 0:
                    continue
                value = score[0, i] if known and c == last else np.logaddexp(score[0, i], score[1, i])
                value += log_c
                if value < -1e20:
                    continue
                odds = weight[0, b] * (1.0 - HAZARD) + 0.5 * HAZARD
                as_exchange = odds * np.exp(exchange[(before * _LETTERS + last) * _LETTERS + c])
                so_far, n = 0, b
                while n > 0 and symbol[n] != 0 and so_far < 7:
                    so_far += 1
                    n = parent[n]
                either = as_exchange + (1.0 - odds) * np.exp(group[so_far, c])
                value += PRIOR * np.log(either) + REWARD
                same = -1
                for j in range(held):
                    if node[j] > 0 and parent[node[j]] == b and symbol[node[j]] == c:
                        same = j
                if same >= 0:
                    letter[same] = np.logaddexp(letter[same], value)
                elif count[1] < len(parent) and m < most:
                    n = count[1]
                    count[1] += 1
                    parent[n], symbol[n], when[n] = b, c, now
                    weight[0, n], weight[1, n] = as_exchange / either, -1.0
                    node[m], blank[m], letter[m] = n, _NEVER, value
                    m += 1
        for j in range(m):
            total[j] = -np.logaddexp(blank[j], letter[j])
        order = np.argsort(total[:m])
        best = -total[order[0]]
        held = 0
        for j in order[:WIDTH]:
            if -total[j] < best - 14.0:
                break
            beam[held], score[0, held], score[1, held] = node[j], blank[j] - best, letter[j] - best
            held += 1
        count[0] = held
        count[2] += 1
        n = beam[0]
        while n > 0 and weight[1, n] < 0.0:
            if when[n] <= now - LAG:
                weight[1, n] = _agreed(n, tree, when, beam, score, held)
            n = parent[n]


@numba.njit(cache=True)
def _agreed(n, tree, when, beam, score, held) -> float:  # type: ignore[no-untyped-def]
    """Share of the hypotheses' weight in which the character of node `n` stands, after the same one."""
    parent, symbol = tree[0], tree[1]
    yes = 0.0
    every = 0.0
    for i in range(held):
        mass = np.exp(np.logaddexp(score[0, i], score[1, i]))
        every += mass
        b = beam[i]
        while b > 0 and when[b] > when[n] + NEAR:
            b = parent[b]
        while b > 0 and when[b] >= when[n] - NEAR:
            if b == n or (symbol[b] == symbol[n] and symbol[parent[b]] == symbol[parent[n]]):
                yes += mass
                break
            b = parent[b]
    return yes / every


@numba.njit(cache=True)
def _best(tree, when, weight, beam, score, count):  # type: ignore[no-untyped-def]
    """Nodes of the likeliest hypothesis, oldest first, and the probability of each."""
    held = count[0]
    best = 0
    for i in range(held):
        if np.logaddexp(score[0, i], score[1, i]) > np.logaddexp(score[0, best], score[1, best]):
            best = i
    length = 0
    n = beam[best]
    while n > 0:
        length += 1
        n = tree[0, n]
    path = np.zeros(length, np.int32)
    sure = np.zeros(length)
    n = beam[best]
    for k in range(length - 1, -1, -1):
        path[k] = n
        sure[k] = weight[1, n] if weight[1, n] >= 0.0 else _agreed(n, tree, when, beam, score, held)
        n = tree[0, n]
    return path, sure


def warm() -> None:
    """Compile the loops."""
    symbols, chances = likeliest(np.zeros((1, 2, _LETTERS + 1), np.float32))
    copyist = Copyist()
    copyist.feed(symbols[0], chances[0])
    copyist.copy()
