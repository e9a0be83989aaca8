"""Morse as marks and gaps of certain lengths: the search for the texts that explain a carrier's power best.

A semi-Markov decoder (explicit durations; S. E. Levinson, Computer Speech and Language 1, 29, 1986, from memory): marks
and gaps have lengths that vary about those of one hand, frames have powers that vary about those of the key held down
or up, as seen through the window of the transform. A beam over time; each entry keeps the text so far, and characters
follow as in exchanges, or as they like.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numba
import numpy as np
import numpy.typing as npt

from hearmark.modes.alphabet import ALPHABET
from hearmark.modes.copyist import exchange_prior

CODES = {
    "A": ".-", "B": "-...", "C": "-.-.", "D": "-..", "E": ".", "F": "..-.", "G": "--.", "H": "....", "I": "..",
    "J": ".---", "K": "-.-", "L": ".-..", "M": "--", "N": "-.", "O": "---", "P": ".--.", "Q": "--.-", "R": ".-.",
    "S": "...", "T": "-", "U": "..-", "V": "...-", "W": ".--", "X": "-..-", "Y": "-.--", "Z": "--..",
    "1": ".----", "2": "..---", "3": "...--", "4": "....-", "5": ".....", "6": "-....", "7": "--...", "8": "---..",
    "9": "----.", "0": "-----", "?": "..--..", "/": "-..-.", "=": "-...-", "+": ".-.-.", "&": "-...-.-",
}  # fmt: skip
"""ITU-R M.1677-1."""
EDGE = 4
"""Frames from an edge of the key until the window lies on one side of it."""
LEVELS = 17
"""Steps of amplitude between none and that of the key held down."""
WEIGHT = 0.40
"""What a frame tells, in independent looks: windows of 64 ms every 8 ms overlap (measured: most texts right)."""
UNEVEN, LEAK = 0.06, 0.01
"""Power that a mark strays from what is expected, in shares of its own, and of the key held down anywhere."""
OTHER, OTHER_POWER = 0.002, 50.0
"""Chance that a frame holds something else, and its usual power over the noise."""
JITTER, GAP_JITTER, HEAVY = 0.12, 0.17, 0.08
"""Spread of marks and gaps, in shares of their length; this share of all strays three times as far."""
DASH_SPREAD = 0.12
LETTER_GAP, WORD_GAP = 3.0, 7.0
LM_POWER = 0.7
NEW_CHARACTER = -0.5
BEAM, NARROW_BEAM = 16.0, 13.0
"""How far an entry may fall behind: in the last search, and in the first, which only finds the hand and the levels."""
USUAL = 0.22
"""What a frame of the right text usually falls short of the ideal: makes entries of different times comparable."""
KEPT, KEPT_ROOT = 3, 6
MOST_FRAMES = 1_500
SLACK = 1e-6
"""For what rounding may do to a sum that is taken in another order."""
_ARENA = 60_000
_NEVER = -1e30

Float = npt.NDArray[np.float64]


@cache
def priors() -> tuple[Float, Float]:
    """Logarithms of the chances, with their weight, of a character after two others, and of a space as that character;
    flat as in `exchange_prior`."""
    chance = 0.7 * np.exp(np.asarray(exchange_prior(), np.float64))
    return NEW_CHARACTER + LM_POWER * np.log(chance + 0.3 / 38.0), LM_POWER * np.log(chance + 0.3 / 8.0)


@cache
def tree() -> tuple[npt.NDArray[np.int16], npt.NDArray[np.int16]]:
    """Children (nodes, 2) of every beginning of a character, by dot and dash, and the character that ends there."""
    nodes = {"": 0}
    for code in CODES.values():
        for k in range(1, len(code) + 1):
            nodes.setdefault(code[:k], len(nodes))
    child = np.full((len(nodes), 2), -1, np.int16)
    letter = np.full(len(nodes), -1, np.int16)
    for code, number in nodes.items():
        for k, element in enumerate(".-"):
            child[number, k] = nodes.get(code + element, -1)
    for c, code in CODES.items():
        letter[nodes[code]] = ALPHABET.index(c)
    return child, letter


@cache
def profile() -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Expected amplitude (index of LEVELS) in each frame of a mark, and of a gap, of up to 2 * EDGE frames."""

    def inside(
        frames: npt.NDArray[Any],
    ) -> npt.NDArray[Any]:  # share of a Hann window on the near side of an edge so many frames away
        x = np.clip(frames / EDGE, -1.0, 1.0)
        return np.asarray(0.5 + 0.5 * x + np.sin(np.pi * x) / (2 * np.pi))

    mark = np.zeros((2 * EDGE + 1, 2 * EDGE), np.int64)
    for length in range(1, 2 * EDGE + 1):
        k = np.arange(length) + 0.5
        amplitude = np.clip(inside(k) + inside(length - k) - 1.0, 0.0, 1.0)
        mark[length, :length] = np.round(amplitude * (LEVELS - 1))
    return mark, np.where(np.arange(2 * EDGE) < np.arange(2 * EDGE + 1)[:, None], LEVELS - 1 - mark, 0)


