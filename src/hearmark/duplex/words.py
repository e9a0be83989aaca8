"""Announcements as tokens: figures and number words become numbers, words become the few classes that matter.

A token is one letter of `CODE` and, for numbers, the digits as said ("5", "1.5", "7.240"). What is no part of an
announcement (calls, reports, greetings) is "X" and keeps apart what stands on its two sides.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_CLASSES = {
    "U": "up upp ups higher above high upward upwards",
    "D": "down dn dwn dwon dow lower below low downward downwards",
    "u": "u",
    "p": "plus",
    "m": "minus",
    "V": "only",
    "Z": "qsy qsyed moved moving was",
    "T": "to thru through until till",
    "A": "and n",
    "O": "or",
    "B": "between from btw",
    "Q": "qsx listening listen listens lsn lsng lstn rx hears hearing receiving receive on at answering working taking "
    "tuning tune tunes scanning sweeping covering",
    "K": "khz kc kcs k kay kilohertz kilocycles kilo kilos",
    "H": "hz hertz cycles",
    "M": "mhz megahertz mc megacycles",
    "W": "split splitting",
    "Y": "simplex transceive transceiving smplx",
    "F": "by abt arnd about around approximately approx ca circa some roughly nearly say maybe just a freq frequency "
    "qrg the now still please pse pls is he im i me we us it its calls callers qrz calling with range window him dx "
    "my your this that them",
    "G": "more beyond onwards onward",
    "E": "number numbers area areas land callarea zone zones district districts",
    "L": "for",
    "N": "no not without",
    "S": "s",
    "I": "his own same zero",
    "J": "bit little tad",
}
CODE = {word: code for code, words in _CLASSES.items() for word in words.split()}
"""Word to class. U up, D down, u you or up, p plus, m minus, V only, Z he moves, T to, A and, O or, B between,
Q listening, K kHz, H Hz, M MHz, W split, Y simplex, F filler, G and more, E call area, L for, N not, S plural, I own,
J a bit; also # number, X anything else; - / + as written, a comma only between the members of a list."""

