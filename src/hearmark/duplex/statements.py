"""From tokens to candidates: the forms in which a window is announced, and what each form can mean.

The classes of the tokens make one string, and each form is a regular expression over it. Offsets are in kHz, from the
DX.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from hearmark.duplex.figures import absolutes, beyond, runs
from hearmark.duplex.words import Token

BARE_KHZ = {"cw": (1.0, 3.0), "voice": (5.0, 10.0)}
"""What a bare direction means: near and far edge. Common practice, no source."""
CLOSEST_KHZ = 0.3
"""A window hardly ever reaches closer to the DX than this."""
ONWARD = 0.55
"""How likely "205 up" means from there on, not that place alone. Common practice, no source."""

_SPAN = r"(?P<{0}1>#+)(?P<{0}u>[KHM]?)(?:(?P<{0}c>[-T/AO]|OT|(?:,#+)*,)(?P<{0}2>#+)(?P<{0}v>[KHM]?))?"
_OPEN = r"(?P<{0}o>[+p](?!#)|[AO]?G|[AO][UD](?![FQVB]*#))?"
_FORMS = re.compile(
    "|".join(
        (
            r"(?P<across>(?:Q|F|W)*±)" + _SPAN.format("x"),
            r"(?P<upto>[UD])T(?P<upto1>#+)[KHM]?",
            r"(?:Q|F|W)*(?P<before>[UD]|^u)[UD]*(?P<from>[FQVB/-]*)" + _SPAN.format("b") + _OPEN.format("b"),
            r"(?:Q|F|B|W)*(?P<stretch1>#+)[KHM]?(?P<stretch>[UD])[T-](?P<stretch2>#+)[KHM]?[UD]?",
            r"(?:Q|F|B|W)*" + _SPAN.format("a") + r"F*(?P<open>[AO]?)(?P<after>[UD])(?![FQVB]*#)",
            r"(?P<sign>(?:^|(?<=[WQF]))-|(?<![#])[+p]|(?<![#X])m)" + _SPAN.format("s"),
            r"(?P<place>(?:Q|W)(?:Q|F|B|W|V|L)*)" + _SPAN.format("p") + _OPEN.format("p"),
            r"(?P<all>^[FB]*)" + _SPAN.format("l") + r"[FW]*$",
            r"(?P<bare>[UD])",
            r"(?P<split>W)",
        )
    )
)
_SIMPLEX = re.compile(
    r"\b(?<!not )(?<!was )(simplex|smplx|transceiv\w+|(no|not|without|isn't) split(ting)?|zero beat"
    r"|(no longer|no more|not working|stopped) split(ting)?|split (is )?off"
    r"|on (his |my |your |our )?(own|same|the same|this|his|my)( own)? (freq\w*|qrg|spot)|on (freq|frequency|qrg)"
    r"|(this|my|same) (freq\w*|qrg) only"
    r"|(listening|qsx) (right )?here"
    r"|(listening|qsx) (on )?(this|the same|same)( freq\w*)?)\b"
)
_FORBIDDEN = re.compile(
    r"\b(?:do not|don't|dont|not|never|no|stop|nobody|nothing)(?:\s+(?:please|pse|to|call\w*|transmit\w*|tx|send\w*|"
    r"answer\w*|repl\w*|me|us|one|him|more|hear\w*|listen\w*|working|stations?)){0,4}\s+(?:simplex|here"
    r"|(?:on )?(?:the |my |his |this |our )?(?:own |same )?(?:freq\w*|qrg|spot)|on (?:my|this|his|the same)(?: one)?)\b"
    r"|\bon (?:my|this|the same) (?:freq\w*|qrg) (?:nothing|nobody|no (?:calls|one))\b"
)
"""Words that keep callers off his frequency: they say that he does not listen there."""
_REPORT = re.compile(r"[345][1-9]9")
"""A report behind a bare "up": nobody listens so many kilohertz away."""
_NOT_BARE = {"high", "low"}


@dataclass(frozen=True, slots=True)
class Candidate:
    """One meaning of the words: offsets in kHz, weight of the wording.

    `certain`: usual or not, it was said so. `around_khz`: the offset that was said, where that is not the middle.
    `bare`: the way alone was said, no figure.
    """

    low_khz: float
    high_khz: float
    weight: float
    why: str
    certain: bool = False
    around_khz: float | None = None
    bare: bool = False


def statements(given: list[Token], text: str, receive_khz: float, kind: str) -> list[Candidate]:
    """All meanings of all that is said in one announcement; empty when nothing is."""
    plain = _FORBIDDEN.sub(" ; ", " ".join(text.lower().replace("’", "'").split()))
    if _SIMPLEX.search(plain):
        simplex = Candidate(0.0, 0.0, 1.0, "simplex: he listens where he sends", certain=True)
        moved = _directions(given, receive_khz, kind)
        # Both said: a call on the frequency of one who listens elsewhere does most harm, so the offset comes first
        shares = [replace(c, weight=0.7 * c.weight, certain=True) for c in moved]
        return [*shares, replace(simplex, weight=0.3 * len(moved) if moved else 1.0)]
    codes = "".join(token.code for token in given)
    exact: list[list[Candidate]] = []
    bare: list[str] = []
    split = False
    for match in _FORMS.finditer(codes):
        if codes[: match.start()].rstrip("FBQ").endswith("Z"):
            continue  # he moves: that says nothing of where he listens
        words = given[match.start() : match.end()]
        if match["bare"]:
            bare += [] if words[0].text in _NOT_BARE else [match["bare"]]
        elif match["split"]:
            split = True
        else:
            meanings = [c for c in _meanings(match, given, receive_khz, kind) if c.weight > 0.0]
            exact += [meanings] if meanings else []
    if exact:
        exact = _without_own(exact) or exact
        return [replace(c, weight=c.weight / sum(x.weight for x in some)) for some in exact for c in some]
    return list(_bare(bare, split, kind))


def _directions(given: list[Token], receive_khz: float, kind: str) -> list[Candidate]:
    """The likeliest meaning of each figure with a direction, like "up 5"."""
    codes = "".join(token.code for token in given)
    found = [
        max(meanings, key=lambda c: c.weight)
        for match in _FORMS.finditer(codes)
        if match["before"] or match["after"]
        if (meanings := [c for c in _meanings(match, given, receive_khz, kind) if c.weight > 0.0])
    ]
    return [replace(candidate, weight=1.0) for candidate in found]


def _without_own(exact: list[list[Candidate]]) -> list[list[Candidate]]:
    """The DX's own frequency, said beside where he listens, is no window."""
    return [some for some in exact if max(abs(max(some, key=lambda c: c.weight).high_khz), 0.0) > 0.2]


