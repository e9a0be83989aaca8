"""Invented call signs of the form that the Radio Regulations (Article 19) give to amateur stations.

Letters and figures are drawn at random; a call that is really assigned somewhere is met by chance only.
The rare stations have prefixes from series that, from memory, no country holds.
"""

from __future__ import annotations

import random

_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"

# region, weight, prefixes without the figure, figures: how often each part of the world is heard (no source)
_REGIONS: tuple[tuple[str, float, tuple[str, ...], str], ...] = (
    ("NA", 9.0, ("K", "W", "N", "K", "W", "N", "KA", "KB", "KC", "KD", "KE", "KG", "WA", "WB", "AA", "AB", "AC", "AE",
                 "NA", "NN"), "1234567890"),
    ("NA", 1.5, ("VE", "VA", "VE"), "1234567"),
    ("EU", 3.5, ("DL", "DK", "DJ", "DF", "DG", "DM", "DO"), "123456789"),
    ("EU", 2.5, ("I", "IK", "IZ", "IU", "IW"), "1234567890"),
    ("EU", 2.0, ("F",), "145680"),
    ("EU", 2.0, ("G", "M", "GM", "GW", "MM"), "034678"),
    ("EU", 2.0, ("EA", "EB", "EC"), "1234567"),
    ("EU", 2.5, ("UA", "RA", "RN", "UR", "US", "UT", "R", "EW"), "1346790"),
    ("EU", 2.0, ("SP", "SQ", "OK", "OM", "HA", "HG"), "1234567890"),
    ("EU", 2.0, ("ON", "PA", "PD", "OZ", "LA", "SM", "SA", "OH", "ES", "YL", "LY"), "1234567"),
    ("EU", 2.0, ("LZ", "YO", "YU", "YT", "SV", "CT", "HB", "OE", "9A", "S5", "E7", "Z3", "EI", "TF"), "123456789"),
    ("AS", 3.5, ("JA", "JE", "JF", "JH", "JR", "JM", "7K", "7N"), "1234567890"),
    ("AS", 1.5, ("BD", "BG", "BH", "BA", "HL", "DS", "BV", "VU", "YB", "HS", "9M", "DU", "4X", "UN"), "123456789"),
    ("SA", 1.5, ("PY", "PP", "PU", "LU", "CE", "CX", "HK", "YV", "HC", "OA"), "12345678"),
    ("OC", 1.0, ("VK", "ZL"), "1234567"),
    ("AF", 0.6, ("ZS", "EA", "CN", "5B", "SU", "7X", "3V"), "1268"),
)  # fmt: skip
_WEIGHTS = tuple(region[1] for region in _REGIONS)
_RARE = ("E9", "H5", "J9", "S1", "T9", "V9", "X5", "Z9")


def caller(rng: random.Random) -> tuple[str, str]:
    """One invented call and its part of the world ("EU", "NA", "SA", "AS", "OC" or "AF")."""
    region, _, prefixes, figures = rng.choices(_REGIONS, _WEIGHTS)[0]
    prefix = rng.choice(prefixes)
    length = rng.choices((1, 2, 3), (0.05, 0.4, 0.55) if len(prefix) > 1 else (0.0, 0.4, 0.6))[0]
    call = prefix + rng.choice(figures) + _suffix(rng, length)
    extra = rng.random()
    if extra < 0.02:
        call += rng.choice(("/P", "/M", "/QRP", "/1", "/4", "/7"))
    elif extra < 0.025:
        call = prefix + rng.choice(("25", "50", "75", "100")) + _suffix(rng, rng.choice((1, 2, 3)))
    return call, region


def rare(rng: random.Random) -> str:
    """The invented call of a rare station."""
    prefix = rng.choice(_RARE)
    figure = rng.choice("1234567890") if rng.random() < 0.4 else ""
    return prefix + figure + _suffix(rng, rng.choices((1, 2, 3), (0.35, 0.4, 0.25))[0])


def near(call: str, rng: random.Random, morse: bool) -> str:
    """`call` with one character taken for another that sounds like it."""
    alike = _MORSE_ALIKE if morse else _VOICE_ALIKE
    places = [place for place, letter in enumerate(call) if letter in alike]
    if not places:
        return call
    place = rng.choice(places)
    return call[:place] + rng.choice(alike[call[place]]) + call[place + 1 :]


_MORSE_ALIKE: dict[str, str] = {
    "A": "WE", "B": "6D", "C": "KY", "D": "BN", "E": "I", "F": "L", "G": "ZO", "H": "S5", "I": "SE", "J": "1W",
    "K": "CN", "L": "RF", "M": "TO", "N": "DT", "O": "MG", "P": "WJ", "Q": "YZ", "R": "LA", "S": "HI", "U": "VA",
    "V": "4U", "W": "PA", "X": "BY", "Y": "QC", "Z": "G7", "1": "J2", "2": "13", "3": "24", "4": "V5", "5": "H4",
    "6": "B7", "7": "68", "8": "79", "9": "80", "0": "9",
}  # fmt: skip
_VOICE_ALIKE: dict[str, str] = {
    "A": "JK", "B": "DP", "C": "T", "D": "BT", "E": "B", "F": "S", "G": "J", "H": "A", "I": "Y", "K": "J", "M": "N",
    "N": "M", "P": "B", "Q": "U", "S": "F", "T": "DP", "U": "Q", "V": "B", "X": "S", "Y": "I", "Z": "S", "1": "9",
    "5": "9", "9": "51", "2": "3", "3": "2", "6": "7", "7": "6",
}  # fmt: skip


def alike(call: str, fragment: str) -> bool:
    """True if somebody called `call` may take `fragment` for himself: two characters in a row in common."""
    return any(fragment[place : place + 2] in call for place in range(len(fragment) - 1))


def _suffix(rng: random.Random, length: int) -> str:
    return "".join(rng.choice(_LETTERS) for _ in range(length))
