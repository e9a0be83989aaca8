"""Where we are not moved to: each refusal is one sentence, raised as HearmarkError."""

from __future__ import annotations

from hearmark.duplex.bands import band_of
from hearmark.errors import HearmarkError
from hearmark.events import Allowed, Mode, Plan
from hearmark.radio.guard import BESIDE_HZ
from hearmark.radio.order import CLEAR_HZ, clearance_hz, covers


def refuse_unlawful(may: Allowed | None, hz: float) -> None:
    """Raises where it is known that we may not send."""
    if may is not None and may.known and not any(low - 0.5 <= hz <= high + 0.5 for low, high in may.intervals_hz):
        raise HearmarkError(f"Not moved: {hz / 1e3:.2f} kHz lies outside what you may use, {may.why}.")


def refuse_covering(plan: Plan, transmit_hz: float) -> None:
    """Raises where our signal would cover the DX although the plan is not simplex."""
    if covers(plan, transmit_hz):
        raise _covering(abs(transmit_hz - plan.receive_hz), clearance_hz(plan))


def refuse_band(plan: Plan, transmit_hz: float) -> None:
    """Raises outside every amateur band, and outside the bands of the DX and of his window.

    Repeaters and satellites are spared: their own tables say where they listen.
    """
    if plan.kind not in ("simplex", "split"):
        return
    if band_of(transmit_hz) is None:
        raise HearmarkError(f"Not moved: {transmit_hz / 1e3:.2f} kHz lies in no amateur band.")
    _refuse_other_band(transmit_hz, (plan.receive_hz, plan.listen_low_hz, plan.listen_high_hz))


def refuse_place(
    hz: float, dx_hz: float, window_hz: tuple[float, float], mode: Mode, may: Allowed | None, sure: bool
) -> None:
    """Raises where we would cover the DX, off his band, where we may not send, and outside his window unless `sure`."""
    kind = "cw" if mode == "cw" else "voice"
    away_hz, clear_hz = abs(hz - dx_hz), CLEAR_HZ[kind]
    if away_hz < clear_hz:
        raise _covering(away_hz, clear_hz)
    low_hz, high_hz = window_hz
    _refuse_other_band(hz, (dx_hz, low_hz, high_hz))
    refuse_unlawful(may, hz)
    if not sure and not low_hz - BESIDE_HZ[kind] <= hz <= high_hz + BESIDE_HZ[kind]:
        where = f"{low_hz / 1e3:.2f}" if low_hz == high_hz else f"{low_hz / 1e3:.2f} to {high_hz / 1e3:.2f}"
        raise HearmarkError(f"Not moved: he listens {where} kHz, not on {hz / 1e3:.2f}; Enter once more moves there.")


def _covering(away_hz: float, clear_hz: float) -> HearmarkError:
    return HearmarkError(
        f"Not moved: {away_hz:.0f} Hz from the DX our signal would cover him; keep {clear_hz:.0f} Hz or more away."
    )


def _refuse_other_band(hz: float, his_hz: tuple[float, ...]) -> None:
    bands = {band_of(one_hz) for one_hz in his_hz} - {None}
    if bands and band_of(hz) not in bands:
        raise HearmarkError(f"Not moved: {hz / 1e3:.2f} kHz lies outside the band that he works on.")