def _bare(ways: list[str], split: bool, kind: str) -> Iterator[Candidate]:
    near, far = BARE_KHZ[kind]
    taken = f"no figure given: taken as {near:g} to {far:g} kHz"

    def candidate(low: float, high: float, weight: float, why: str) -> Candidate:
        return replace(_ordered(low, high, weight, why, certain=True), bare=True)

    for way in dict.fromkeys(ways):
        share = 1.0 / len(set(ways))
        sign = 1.0 if way == "U" else -1.0
        word = "up" if sign > 0 else "down"
        yield candidate(sign * near, sign * far, 0.85 * share, f"{word}, {taken}")
        yield candidate(sign * near, sign * 2.0 * far, 0.15 * share, f"{word}, no figure given: may be wider")
    if not ways and split:
        yield candidate(near, far, 0.9, f"split, mostly up; {taken}")
        yield candidate(-far, -near, 0.1, f"split, may be down; {taken}")


def _ordered(a: float, b: float, weight: float, why: str, certain: bool = False) -> Candidate:
    return Candidate(min(a, b), max(a, b), weight, why, certain)


def _meanings(match: re.Match[str], given: list[Token], receive_khz: float, kind: str) -> Iterator[Candidate]:
    def numbers(group: str) -> list[Token]:
        return given[match.start(group) : match.end(group)]

    if match["upto"]:
        sign = 1.0 if match["upto"] == "U" else -1.0
        for figures, weight in runs(numbers("upto1")):
            edge = float(figures[-1])
            if edge >= 100.0:
                for khz, share, _ in absolutes(figures[-1], "", receive_khz):
                    if (khz - receive_khz) * sign > 0.0:
                        far = abs(khz - receive_khz)
                        start = min(BARE_KHZ[kind][0], far / 2.0)
                        yield _ordered(sign * start, sign * far, weight * share, "only the far edge was said")
                continue
            near = min(BARE_KHZ[kind][0], edge / 2.0)
            yield _ordered(sign * near, sign * edge, weight, "only the far edge was said")
    elif match["stretch"]:
        sign = 1.0 if match["stretch"] == "U" else -1.0
        here, there = (runs(numbers(group))[0][0][0] for group in ("stretch1", "stretch2"))
        if float(here) < 100.0:
            yield _ordered(sign * float(here), sign * float(there), 1.0, "offsets in kHz")
        else:
            said = Said(numbers("stretch1"), numbers("stretch2"), ("", ""), "T", False, False)
            for low, high, share, why in _places(said, here, there, receive_khz):
                yield Candidate(low, high, share, why)
    elif match["across"]:
        for figures, weight in runs(numbers("x1")):
            edge = float(figures[-1])
            yield Candidate(-edge, edge, weight, "on both sides of him")
    else:
        name, way = _which(match)
        codes = match.string
        second = numbers(f"{name}2") if match[f"{name}2"] else []
        units = (match[f"{name}u"] or match[f"{name}v"] or "", match[f"{name}v"] or match[f"{name}u"] or "")
        open_end = name == "a" and bool(match["open"])
        between = match[f"{name}c"] or ""
        if between == "A" and "B" in codes[match.start() : match.end()]:
            between = "T"
        if name in "bp":
            open_end = bool(match[f"{name}o"]) or (name == "b" and "B" in match["from"] and not second)
        side = given[match.start("before" if name == "b" else "after")].text if name in "ab" else ""
        open_end = open_end or side in ("upward", "upwards", "downward", "downwards")
        open_end = open_end or (name == "b" and side in ("above", "below"))
        said = Said(numbers(f"{name}1"), second, units, between, open_end, name == "a")
        if way:
            yield from _directed(said, way, receive_khz, kind)
        else:
            yield from _undirected(said, receive_khz, kind, cue=name == "p")


