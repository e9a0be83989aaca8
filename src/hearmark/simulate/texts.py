"""What people in a pile-up say, in Morse and in voice, and each one's favourite way to say it.

The phrases themselves are in `phrases`.
"""

from __future__ import annotations

import random

from hearmark.events import Mode
from hearmark.simulate.phrases import MORSE, VOICE, Purpose

# The first word is that of the Radio Regulations, Appendix 14; the others are common practice, no source.
_SPELLING: dict[str, tuple[str, ...]] = {
    "A": ("alfa", "alpha", "america", "amsterdam"), "B": ("bravo", "baker", "boston", "baltimore"),
    "C": ("charlie", "canada"), "D": ("delta", "denmark", "david"), "E": ("echo", "england", "edison"),
    "F": ("foxtrot", "france", "florida"), "G": ("golf", "germany", "george"), "H": ("hotel", "honolulu", "henry"),
    "I": ("india", "italy", "italia"), "J": ("juliett", "japan", "juliet"),
    "K": ("kilo", "kilowatt", "king", "kentucky"), "L": ("lima", "london", "lincoln"),
    "M": ("mike", "mexico", "mary"), "N": ("november", "norway", "nancy"), "O": ("oscar", "ontario", "ocean"),
    "P": ("papa", "portugal", "pacific"), "Q": ("quebec", "queen"), "R": ("romeo", "radio", "robert"),
    "S": ("sierra", "santiago", "sugar", "spain"), "T": ("tango", "tokyo", "texas"),
    "U": ("uniform", "united", "uncle"), "V": ("victor", "victoria", "venezuela"),
    "W": ("whiskey", "washington", "william"), "X": ("x-ray",), "Y": ("yankee", "yokohama", "young"),
    "Z": ("zulu", "zanzibar", "zebra"), "0": ("zero",), "1": ("one",), "2": ("two",), "3": ("three",), "4": ("four",),
    "5": ("five",), "6": ("six",), "7": ("seven",), "8": ("eight",), "9": ("nine", "niner"),
    "/": ("stroke", "portable"),
}  # fmt: skip
_FIGURES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
            "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty")  # fmt: skip


class Talk:
    """One person's way of talking: favourites among the phrases and spelling words, kept to more or less."""

    def __init__(self, mode: Mode, sloppiness: float, rng: random.Random, plain: bool = False) -> None:
        """`sloppiness` 0: always the first phrase of a list; 1: own favourites, often left. `plain`: only ITU words."""
        self._options = MORSE if mode == "cw" else VOICE
        self._morse = mode == "cw"
        self._sloppiness = sloppiness
        self.plain = plain
        """Can say letters and figures only."""
        self._rng = rng
        self._favourites: dict[Purpose, str] = {}
        self._own_words = not plain and rng.random() < 0.35 * sloppiness
        self._words: dict[str, str] = {}

    def say(self, purpose: Purpose, call: str = "", dx: str = "", up: str = "", part: str = "") -> str:
        """The text for this purpose, calls spelled in words if spoken. `up` as from `up_phrase`."""
        rng = self._rng
        template = self._favourites.get(purpose)
        if template is None:
            template = self._favourites[purpose] = self._drawn(purpose)
        elif rng.random() < 0.4 * self._sloppiness:
            template = self._drawn(purpose)
        tail = call.split("/")[0][-2:]
        fields = {"c": call, "d": dx, "p": part, "e": tail}
        if not self._morse:
            fields = {
                name: self.spell(value) if value.isupper() or value.isdigit() else value
                for name, value in fields.items()
            }
        return " ".join(template.format(u=up, **fields).split())

    def _drawn(self, purpose: Purpose) -> str:
        phrases, weights = self._options[purpose]
        if self._rng.random() >= self._sloppiness * 1.3:
            return phrases[0]
        return self._rng.choices(phrases, weights)[0]

    def spell(self, call: str) -> str:
        """`call` in this person's spelling words; characters that have none (a question mark) are left out."""
        return " ".join(self._word(letter) for letter in call if letter in _SPELLING)

    def _word(self, letter: str) -> str:
        word = self._words.get(letter)
        if word is None:
            choices = _SPELLING[letter]
            own = self._own_words and len(choices) > 1 and self._rng.random() < 0.6
            word = self._words[letter] = self._rng.choice(choices[1:]) if own else choices[0]
        return word


def up_phrase(mode: Mode, dx_hz: float, low_hz: float, high_hz: float, style: float) -> str:
    """How the DX says where he listens; `style` 0 to 1 picks one of the ways. Empty for simplex."""
    if low_hz == high_hz == dx_hz:
        return ""
    above = low_hz >= dx_hz
    near, far = sorted((round(abs(low_hz - dx_hz) / 1000.0), round(abs(high_hz - dx_hz) / 1000.0)))
    if mode == "cw":
        way = "UP" if above else ("DWN", "DN", "DOWN")[int(style * 997) % 3]
        if style < 0.6 or near > 20:
            return way
        if style < 0.8 or far == near:
            return f"{way} {max(near, 1)}"
        return f"{way} {max(near, 1)} {far}" if style < 0.9 else f"{way} {max(near, 1)}/{far}"
    way = "up" if above else "down"
    if style < 0.3 or far > 20:
        return way
    first, last = _FIGURES[max(near, 1)], _FIGURES[max(far, 1)]
    if style < 0.5 or first == last:
        return f"{way} {first}"
    if style < 0.8:
        return f"{way} {first} to {last}"
    return f"{first} to {last} {way}" if style < 0.93 else f"{first} {way}"