@numba.njit(cache=True)
def _log_i0(x: float) -> float:
    """Logarithm of the modified Bessel function of order 0 (Abramowitz and Stegun, 9.8.1 and 9.8.2)."""
    if x < 3.75:
        y = (x / 3.75) ** 2
        high = y * (0.2659732 + y * (0.0360768 + y * 0.0045813))
        return float(np.log(1.0 + y * (3.5156229 + y * (3.0899424 + y * (1.2067492 + high)))))
    y = 3.75 / x
    series = 0.39894228 + y * (0.01328592 + y * (0.00225319 + y * (-0.00157565 + y * (0.00916281 + y * (
        -0.02057706 + y * (0.02635537 + y * (-0.01647633 + y * 0.00392377)))))))  # fmt: skip
    return float(x - 0.5 * np.log(x) + np.log(series))


@numba.njit(cache=True)
def _log_duration(d: float, mean: float, spread: float) -> float:
    """Logarithm of the chance of a length of `d` frames: normal, and a few stray further."""
    s = np.sqrt((spread * mean) ** 2 + 0.35**2)
    x = (d - mean) / s
    wide = x / 3.0
    return float(np.log((1.0 - HEAVY) * np.exp(-0.5 * x * x) + HEAVY / 3.0 * np.exp(-0.5 * wide * wide) + 1e-9)
                 - np.log(s * 2.5066283))  # fmt: skip


@numba.njit(cache=True)
def _frames(ratio, level):  # type: ignore[no-untyped-def]
    """Logarithm of the chance of each frame at every amplitude, (frames, LEVELS)."""
    table = np.empty((len(ratio), LEVELS))
    for t in range(len(ratio)):
        r = ratio[t]
        other = OTHER * np.exp(-r / OTHER_POWER) / OTHER_POWER
        for j in range(LEVELS):
            m = level[t] * (j / (LEVELS - 1.0)) ** 2
            v = 1.0 + UNEVEN * m + LEAK * level[t]
            log_p = -(r + m) / v - np.log(v) + _log_i0(2.0 * np.sqrt(r * m) / v)
            table[t, j] = WEIGHT * np.log((1.0 - OTHER) * np.exp(max(log_p, -60.0)) + other + 1e-30)
    return table


@numba.njit(cache=True)
def _segment(t, d, table, total, rising, falling, short):  # type: ignore[no-untyped-def]
    """Logarithm of the chance of a mark, or a gap, of `d` frames from `t` on."""
    if d <= 2 * EDGE:
        value = 0.0
        for k in range(d):
            value += table[t + k, short[d, k]]
        return value
    return rising[t] + total[t + d - EDGE] - total[t + EDGE] + falling[t + d]


@numba.njit(cache=True)
def _sums(table, full, rise):  # type: ignore[no-untyped-def]
    """Of a segment: running sum of its inside, of its first frames from t on, and of its last frames up to t."""
    n = len(table)
    total = np.zeros(n + 1)
    first = np.zeros(n + 1)
    last = np.zeros(n + 1)
    for t in range(n):
        total[t + 1] = total[t] + table[t, full]
    for t in range(n + 1):
        for k in range(EDGE):
            if t + k < n:
                first[t] += table[t + k, rise[k]]
            if t - 1 - k >= 0:
                last[t] += table[t - 1 - k, rise[k]]
    return total, first, last


@numba.njit(cache=True)
def _put(slot, held, room, n, score, text):  # type: ignore[no-untyped-def]
    """Keep arena entry `n` in a slot of `room`, best first, one for each text. Returns how many are held."""
    at = held
    for k in range(held):
        if text[slot[k]] == text[n]:
            if score[slot[k]] >= score[n]:
                return held
            for j in range(k, held - 1):
                slot[j] = slot[j + 1]
            held -= 1
            break
    at = held
    while at > 0 and score[slot[at - 1]] < score[n]:
        at -= 1
    if at >= room:
        return held
    last = min(held, room - 1)
    for j in range(last, at, -1):
        slot[j] = slot[j - 1]
    slot[at] = n
    return min(held + 1, room)


