"""One ordinary receiver: the audio that its loudspeaker gives while its dial is moved."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import numba
import numpy as np
import numpy.typing as npt
from scipy import fft

from hearmark.errors import HearmarkError
from hearmark.events import Dial, Mode
from hearmark.files import write_whole
from hearmark.simulate.audio import band
from hearmark.simulate.render import Renderer
from hearmark.simulate.session import Session

Audio = npt.NDArray[np.float32]

PITCH_HZ = 600.0
"""Tone of a CW signal whose carrier the dial shows: common practice, no source."""
ATTACK_S = 0.003
RECOVERY_S = 0.4
LEVEL = 0.1
"""Where the gain control holds the audio, full scale 1."""


def receive(
    session: Session,
    dial_log: Sequence[Dial],
    mode: Mode | None = None,
    slice_hz: tuple[float, float] | None = None,
    rate_hz: int = 8000,
    pitch_hz: float = PITCH_HZ,
    stop_s: float | None = None,
) -> Audio:
    """Mono audio of `session` as one receiver hears it, float32, full scale 1.

    `dial_log`: where the dial stands from each moment on, ascending; silence before the first, and while keyed. The
    dial shows the suppressed carrier in voice; in CW the carrier that is heard at `pitch_hz`. `slice_hz`: audio band
    that passes; without it 300 to 2700 Hz, in CW 500 Hz about the pitch. `mode`: that of the session if left out.
    """
    mode = mode or session.scenario.mode
    if not dial_log:
        raise HearmarkError("The dial log is empty; give at least one dial position at time 0.")
    if any(b.time_s < a.time_s for a, b in pairwise(dial_log)):
        raise HearmarkError("The dial log is not in time order; sort it by time_s.")
    low_hz, high_hz = slice_hz or ((pitch_hz - 250.0, pitch_hz + 250.0) if mode == "cw" else (300.0, 2700.0))
    if not 0 <= low_hz < high_hz <= 0.48 * rate_hz:
        raise HearmarkError(
            f"The audio slice {low_hz:g} to {high_hz:g} Hz does not fit; give one within 0 to {0.48 * rate_hz:g} Hz."
        )
    total = round((session.scenario.duration_s if stop_s is None else stop_s) * rate_hz)
    heard = np.zeros(total, np.complex64)
    deaf = np.ones(total, np.bool_)
    renderers: dict[float, Renderer] = {}
    starts = [min(total, max(0, round(dial.time_s * rate_hz))) for dial in dial_log]
    for dial, start, stop in zip(dial_log, starts, [*starts[1:], total], strict=True):
        if stop > start and not dial.keyed:
            carrier_hz = dial.receive_hz - (pitch_hz if mode == "cw" else 0.0)
            if carrier_hz not in renderers:
                while len(renderers) >= 4:
                    del renderers[next(iter(renderers))]
                renderers[carrier_hz] = Renderer(session, rate_hz, carrier_hz)
            heard[start:stop] = renderers[carrier_hz].samples(start, stop - start)
            deaf[start:stop] = False
    if mode == "lsb":
        heard = heard.conj()
    sliced = _sliced(heard, low_hz, high_hz, rate_hz)
    audio, _ = gain_controlled(sliced, deaf, ATTACK_S * rate_hz, RECOVERY_S * rate_hz)
    return audio


def write_dial_log(path: Path, dial_log: Sequence[Dial]) -> None:
    """Write the CSV that goes with the audio: time_s, receive_hz, keyed (1 or 0)."""
    lines = ["time_s,receive_hz,keyed"]
    lines += [f"{dial.time_s:.4f},{dial.receive_hz:.3f},{int(dial.keyed)}" for dial in dial_log]
    write_whole(path, "\n".join(lines) + "\n")


def _sliced(heard: npt.NDArray[np.complex64], low_hz: float, high_hz: float, rate_hz: int) -> Audio:
    """The audio of positive frequencies from `low_hz` to `high_hz`, in overlapping pieces."""
    size = 1 << 15
    hop = size // 2
    f_hz = np.asarray(np.fft.fftfreq(size, 1 / rate_hz), dtype=np.float64)
    gain = band(f_hz, low_hz, high_hz, edge_hz=60.0).astype(np.float32)
    out = np.zeros(len(heard), np.float32)
    padded = np.concatenate([np.zeros(hop // 2, np.complex64), heard, np.zeros(size, np.complex64)])
    for start in range(0, len(heard), hop):
        piece = fft.ifft(fft.fft(padded[start : start + size]) * gain).real
        count = min(hop, len(heard) - start)
        out[start : start + count] = piece[hop // 2 : hop // 2 + count]
    return out


def gain_controlled(
    audio: Audio, deaf: npt.NDArray[np.bool_], attack: float, recovery: float, level: float = 1e-3
) -> tuple[Audio, float]:
    """Hold the level near `LEVEL`; keep the gain while deaf. Times in samples.

    `level`: of the audio before, as the control had it; returned with the audio for what follows.
    """
    out, after = _gain_controlled(audio, deaf, attack, recovery, level)
    return np.asarray(out), float(after)


@numba.njit(cache=True, nogil=True)
def _gain_controlled(
    audio: Audio, deaf: npt.NDArray[np.bool_], attack: float, recovery: float, level: float
) -> tuple[Audio, float]:
    out = np.zeros_like(audio)
    up, down = 1.0 - math.exp(-1.0 / attack), 1.0 - math.exp(-1.0 / recovery)
    for k in range(len(audio)):
        if deaf[k]:
            continue
        x = abs(audio[k])
        level += (x - level) * (up if x > level else down)
        y = audio[k] * (LEVEL * 1.5 / max(level, 1e-6))
        out[k] = min(0.99, max(-0.99, y))
    return out, level
