"""The window as people write it: "up 5-10", "up 5 to 10", "down 2", "up".

What a word leaves open is filled from common practice (no source): a bare direction means CW 1 to
3 kHz, voice 5 to 10 kHz; a single figure means callers from just below it to some way beyond.
"""

from __future__ import annotations

import re

from hearmark.errors import HearmarkError
from hearmark.events import Mode
from hearmark.units import hz_from_khz

BARE_KHZ = {"cw": (1.0, 3.0), "voice": (5.0, 10.0)}
"""Common practice, no source: what a bare direction means."""
AROUND_KHZ = {"cw": (-0.5, 1.5), "voice": (-1.0, 3.0)}
"""Common practice, no source: where callers gather for a single figure, relative to it."""
CLOSEST_KHZ = 0.3
"""A window never reaches closer to the DX than this."""
WIDEST_KHZ = 100.0

_NUMBER = r"(\d+(?:\.\d+)?)"
_FORMS = (
    re.compile(rf"(?P<way>up|down)(?: {_NUMBER}(?: ?(?:-|to|\.\.) ?{_NUMBER})?)?"),
    re.compile(rf"{_NUMBER}(?: ?(?:-|to|\.\.) ?{_NUMBER})? (?P<way>up|down)"),
)


def window_offsets_hz(text: str, mode: Mode | None = None) -> tuple[float, float]:
    """(low, high) offsets from the DX's frequency in hertz; negative for "down". Mode None reads as voice.

    Raises HearmarkError if the words are not understood or the range is beyond 100 kHz.
    """
    said = re.sub(r"\s*(?:khz|k)\b", "", " ".join(text.lower().replace("–", "-").split()))
    for form in _FORMS:
        found = form.fullmatch(said)
        if found:
            figures = [float(figure) for figure in found.groups() if figure and figure[0].isdigit()]
            return _offsets(figures, -1.0 if found["way"] == "down" else 1.0, "cw" if mode == "cw" else "voice", text)
    raise HearmarkError(f'Window "{text}" is not understood; write it like "up 5-10", "up 5 to 10", "down 2" or "up".')


def _offsets(figures: list[float], sign: float, kind: str, text: str) -> tuple[float, float]:
    """Near and far figures in kHz to ascending offsets in hertz."""
    if not figures:
        near, far = BARE_KHZ[kind]
    elif len(figures) == 1:
        near, far = (figures[0] + beyond for beyond in AROUND_KHZ[kind])
    else:
        near, far = sorted(figures)
    near = max(near, CLOSEST_KHZ)
    if far <= near or far > WIDEST_KHZ:
        raise HearmarkError(
            f'Window "{text}" reaches from {near:g} to {far:g} kHz; '
            f"it must have a width, start beyond {CLOSEST_KHZ:g} kHz and end within {WIDEST_KHZ:g} kHz."
        )
    low, high = sorted((sign * hz_from_khz(near), sign * hz_from_khz(far)))
    return low, high
