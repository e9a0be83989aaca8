"""Morse keying: perfect timing, and the timing of a person's hand.

Codes and lengths follow Recommendation ITU-R M.1677-1: dash 3 units, gap inside a character 1, between
characters 3, between words 7. One unit is 1.2 s / WPM (the word PARIS is 50 units). How far human hands
stray from it is common practice, no source.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from functools import lru_cache

import numba
import numpy as np
import numpy.typing as npt

from hearmark.errors import HearmarkError
from hearmark.units import dit_s

CODES: dict[str, str] = {
    "A": ".-", "B": "-...", "C": "-.-.", "D": "-..", "E": ".", "F": "..-.", "G": "--.", "H": "....", "I": "..",
    "J": ".---", "K": "-.-", "L": ".-..", "M": "--", "N": "-.", "O": "---", "P": ".--.", "Q": "--.-", "R": ".-.",
    "S": "...", "T": "-", "U": "..-", "V": "...-", "W": ".--", "X": "-..-", "Y": "-.--", "Z": "--..", "É": "..-..",
    "1": ".----", "2": "..---", "3": "...--", "4": "....-", "5": ".....", "6": "-....", "7": "--...", "8": "---..",
    "9": "----.", "0": "-----", ".": ".-.-.-", ",": "--..--", ":": "---...", "?": "..--..", "'": ".----.",
    "-": "-....-", "/": "-..-.", "(": "-.--.", ")": "-.--.-", '"': ".-..-.", "=": "-...-", "+": ".-.-.", "@": ".--.-.",
}  # fmt: skip
"""ITU-R M.1677-1, section 1. Signals run together are written <AR>, <KN>, <BK>, <SK>, <AS> and so on."""

CUT_NUMBERS: dict[str, str] = {"0": "T", "1": "A", "5": "E", "9": "N"}
"""Short forms of figures in reports (common practice, no source)."""

_ELEMENT, _CHARACTER, _WORD, _LAST = 0, 1, 2, 3
_NO_JITTER = np.zeros((2, 0))


@dataclass(frozen=True, slots=True)
class Fist:
    """One hand. Lengths in units of the nominal speed, jitters as relative standard deviations."""

    dash_units: float = 3.0
    element_gap_units: float = 1.0
    character_gap_units: float = 3.0
    word_gap_units: float = 7.0
    dot_jitter: float = 0.0
    dash_jitter: float = 0.0
    gap_jitter: float = 0.0
    run_together: float = 0.0
    """Share of the gaps between characters that come out as short as half a normal one."""


MACHINE = Fist()


@lru_cache(maxsize=65536)
def fist(seed: int) -> Fist:
    """The hand that belongs to `seed`. 0 is a machine: perfect timing.

    Of the others a third send from a memory keyer (perfect elements, now and then a person's gaps), a good
    third with a paddle (good elements, own gaps), the rest with a semi-automatic or straight key.
    """
    if seed == 0:
        return MACHINE
    rng = random.Random(seed * 2654435761 + 97)
    kind = rng.random()
    if kind < 0.18:
        return MACHINE
    if kind < 0.32:
        return Fist(
            dash_units=rng.choice((3.0, 3.0, 2.8, 3.3)),
            element_gap_units=rng.uniform(0.85, 1.15),
            character_gap_units=rng.uniform(2.7, 3.4),
            word_gap_units=rng.uniform(5.5, 8.0),
        )
    character = min(4.6, max(2.1, rng.gauss(3.0, 0.45)))
    word = min(15.0, max(3.4, rng.lognormvariate(1.88, 0.3)))
    run = rng.uniform(0.1, 0.35) if rng.random() < 0.2 else 0.0
    if kind < 0.72:
        return Fist(
            rng.uniform(2.9, 3.2),
            rng.uniform(0.9, 1.1),
            character,
            max(word, character + 0.8),
            rng.uniform(0.0, 0.03),
            rng.uniform(0.0, 0.03),
            rng.uniform(0.06, 0.18),
            run,
        )
    if kind < 0.86:
        return Fist(
            rng.uniform(2.8, 3.6),
            rng.uniform(0.8, 1.2),
            character,
            max(word, character + 0.8),
            rng.uniform(0.01, 0.04),
            rng.uniform(0.08, 0.16),
            rng.uniform(0.1, 0.2),
            run,
        )
    return Fist(
        rng.uniform(2.6, 3.6),
        rng.uniform(0.8, 1.3),
        character,
        max(word, character + 0.8),
        rng.uniform(0.07, 0.13),
        rng.uniform(0.06, 0.13),
        rng.uniform(0.1, 0.2),
        run,
    )


@lru_cache(maxsize=65536)
def _pattern(text: str) -> tuple[tuple[bool, ...], tuple[int, ...], tuple[int, int, int, int, int]]:
    """Marks (True: dash), the kind of gap after each, and the counts (dots, dashes, gaps of three kinds)."""
    dashes: list[bool] = []
    gaps: list[int] = []
    for word in text.upper().split():
        for code in _codes(word):
            for element in code:
                dashes.append(element == "-")
                gaps.append(_ELEMENT)
            gaps[-1] = _CHARACTER
        gaps[-1] = _WORD
    if gaps:
        gaps[-1] = _LAST
    long = sum(dashes)
    counts = (len(dashes) - long, long, gaps.count(_ELEMENT), gaps.count(_CHARACTER), gaps.count(_WORD))
    return tuple(dashes), tuple(gaps), counts


@lru_cache(maxsize=65536)
def _arrays(text: str) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.int64]]:
    """Marks and gaps of `_pattern`."""
    dashes, gaps, _ = _pattern(text)
    return np.array(dashes), np.array(gaps)


def _codes(word: str) -> list[str]:
    codes: list[str] = []
    rest = word
    while rest:
        if rest[0] == "<" and ">" in rest:
            together, rest = rest[1:].split(">", 1)
            characters = [together]
        else:
            characters, rest = [rest[0]], rest[1:]
        try:
            codes.append("".join(CODES[letter] for letter in characters[0]))
        except KeyError as error:
            raise HearmarkError(
                f"Morse has no code for {error.args[0]!r} in {word!r}: use letters, figures, .,:?'-/()\"=+@ "
                "or signals run together such as <AR>."
            ) from None
    return [code for code in codes if code]


def _check(wpm: float) -> None:
    if not 1.0 <= wpm <= 200.0:
        raise HearmarkError(f"Morse speed {wpm!r} WPM is out of range: give 1 to 200 words a minute.")


@lru_cache(maxsize=65536)
def length_s(text: str, wpm: float, fist_seed: int = 0) -> float:
    """Seconds from the first key-down to the last key-up of `text` by this hand; equals the last time of `key`."""
    _check(wpm)
    dots, dashes, inside, between, words = _pattern(text)[2]
    hand = fist(fist_seed)
    gap = hand.character_gap_units * (1.0 - 0.5 * hand.run_together)
    units = dots + dashes * hand.dash_units + inside * hand.element_gap_units + between * gap
    return dit_s(wpm) * (units + words * hand.word_gap_units)


def key(text: str, wpm: float, fist_seed: int, take: int = 0) -> npt.NDArray[np.float64]:
    """Key-down and key-up times of `text`, in seconds from the first key-down, as this hand sends it.

    Returns float64, shape (n, 2), n marks. `take` seeds the jitter of this one transmission, `fist_seed` the
    habits of the hand (see `fist`). The jitter is balanced within the transmission, so that its length is
    `length_s` exactly. Raises HearmarkError for a character without a code or a speed out of 1 to 200 WPM.
    """
    _check(wpm)
    if not _pattern(text)[0]:
        return np.zeros((0, 2))
    hand = fist(fist_seed)
    dash, gap = _arrays(text)
    normal, uniform = _NO_JITTER, _NO_JITTER[0]
    if hand.gap_jitter or hand.dot_jitter or hand.dash_jitter or hand.run_together:
        rng = np.random.default_rng((fist_seed & 0xFFFFFFFF, take & 0xFFFFFFFF))
        normal, uniform = rng.standard_normal((2, len(dash))), rng.random(len(dash))
    lengths = (hand.dash_units, hand.element_gap_units, hand.character_gap_units, hand.word_gap_units)
    jitters = (hand.dot_jitter, hand.dash_jitter, hand.gap_jitter, hand.run_together)
    return _times(dash, gap, lengths, jitters, normal, uniform, length_s(text, wpm, fist_seed))


@numba.njit(cache=True)
def _times(
    dash: npt.NDArray[np.bool_],
    gap: npt.NDArray[np.int64],
    lengths: tuple[float, float, float, float],
    jitters: tuple[float, float, float, float],
    normal: npt.NDArray[np.float64],
    uniform: npt.NDArray[np.float64],
    length_s: float,
) -> npt.NDArray[np.float64]:
    """The rows of `key`. `normal` (2, n) and `uniform` (n,) are the draws; with none of them the timing is perfect."""
    count = len(dash)
    times = np.empty((count, 2))
    spread = max(jitters[0], jitters[2] * 0.4)
    at = 0.0
    for k in range(count):
        mark = lengths[0] if dash[k] else 1.0
        pause = lengths[1 + gap[k]] if gap[k] < _LAST else 0.0
        if len(uniform):
            wrong = min(max(normal[0, k], -2.5), 2.5) * (jitters[1] if dash[k] else jitters[0])
            mark *= max(0.4, 1.0 + wrong)
            wrong = min(max(normal[1, k], -2.5), 2.5) * (spread if gap[k] == _ELEMENT else jitters[2])
            pause *= max(0.4, 1.0 + wrong)
            if gap[k] == _CHARACTER and uniform[k] < jitters[3]:
                pause *= 0.5
        at += mark + pause
        times[k, 1] = at - pause
        times[k, 0] = times[k, 1] - mark
    times *= length_s / times[-1, 1]
    return times


def ideal(text: str, wpm: float) -> npt.NDArray[np.float64]:
    """`key` with perfect timing: float64, shape (n, 2), seconds."""
    return key(text, wpm, 0)


def cut(
    text: str, wpm: float, fist_seed: int, take: int, heard_s: float, limit_s: float
) -> tuple[str, npt.NDArray[np.float64]]:
    """What was sent of `text` when its sender broke off: whole characters that end by `limit_s`.

    The character that was under way at `heard_s` is always finished. Returns the text and the key times, which are
    the first rows of `key(text, wpm, fist_seed, take)`.
    """
    times = key(text, wpm, fist_seed, take)
    best, rows = "", 0
    for part, marks in _endings(text):
        if best and times[marks - 1, 1] > limit_s and times[rows - 1, 1] >= heard_s:
            break
        best, rows = part, marks
    return best, times[:rows]


@lru_cache(maxsize=65536)
def _endings(text: str) -> tuple[tuple[str, int], ...]:
    """The beginnings of `text` that end with a whole character, and their marks."""
    parts = (text[:end] for end in range(1, len(text) + 1))
    return tuple(
        (part, len(_pattern(part)[0]))
        for part in parts
        if not part.endswith(" ") and part.count("<") == part.count(">")
    )


def warm() -> None:
    """Compile the loop."""
    ideal("TEST", 25.0)
