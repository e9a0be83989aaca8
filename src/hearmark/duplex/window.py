"""The window as edges for listening: the likeliest reading, a single figure widened to where callers gather.

Common practice, no source: around a single figure callers stand from just below it to some way beyond.
"""

from __future__ import annotations

from hearmark.duplex.announcement import readings
from hearmark.duplex.statements import CLOSEST_KHZ
from hearmark.errors import HearmarkError
from hearmark.events import Mode
from hearmark.units import hz_from_khz, khz_from_hz

AROUND_KHZ = {"cw": (-0.5, 1.5), "voice": (-1.0, 3.0)}
WIDEST_KHZ = 100.0
_ANYWHERE_HZ = 12e6
"""Between the bands: only offsets have a meaning there."""


def window_offsets_hz(text: str, mode: Mode | None = None, on_hz: float | None = None) -> tuple[float, float]:
    """(low, high) offsets from the DX's frequency in hertz; negative for "down". Mode None reads as voice.

    `on_hz`: where the DX sends; without it whole frequencies are not understood. Raises HearmarkError if the words are
    not understood, say simplex, or the range is beyond 100 kHz.
    """
    found = readings(text, on_hz or _ANYWHERE_HZ, mode or "usb")
    if not found:
        raise HearmarkError(
            f'Window "{text}" is not understood; write it like "up 5-10", "up 5 to 10", "down 2" or "up".'
        )
    plan = found[0].plan
    low, high = (khz_from_hz(hz - plan.receive_hz) for hz in (plan.listen_low_hz, plan.listen_high_hz))
    if low == high == 0.0:
        raise HearmarkError(f'Window "{text}" says that he listens where he sends: there is no window to watch.')
    if low * high < 0.0:
        return hz_from_khz(low), hz_from_khz(high)
    sign = 1.0 if high > 0.0 else -1.0
    near, far = sorted((abs(low), abs(high)))
    if near == far:
        near, far = (near + beyond for beyond in AROUND_KHZ["cw" if mode == "cw" else "voice"])
    near = max(near, CLOSEST_KHZ)
    if far <= near or far > WIDEST_KHZ:
        raise HearmarkError(
            f'Window "{text}" reaches from {sign * near:+g} to {sign * far:+g} kHz; '
            f"it must have a width, start beyond {CLOSEST_KHZ:g} kHz and end within {WIDEST_KHZ:g} kHz."
        )
    edges = sorted((sign * hz_from_khz(near), sign * hz_from_khz(far)))
    return edges[0], edges[1]
