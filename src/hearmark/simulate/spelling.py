"""Text to spoken words: calls and figures are spelled."""

from __future__ import annotations

import re

ALPHABET = {
    "A": "alfa", "B": "bravo", "C": "charlie", "D": "delta", "E": "echo", "F": "foxtrot", "G": "golf", "H": "hotel",
    "I": "india", "J": "juliett", "K": "kilo", "L": "lima", "M": "mike", "N": "november", "O": "oscar", "P": "papa",
    "Q": "quebec", "R": "romeo", "S": "sierra", "T": "tango", "U": "uniform", "V": "victor", "W": "whiskey",
    "X": "x-ray", "Y": "yankee", "Z": "zulu",
}  # fmt: skip
"""Letter to code word: ITU Radio Regulations, Appendix 14."""
DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")

LETTERS = {word: letter.lower() for letter, word in ALPHABET.items()} | {
    "alpha": "a", "juliet": "j", "xray": "x", "whisky": "w", "america": "a", "boston": "b", "canada": "c",
    "denmark": "d", "england": "e", "france": "f", "germany": "g", "honolulu": "h", "italy": "i", "japan": "j",
    "kilowatt": "k", "london": "l", "mexico": "m", "norway": "n", "ontario": "o", "portugal": "p", "queen": "q",
    "radio": "r", "roger": "r", "santiago": "s", "spain": "s", "tokyo": "t", "united": "u",
    "victoria": "v", "washington": "w", "yokohama": "y", "zanzibar": "z",
}  # fmt: skip
NUMBERS = {word: str(n) for n, word in enumerate(DIGITS)} | {"niner": "9", "fife": "5"}
_SIGNS = {"/": "stroke", "?": ""}


def words(text: str) -> list[str]:
    """The spoken words of `text`: calls and figures spelled out, the rest in lower case."""
    spoken: list[str] = []
    for token in re.findall(r"[A-Za-z0-9/'-]+", text):
        letters = token.replace("/", "")
        spell = any(c.isdigit() for c in letters) or (token.isupper() and (len(letters) == 1 or "/" in token))
        if spell and token.lower() not in LETTERS:
            spoken += [w for c in token.upper() if (w := ALPHABET.get(c) or _SIGNS.get(c) or _digit(c))]
        else:
            spoken.append(token.lower())
    return spoken


def _digit(character: str) -> str:
    return DIGITS[int(character)] if character.isdigit() else ""
