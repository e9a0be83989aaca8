"""Whom the DX wants: call areas by number, continents, "only" and "no"; taken out of an announcement's tokens."""

from __future__ import annotations

import re

from hearmark.duplex.words import Token

_PARTS = {
    "eu": "EU", "europe": "EU", "europeans": "EU", "european": "EU", "na": "NA", "north america": "NA", "usa": "NA",
    "sa": "SA", "south america": "SA", "af": "AF", "africa": "AF", "as": "AS", "asia": "AS", "oc": "OC",
    "oceania": "OC", "ja": "JA", "jas": "JA", "japan": "JA", "dx": "DX", "qrp": "QRP",
}  # fmt: skip
_NAME = "|".join(sorted(_PARTS, key=len, reverse=True))
_LIST = rf"(?:{_NAME})(?:(?:\s*[,/]\s*|\s+and\s+|\s+)(?:{_NAME}))*"
_WANTED = (
    re.compile(rf"\b({_LIST})\s+(?:stations\s+)?only\b"),
    re.compile(rf"\bonly\s+(?:for\s+)?({_LIST})\b"),
    re.compile(rf"\b(?:listening|calling|looking|cq)\s+(?:for\s+)?({_LIST})\b"),
)
_NOT = "not "
_UNWANTED = re.compile(rf"\b(?:no|not)\s+(?:for\s+)?({_LIST})\b")


def continents(text: str) -> tuple[str, ...]:
    """Parts of the world that he asks for, like EU; with "not " in front where he turns them down."""
    plain = " ".join(text.lower().split())
    refused = [_PARTS[name] for found in _UNWANTED.findall(plain) for name in re.findall(rf"\b(?:{_NAME})\b", found)]
    wanted = [
        _PARTS[name]
        for pattern in _WANTED
        for found in pattern.findall(plain)
        for name in re.findall(rf"\b(?:{_NAME})\b", found)
    ]
    asked = [name for name in dict.fromkeys(wanted) if name not in refused]
    return (*asked, *(f"{_NOT}{name}" for name in dict.fromkeys(refused)))


def parted(who: tuple[str, ...]) -> tuple[list[str], list[str]]:
    """Whom he asks for and whom he turns down, of what `areas` and `continents` found."""
    asked = [name for name in who if not name.startswith(_NOT)]
    return asked, [name.removeprefix(_NOT) for name in who if name.startswith(_NOT)]


def whom_words(who: tuple[str, ...]) -> str:
    """The same in words; empty if nobody was named."""
    asked, refused = parted(who)
    said = []
    if asked:
        said.append(f"he asks for {' and '.join(asked)}")
    if refused:
        said.append(f"he does not want {' or '.join(refused)}")
    return ", and ".join(said)


_AREA = re.compile(
    r"(?:[QL]|V)*E?(?P<plural>P(?:[TAO,-]?P)*)V?E?"
    r"|(?P<written>(?:#S)(?:[TAO-]?#S)*)V?"
    r"|(?:Q?L?)E(?P<named>#)(?![.#])"
    r"|(?<![UDpm+#T/-])(?P<land>#)E"
    r"|(?<![UDpm+#T/-])(?P<alone>#)V(?![UD])"
    r"|(?:Q)?(?P<for>L#)(?![-T/KHM#AO]|[UD](?!F*#))"
)


def areas(given: list[Token]) -> tuple[tuple[str, ...], list[Token]]:
    """Call areas that were named, and the tokens without them."""
    codes = "".join(token.code for token in given)
    found: list[str] = []
    for match in _AREA.finditer(codes):
        part = given[match.start() : match.end()]
        digits = [token.text for token in part if token.code in "#P"]
        if any(len(digit) != 1 for digit in digits):
            continue
        if any(token.code == "T" or token.text == "-" for token in part) and len(digits) == 2:
            low, high = sorted(int(digit) for digit in digits)
            digits = [str(digit) for digit in range(low, high + 1)]
        found += digits
        given = [*given[: match.start()], *(Token("X", token.text) for token in part), *given[match.end() :]]
    return tuple(dict.fromkeys(found)), given