@numba.njit(cache=True)
def search(ratio, level, unit, dash, kept, child, letter, short_mark, short_gap, character, ending):  # type: ignore[no-untyped-def]
    """Texts of `ratio` for one hand: dots of `unit` frames, dashes of `dash` dots, `level` of the key held down.

    `kept`: entries of each time and beginning of a character; then `tree`, `profile` and `priors`. Returns the arena
    (scores, parents, times, nodes, signs: a character, -2 a dot, -3 a dash, -100 less a character before a space), its
    entries that end the text, how many, and the ideal score.
    """
    frames, nodes, letters = len(ratio), len(child), 45
    beam = BEAM if kept > 1 else NARROW_BEAM
    table = _frames(ratio, level)
    rise_mark, rise_gap = short_mark[2 * EDGE, :EDGE], short_gap[2 * EDGE, :EDGE]
    mark_sum, mark_first, mark_last = _sums(table, LEVELS - 1, rise_mark)
    gap_sum, gap_first, gap_last = _sums(table, 0, rise_gap)
    ideal = np.zeros(frames + 1)
    for t in range(frames):
        ideal[t + 1] = ideal[t] + table[t].max() - USUAL
    # lengths that are tried, and their logarithms
    dot_low, dot_high = max(2, int(0.55 * unit)), max(3, int(1.6 * unit + 1.5))
    dash_low, dash_high = max(4, int(0.62 * dash * unit)), int(1.4 * dash * unit + 1.5)
    gap_low, gap_high = max(2, int(0.45 * unit)), max(3, int(1.75 * unit + 1.5))
    between_low, between_high = max(4, int(1.75 * unit)), int(4.8 * unit + 1.5)
    word_low, word_high = int(4.4 * unit), int(13.0 * unit)
    log_dot = np.array([_log_duration(d, unit, JITTER) for d in range(dot_high + 1)])
    log_dash = np.array([_log_duration(d, dash * unit, DASH_SPREAD) for d in range(dash_high + 1)])
    log_gap = np.array([_log_duration(d, unit, GAP_JITTER) for d in range(gap_high + 1)])
    log_between = np.array([_log_duration(d, LETTER_GAP * unit, GAP_JITTER) for d in range(between_high + 1)])
    log_word = np.array([_log_duration(d, WORD_GAP * unit, 1.4 * GAP_JITTER) for d in range(word_high + 1)])
    score = np.empty(_ARENA)
    text = np.empty(_ARENA, np.uint64)
    parent = np.empty(_ARENA, np.int32)
    when = np.empty(_ARENA, np.int32)
    node = np.empty(_ARENA, np.int16)
    sign = np.empty(_ARENA, np.int16)
    pair = np.empty(_ARENA, np.int32)  # the last two characters
    used = 0
    at_mark = np.zeros((frames + 1, nodes, kept), np.int32)
    n_mark = np.zeros((frames + 1, nodes), np.int32)
    at_gap = np.zeros((frames + 1, nodes, kept), np.int32)
    n_gap = np.zeros((frames + 1, nodes), np.int32)
    room = KEPT_ROOT if kept > 1 else 2
    at_root = np.zeros((frames + 1, room), np.int32)
    n_root = np.zeros(frames + 1, np.int32)
    ends = np.zeros(32, np.int32)
    n_ends = 0
    reach = np.full(frames + 1, _NEVER)
    as_dot, as_dash = np.empty(dot_high + 1), np.empty(dash_high + 1)
    as_gap, as_between = np.empty(gap_high + 1), np.empty(between_high + 1)
    as_word = np.empty(word_high + 1)
    for t in range(frames + 1):
        full = used > _ARENA - 8_000  # never met in tests: a search so wide ends early
        # the first key-down
        if EDGE < t < frames - 2 * EDGE and not full:
            value = gap_sum[t - EDGE] + gap_last[t] - 4.0
            score[used], text[used], parent[used], when[used] = value, 0, -1, t
            node[used], sign[used], pair[used] = 0, -1, 0
            n_root[t] = _put(at_root[t], n_root[t], room, used, score, text)
            used += 1
        near = _NEVER  # how far the best fall short of the ideal about here
        for k in range(max(0, t - 12), t + 1):
            near = max(near, reach[k])
        near -= beam
        if full or reach[t] < near:
            continue
        marked = spaced = False
        best_dot = best_dash = best_gap = best_between = best_word = _NEVER  # of any length, over the ideal there
        # a mark follows
        for b in range(nodes):
            held = n_root[t] if b == 0 else n_gap[t, b]
            for k in range(held):
                s = at_root[t, k] if b == 0 else at_gap[t, b, k]
                if score[s] - ideal[t] < near:
                    break
                if not marked:
                    marked = True
                    for d in range(dot_low, min(dot_high, frames - t) + 1):
                        as_dot[d] = log_dot[d] + _segment(t, d, table, mark_sum, mark_first, mark_last, short_mark)
                        best_dot = max(best_dot, as_dot[d] - ideal[t + d])
                    for d in range(dash_low, min(dash_high, frames - t) + 1):
                        as_dash[d] = log_dash[d] + _segment(t, d, table, mark_sum, mark_first, mark_last, short_mark)
                        best_dash = max(best_dash, as_dash[d] - ideal[t + d])
                for long in range(2):
                    c = child[b, long]
                    if c < 0 or score[s] + (best_dash if long else best_dot) < near - SLACK:
                        continue
                    low, high = (dash_low, dash_high) if long else (dot_low, dot_high)
                    for d in range(low, min(high, frames - t) + 1):
                        value = score[s] + (as_dash[d] if long else as_dot[d])
                        short = value - ideal[t + d]
                        if short < near or short < reach[t + d] - beam:
                            continue
                        if n_mark[t + d, c] == kept and score[at_mark[t + d, c, kept - 1]] >= value:
                            continue
                        reach[t + d] = max(reach[t + d], short)
                        score[used], text[used], parent[used], when[used] = value, text[s], s, t + d
                        node[used], sign[used], pair[used] = c, -3 if long else -2, pair[s]
                        n_mark[t + d, c] = _put(at_mark[t + d, c], n_mark[t + d, c], kept, used, score, text)
                        used += 1
        # a gap follows
        for b in range(1, nodes):
            for k in range(n_mark[t, b]):
                s = at_mark[t, b, k]
                if score[s] - ideal[t] < near or used > _ARENA - 2_000:
                    break
                if not spaced:
                    spaced = True
                    for d in range(gap_low, min(gap_high, frames - t) + 1):
                        as_gap[d] = log_gap[d] + _segment(t, d, table, gap_sum, gap_first, gap_last, short_gap)
                        best_gap = max(best_gap, as_gap[d] - ideal[t + d])
                    for d in range(between_low, min(between_high, frames - t) + 1):
                        as_between[d] = log_between[d] + _segment(t, d, table, gap_sum, gap_first, gap_last, short_gap)
                        best_between = max(best_between, as_between[d] - ideal[t + d])
                    for d in range(word_low, min(word_high, frames - t) + 1):
                        as_word[d] = log_word[d] + _segment(t, d, table, gap_sum, gap_first, gap_last, short_gap)
                        best_word = max(best_word, as_word[d] - ideal[t + d])
                if (child[b, 0] >= 0 or child[b, 1] >= 0) and score[s] + best_gap >= near - SLACK:
                    for d in range(gap_low, min(gap_high, frames - t) + 1):
                        value = score[s] + as_gap[d]
                        short = value - ideal[t + d]
                        if short < near or short < reach[t + d] - beam:
                            continue
                        if n_gap[t + d, b] == kept and score[at_gap[t + d, b, kept - 1]] >= value:
                            continue
                        reach[t + d] = max(reach[t + d], short)
                        score[used], text[used], parent[used], when[used] = value, text[s], s, t + d
                        node[used], sign[used], pair[used] = b, -1, pair[s]
                        n_gap[t + d, b] = _put(at_gap[t + d, b], n_gap[t + d, b], kept, used, score, text)
                        used += 1
                c = letter[b]
                if c < 0:
                    continue
                before, last = pair[s] // 64, pair[s] % 64
                prior = character[(before * letters + last) * letters + c]
                grown = text[s] * np.uint64(1_000_003) + np.uint64(c + 1)
                # the last key-up
                if frames - t > EDGE:
                    score[used] = score[s] + prior + gap_first[t] + gap_sum[frames] - gap_sum[t + EDGE] - 2.0
                    text[used], parent[used], when[used], sign[used] = grown, s, frames, c
                    n_ends = _put(ends, n_ends, 12, used, score, text)
                    used += 1
                space = ending[(last * letters + c) * letters]
                spaced_text = grown * np.uint64(1_000_003) + np.uint64(1)
                for word in range(2):
                    offset = score[s] + prior + (space if word else 0.0)
                    if offset + (best_word if word else best_between) < near - SLACK:
                        continue
                    low, high, step = (word_low, word_high, 2) if word else (between_low, between_high, 1)
                    for d in range(low + (low % 2 if word else 0), min(high, frames - t) + 1, step):
                        value = offset + (as_word[d] if word else as_between[d])
                        short = value - ideal[t + d]
                        if short < near or short < reach[t + d] - beam:
                            continue
                        if n_root[t + d] == room and score[at_root[t + d, room - 1]] >= value:
                            continue
                        reach[t + d] = max(reach[t + d], short)
                        score[used], text[used] = value, spaced_text if word else grown
                        parent[used], when[used], node[used] = s, t + d, 0
                        sign[used], pair[used] = (-100 - c, c * 64) if word else (c, last * 64 + c)
                        n_root[t + d] = _put(at_root[t + d], n_root[t + d], room, used, score, text)
                        used += 1
    return (score, parent, when, node, sign), ends, n_ends, ideal[frames]