def _which(match: re.Match[str]) -> tuple[str, float]:
    """Which form it is, and the direction: 1 up, -1 down, 0 not said."""
    if match["before"]:
        return "b", -1.0 if match["before"] == "D" else 1.0
    if match["after"]:
        return "a", 1.0 if match["after"] == "U" else -1.0
    if match["sign"]:
        return "s", 1.0 if match["sign"] in "+p" else -1.0
    return ("p", 0.0) if match["place"] else ("l", 0.0)


@dataclass(frozen=True, slots=True)
class Said:
    """The figures of one form: one run of numbers or two, units, the word between them, "and more".

    `before_way`: the direction stands behind the figure, as in "205 up".
    """

    first: list[Token]
    second: list[Token]
    units: tuple[str, str]
    between: str
    open_end: bool
    before_way: bool

    def pairs(self) -> Iterator[tuple[str, str | None, float]]:
        """First and second figure with the weight of hearing the digits so."""
        for figures, weight in runs(self.first):
            if self.second:
                for others, share in runs(self.second):
                    if len(figures) == len(others) == 1:
                        yield figures[0], others[0], weight * share
            else:
                yield figures[0], figures[1] if len(figures) == 2 else None, weight


def _directed(said: Said, sign: float, receive_khz: float, kind: str) -> Iterator[Candidate]:
    """ "up 5", "5 to 10 up", "+5", "up 148"."""
    for first, second, weight in said.pairs():
        unit = said.units[0]
        if second is None and not unit and _REPORT.fullmatch(first):
            yield from _bare(["U" if sign > 0 else "D"], False, kind)
            continue
        if not unit and "." in first and float(first) * 1000.0 > receive_khz * 0.9 and first.count("") > 5:
            unit = "M"
        a, b = float(first), None if second is None else float(second)
        if b is not None and a < 100.0 and b >= 1000.0 and not unit:  # "up 5 to 18155"
            b = (b - receive_khz) * sign
            if b > a:
                yield from _offsets(said, a, b, sign, weight, kind)
            continue
        if unit not in ("K", "H") or (a >= 1000.0 and unit != "H"):
            side = 0.15 if len(first.split(".")[0]) >= 3 or unit == "M" else 0.0
            for low, high, share, why in _places(said, first, second, receive_khz):
                if low * sign > 0.0 and a < receive_khz * 1.2:
                    share *= weight * (1.0 if a >= 1000.0 or unit == "M" else side)
                    onward = 1.0 if said.open_end else ONWARD if said.before_way else 0.0
                    if second is not None or onward < 1.0:
                        yield Candidate(low, high, share * (1.0 if second is not None else 1.0 - onward), why)
                    if second is None and onward:
                        far = low + sign * (BARE_KHZ[kind][1] - BARE_KHZ[kind][0])
                        yield _ordered(low, far, share * onward, f"{why}, and from there on")
        if not unit and b is None and 1000.0 <= a <= 0.5 * receive_khz and a % 100.0 == 0.0:
            yield from _offsets(said, a / 1e3, None, sign, 0.3 * weight, kind, "Hz")
        if unit == "M" or (a >= 1000.0 and unit != "H"):
            continue
        scale = 1e-3 if unit == "H" else 1.0
        yield from _offsets(said, a * scale, None if b is None else b * scale, sign, weight, kind)
        if not unit and a >= 100.0 and a % 50.0 == 0.0 and not said.open_end:
            share = 0.4 if kind == "cw" else 0.1
            yield from _offsets(said, a / 1e3, None if b is None else b / 1e3, sign, weight * share, kind, "Hz")


