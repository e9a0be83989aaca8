"""What the digits of an announcement can mean: runs of numbers, whole frequencies, frequencies by their last digits."""

from __future__ import annotations

from collections.abc import Iterator

from hearmark.duplex.bands import band_of
from hearmark.duplex.words import Token

_LAST_DIGITS = {1: 0.05, 2: 0.6, 3: 1.0, 4: 1.0}
"""How likely a number of so many digits is meant as the end of a frequency in kHz."""

_NO_FREQUENCY = {"599", "59", "579", "589", "559", "73", "88"}
"""Reports and greetings, where they follow another number."""


def runs(given: list[Token]) -> list[tuple[tuple[str, ...], float]]:
    """Numbers that follow each other directly: as one number ("14 200") or as two ("5 10"), with weights."""
    texts = [token.text for token in given]
    if len(texts) == 1:
        return [((texts[0],), 1.0)]
    if texts[-1] in _NO_FREQUENCY:
        return [(figures, weight) for figures, weight in runs(given[:-1]) if len(figures) == 1]
    if len(texts) == 2 and len(texts[0]) <= 2 and len(texts[1].partition(".")[0]) >= 4:
        return [((texts[0],), 1.0)]  # "up 5, 18148.5": the same said twice
    values = [float(text) for text in texts]
    if (
        len(texts) >= 3
        and not any(token.spoken for token in given)
        and values == sorted(set(values))
        and values[-1] < 100
    ):
        return [((texts[0], texts[-1]), 1.0)]  # "up 3 5 7"
    out: list[tuple[tuple[str, ...], float]] = []
    if not any("." in text for text in texts[:-1]):
        out.append((("".join(texts),), 1.0))
    if len(texts) == 2:
        low, high = (float(text) for text in texts)
        usual = low < high <= 30.0 and len(texts[1]) <= 2 + 2 * ("." in texts[1])
        out.append(((texts[0], texts[1]), 3.0 if usual else 0.1))
    return out or [((texts[0],), 1.0)]


def absolutes(text: str, unit: str, receive_khz: float, whole: bool = False) -> Iterator[tuple[float, float, str]]:
    """Frequencies in kHz that a number may stand for, with weight and reason.

    `whole`: only those said whole, in kHz, MHz or Hz.
    """
    value = float(text)
    if unit == "H" and value < 1e6:
        return
    if unit == "M":
        yield value * 1000.0, 1.0, "frequency in MHz"
        return
    if unit == "H" or (value >= 1e6 and not unit):
        yield round(value / 1000.0, 6), 1.0, "frequency in Hz"
        return
    mhz = "." in text and value >= 1.0 and _same_band(value * 1000.0, receive_khz)
    if mhz and unit != "K":
        yield round(value * 1000.0, 6), 1.0, "frequency in MHz"
    if value >= 1000.0:
        yield value, 1.0, "frequency in kHz"
        return
    digits = len(text.split(".")[0])
    if whole or unit == "K" or len(text.partition(".")[2]) >= (2 if mhz else 3):
        return
    base = 10.0**digits
    if base > receive_khz:
        return
    for step in (-1, 0, 1):
        khz = (receive_khz // base + step) * base + value
        if _same_band(khz, receive_khz):
            share = 0.1 if mhz else 1.0
            yield round(khz, 6), share * _LAST_DIGITS.get(digits, 0.5), f"last digits of {khz:g} kHz"


def beyond(low_khz: float, text: str) -> float:
    """The nearest frequency to `low_khz` whose last digits are `text`: 14205 to 10 ends on 14210."""
    base = 10.0 ** len(text.split(".")[0])
    start = low_khz // base * base + float(text)
    return min((start - base, start, start + base), key=lambda khz: abs(khz - low_khz))


def _same_band(khz: float, receive_khz: float) -> bool:
    band = band_of(receive_khz * 1000.0)
    if band is None:
        return abs(khz - receive_khz) < 0.02 * receive_khz
    return band.low_hz <= khz * 1000.0 <= band.high_hz