_UNITS = {
    word: str(value)
    for value, word in enumerate(["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"])
} | {"oh": "0", "o": "0", "niner": "9", "fife": "5", "tree": "3", "fower": "4", "ait": "8"}  # fmt: skip
_TEEN_WORDS = (
    "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_PLURAL_WORDS = ("zeros", "ones", "twos", "threes", "fours", "fives", "sixes", "sevens", "eights", "nines")
_TEENS = {word: str(value) for value, word in enumerate(_TEEN_WORDS, 10)}
_TENS = {
    word: str(value)
    for value, word in zip(
        range(20, 100, 10), ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"], strict=True
    )
} | {"fourty": "40"}
_PLURAL_UNITS = {word: str(value) for value, word in enumerate(_PLURAL_WORDS)} | {"zeroes": "0", "zeds": "X"}
_POINTS = {"point", "dot", "decimal", "comma"}
_WRITTEN = {"½": ".5", "¼": ".25", "¾": ".75"}
_PIECE = re.compile(r"[a-z\d][a-z\d.,']*|\.\.+|[-+/~±?!;:()|]")
_PARTS = re.compile(r"\d+(?:[.,]\d+)*|[a-z]+")

_NUMBER_WORD = "|".join((*_UNITS, *_TEENS, *_TENS, "hundred", "point", "dot", "half"))
_NUMBER = rf"(?:\d+(?:\.\d+)?|\b(?:{_NUMBER_WORD})\b(?:[ -](?:{_NUMBER_WORD})\b)*)"
_LIST = re.compile(
    rf"(?<![\w.,]){_NUMBER}(?:(?:\s*,\s*{_NUMBER})+\s*,?\s*\b(?:and|or)\s+{_NUMBER}"
    rf"|(?:\s*,\s*{_NUMBER}){{2,}}|(?:\s+or\s+{_NUMBER}){{2,}})(?![\w.]|,\d)"
)
_BETWEEN = re.compile(r"\s*,?\s*\b(?:and|or)\s+|\s*,\s*")
_OF_AREAS = re.compile(r"\b(?:for|numbers?|areas?|zones?|districts?)\s+$")

_HABITS: tuple[tuple[re.Pattern[str], str], ...] = (
    (re.compile(r"\bplus (?:or )?minus\b"), "±"),
    (re.compile(r"\bupto\b"), "up to"),
    (re.compile(r"\bor so\b"), " "),
    (re.compile(r"(?<=[a-z])-(?=[a-z])"), " "),
    (re.compile(r"(?<=\d)\s*(to|-|/|\.\.+)\s*(?:\+|plus)\s*(?=\d)"), r" \1 "),
    (re.compile(r"^(.*-\s*\d[\d.]*\s*to\s*)-\s*(?=\d)"), r"\1"),
    (re.compile(r"(?<=\d)k(?=\d)"), "."),
    (re.compile(r"(?<![\d.])\.(?=\d)"), " 0."),
    (re.compile(r"(?<=\d)\s*~\s*(?=\d)"), "-"),
    (re.compile(r"\b(up|down|dn)(\s+\S+\s+(?:to|thru|through)\s+)\1\s+"), r"\1\2"),
    (re.compile(r"(?<=\d)(k|kc|khz)(?=up|dn|down)"), r"\1 "),
    (re.compile(r"\bdouble[ -](\w+)"), r"\1 \1"),
    (re.compile(r"\b(\d{4,}(?:\.\d+)?),(?=\d{4})"), r"\1 and "),
    (re.compile(r"(?<![\d./])(\d+(?:\.\d+)?)\s*/\s*\d+(?:\.\d+)?\s*/\s*(?=\d)"), r"\1/"),
    (re.compile(r"\bhalf an? (?:kilohertz|kilocycle|khz|kc)\b"), "0.5 khz"),
    (re.compile(r"(?<=\d) and 1/2\b"), " 1/2"),
    (re.compile(r"\b(to|and)\s+plus\s+"), r"\1 "),
    (re.compile(r"(?<![\d.-])(\d{1,2})-\d{1,2}-(\d{1,2})(?![\d.-])"), r"\1-\2"),
    (re.compile(r"(?<!quarter )\ban? (?:kilohertz|kilocycle|khz|kc)\b"), "1 khz"),
    (re.compile(r"\b(?:a )?couple(?: of)?\b"), "2"),
    (
        re.compile(
            rf"\b(up|down|dn)\s*(?:/|\bor\b|\band\b)\s*(up|down|dn)\s*({_NUMBER}(?:\s*(?:to|-)\s*{_NUMBER})?)\b"
        ),
        r"\1 \3 \2 \3",
    ),
    (re.compile(r"(?<![\d.,])(5|10|15|20),(10|15|20|25|30)(?![\d.,])"), r"\1 \2"),
)
"""Ways of writing that say the same more plainly: 1k5 is 1.5, "up 1 to up 3" is "up 1 to 3", "5,10" is two figures."""


@dataclass(frozen=True, slots=True)
class Token:
    """`code`: see `CODE`. `text`: the digits of a number, else the word. `spoken`: it came from number words."""

    code: str
    text: str
    spoken: bool = False


def tokens(text: str) -> list[Token]:
    """All tokens of an announcement, numbers joined as far as that is certain."""
    plain = text.lower().replace("’", "'")
    for sign in "–—−‒":
        plain = plain.replace(sign, "-")
    for sign, written in _WRITTEN.items():
        plain = re.sub(rf"(?<!\d)\s*{sign}", f" 0{written}", re.sub(rf"(\d)\s*{sign}", rf"\g<1>{written}", plain))
    plain = re.sub(r"\+/-|\+-", "±", plain).replace("&", " and ").replace("<", " ").replace("=", " ")
    plain = _LIST.sub(_listed, plain)
    for pattern, plainer in _HABITS:
        plain = pattern.sub(plainer, plain)
    plain = re.sub(r"(\d)\s+(\d)/(\d)\b", lambda m: f"{m[1]} {m[2]}/{m[3]}", plain)
    found: list[Token] = []
    for piece in _PIECE.findall(plain):
        found += _piece(piece.rstrip(".,'"))
    return _halves(_points(_spoken(found)))


def _listed(match: re.Match[str]) -> str:
    """Three or more figures in a row, like "5, 10 and 15": kept apart by "|", unless areas or one frequency."""
    members = _BETWEEN.split(match[0])
    written = [member for member in members if member[0].isdigit()]
    like = len({len(member.partition(".")[0]) > 2 for member in written}) <= 1
    if _OF_AREAS.search(match.string[: match.start()]) and all(re.fullmatch(r"\d", member) for member in members):
        return " number ".join(members)
    if not like:
        return match[0]
    return " | ".join(members)


def _piece(piece: str) -> list[Token]:
    """One written piece: a word, a number, both stuck together like "up5" or "5to10up", or neither."""
    if not piece or piece in "?!;:()":
        return [Token("X", piece)] if piece == ";" else []
    if piece in "-/+~±|":
        return [Token({"~": "F", "|": ","}.get(piece, piece), piece)]
    if piece.startswith(".."):
        return [Token("T", piece)]
    if not any(letter.isdigit() for letter in piece):
        return [_word(word) for word in re.split(r"[.,]", piece) if word]
    if re.fullmatch(r"\d+(?:[.,]\d+)*", piece):
        return [Token("#", _digits(piece))]
    if found := re.fullmatch(r"(\d)'s", piece):
        return [Token("#", found[1]), Token("S", "s")]
    parts = _PARTS.findall(piece)
    if "".join(parts) != re.sub(r"(?<![\d])[.,](?=[\da-z])|[.,](?![\d])", "", piece):
        return [Token("X", piece)]
    known = {0: "UDQWu", 1: "UDTKHMSQu"}
    for k, part in enumerate(parts):
        if part[0].isdigit():
            continue
        code = CODE.get(part, "X")
        if code not in known[1 if k else 0] or part in ("at", "on", "a"):
            return [Token("X", piece)]
    return [
        Token("#", _digits(part)) if part[0].isdigit() else Token("U", part) if part == "u" else _word(part)
        for part in parts
    ]


def _digits(written: str) -> str:
    """Digits with at most one point, in the unit that the writing suggests: 14.195,5 and 14.195.5 are 14195.5."""
    groups = re.split(r"[.,]", written)
    if len(groups) == 1:
        return groups[0]
    if len(groups) == 2:
        return ".".join(groups)
    return f"{''.join(groups[:-1])}.{groups[-1]}" if len(groups[-1]) < 3 else f"{''.join(groups[:2])}.{groups[2]}"


def _word(word: str) -> Token:
    if word in _PLURAL_UNITS:
        return Token("#", _PLURAL_UNITS[word], True) if _PLURAL_UNITS[word] == "X" else Token("P", _PLURAL_UNITS[word])
    if word in _UNITS or word in _TEENS or word in _TENS:
        return Token("w", word, True)
    if word in ("hundred", "thousand", "half", "quarter") or word in _POINTS:
        return Token({"hundred": "h", "thousand": "t", "half": "f", "quarter": "q"}.get(word, "."), word)
    return Token(CODE.get(word, "X"), word)


def _spoken(given: list[Token]) -> list[Token]:
    """Number words to numbers: tens with units, hundreds, and digit after digit ("one four eight")."""
    out: list[Token] = []
    k = 0
    while k < len(given):
        if given[k].code != "w":
            out.append(given[k])
            k += 1
            continue
        chunk, k = _chunk(given, k)
        out.append(Token("#", chunk, True))
    return out


def _chunk(given: list[Token], k: int) -> tuple[str, int]:
    """One spoken number of at most two digits, with its hundreds and thousands."""
    value, k = _below_hundred(given, k)
    number = value
    for code, factor in (("t", 1000), ("h", 100)):
        if k < len(given) and given[k].code == code:
            k += 1
            number = str(int(number) * factor)
            follows = k + 1 if k + 1 < len(given) and given[k].code == "A" and given[k + 1].code == "w" else k
            if follows < len(given) and given[follows].code == "w":
                rest, after = _below_hundred(given, follows)
                if follows > k and after < len(given) and given[after].code == "w":
                    break  # "two hundred and two ten": another number begins after "and"
                if code == "t" and after < len(given) and given[after].code == "h":
                    rest, after = str(int(rest) * 100), after + 1
                number, k = str(int(number) + int(rest)), after
    return number, k


def _below_hundred(given: list[Token], k: int) -> tuple[str, int]:
    word = given[k].text
    k += 1
    if word in _TENS:
        following = _UNITS.get(given[k].text, "0") if k < len(given) and given[k].code == "w" else "0"
        if following != "0":
            return str(int(_TENS[word]) + int(following)), k + 1
        return _TENS[word], k
    return _UNITS.get(word) or _TEENS[word], k


def _points(given: list[Token]) -> list[Token]:
    """ "seven dot two forty" and "1 point 5": a number, the point, all number tokens that follow directly."""
    out: list[Token] = []
    k = 0
    while k < len(given):
        token = given[k]
        if token.code == "." and out and out[-1].code == "#" and k + 1 < len(given) and given[k + 1].code == "#":
            whole = out[-1].text
            while len(out) > 1 and out[-2].code == "#" and out[-2].spoken and out[-1].spoken:
                out.pop()
                whole = out[-1].text + whole
            k += 1
            decimals = given[k].text
            while k + 1 < len(given) and given[k + 1].code == "#" and _digit_by_digit(given[k], given[k + 1]):
                k += 1
                decimals += given[k].text
            out[-1] = Token("#", f"{whole}.{decimals}" if "." not in whole else whole + decimals, True)
        else:
            out.append(Token("X", token.text) if token.code == "." else token)
        k += 1
    return out


def _digit_by_digit(one: Token, other: Token) -> bool:
    """Both from words, or both single digits: "7 dot 2 4 0"."""
    return (one.spoken and other.spoken) or (len(one.text) == len(other.text) == 1)


def _halves(given: list[Token]) -> list[Token]:
    """ "1 and a half", "half", "2 1/2": to decimals. A lone "1/2" stays as written: it may also mean 1 to 2."""
    out: list[Token] = []
    k = 0
    while k < len(given):
        code = given[k].code
        if code in "fq":
            part = ".5" if code == "f" else ".25"
            if out and out[-1].code == "#" and out[-1].text == "1" and out[-1].spoken:  # "one half"
                out[-1] = Token("#", f"0{part}", True)
            else:
                at = len(out) - 1
                while at >= 0 and out[at].text in ("a", "and", "n"):
                    at -= 1
                if 0 <= at < len(out) - 1 and out[at].code == "#" and "." not in out[at].text and _and(out[at + 1 :]):
                    out[at:] = [Token("#", out[at].text + part, True)]
                else:
                    while out and out[-1].text == "a":
                        out.pop()
                    out.append(Token("#", f"0{part}", True))
            k += 1
            continue
        texts = [token.text for token in given[k : k + 4]]
        if [token.code for token in given[k : k + 4]] == list("##/#") and texts[1:] == ["1", "/", "2"]:
            out.append(Token("#", texts[0] + ".5"))
            k += 4
            continue
        out.append(Token("X", given[k].text) if code in "ht" else given[k])
        k += 1
    return out


def _and(between: list[Token]) -> bool:
    return any(token.code == "A" for token in between)