def _offsets(
    said: Said, a: float, b: float | None, sign: float, weight: float, kind: str, unit: str = "kHz"
) -> Iterator[Candidate]:
    width = BARE_KHZ[kind][1] - BARE_KHZ[kind][0]
    taken = f"offset in {unit}" if b is None else f"offsets in {unit}"
    if b is None:
        if said.open_end:
            yield _ordered(sign * a, sign * (a + width), weight, f"from {a:g} kHz on, width taken as {width:g} kHz")
            return
        yield _ordered(sign * a, sign * a, 0.88 * weight, taken)
        if unit == "Hz":
            return
        onward = _ordered(sign * a, sign * (a + width), 0.12 * weight, f"{taken}; he may listen from there on")
        yield replace(onward, around_khz=sign * a)
        return
    if "," in said.between:
        yield _ordered(sign * a, sign * b, 0.7 * weight, "from the first to the last of the places that were said")
        for place in (a, b):
            yield _ordered(sign * place, sign * place, 0.15 * weight, "one of the places that were said")
        return
    if said.between in ("O", "A", "OT"):
        share = 0.7 if said.between == "A" else 0.3
        yield _ordered(sign * a, sign * b, share * weight, "between the two places that were said")
        for place in (a, b):
            yield _ordered(sign * place, sign * place, 0.5 * (1.0 - share) * weight, "one of the two places")
        return
    if said.between == "/" and (a, b) == (1.0, 2.0):
        yield _ordered(sign * 0.5, sign * 0.5, 0.4 * weight, "half a kHz")
        weight *= 0.6
    if b < a and b > 0 and a >= 10 and b < 10 ** len(f"{b:g}") <= a:
        yield _ordered(sign * a, sign * beyond(a, f"{b:g}"), 0.3 * weight, "the second figure cut short")
        weight *= 0.7
    yield _ordered(sign * a, sign * b, weight, taken)


def _undirected(said: Said, receive_khz: float, kind: str, cue: bool) -> Iterator[Candidate]:
    """ "QSX 18151", "listening 148 to 155", "listening 5 to 10"; without such a word only if it is all that is said."""
    for first, second, weight in said.pairs():
        if not cue and not said.second and float(first) < 1000.0 and said.units[0] != "M" and "." not in first:
            continue  # a lone number may be anything
        for low, high, share, why in _places(said, first, second, receive_khz):
            if said.between == "/" and not cue and low * high == 0.0:  # his own frequency is the other figure
                low = high = low + high
            if said.open_end and second is None:
                high = low + BARE_KHZ[kind][1] - BARE_KHZ[kind][0]
            yield Candidate(low, high, weight * share, why)
        a, b = float(first), None if second is None else float(second)
        if said.units[0] == "M" or max(a, b or 0.0) >= 100.0:
            continue
        scale = 1e-3 if said.units[0] == "H" else 1.0
        mhz = any(why == "frequency in MHz" for _, _, _, why in _places(said, first, second, receive_khz))
        exact = 0.005 if len(first.partition(".")[2]) >= 3 else 0.1 if mhz else 1.0  # nobody counts offsets in hertz
        for sign, share in ((1.0, 0.45 * exact), (-1.0, 0.05 * exact)):
            for meant in _offsets(said, a * scale, None if b is None else b * scale, sign, weight * share, kind):
                yield replace(meant, why=f"{meant.why}, taken as {'up' if sign > 0 else 'down'}")


def _places(
    said: Said, first: str, second: str | None, receive_khz: float
) -> Iterator[tuple[float, float, float, str]]:
    """Offsets of frequencies that were said whole or by their last digits."""
    for low_khz, weight, why in absolutes(first, said.units[0], receive_khz):
        if second is None:
            yield low_khz - receive_khz, low_khz - receive_khz, weight, why
            continue
        full = [khz for khz, _, _ in absolutes(second, said.units[1], receive_khz, whole=True)]
        high_khz = full[0] if full else beyond(low_khz, second)
        low, high = sorted((round(low_khz - receive_khz, 6), round(high_khz - receive_khz, 6)))
        yield low, high, weight, why
