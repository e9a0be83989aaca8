"""Two-ear sound: the DX in the left ear, a chosen spot of the window in the right, from one I/Q stream.

Both ears share one transform. Frames of three hops (20 ms each) are filtered by overlap-save
(Oppenheim and Schafer, Discrete-Time Signal Processing, section 8.7), and only the bins near the wanted
frequency are transformed back, which shifts, filters and resamples to 12 kHz in one step. Samples are
regrouped into hops counted from the first sample, so block sizes change nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.fft import fft, ifft
from scipy.signal import hilbert, resample_poly
from scipy.signal.windows import kaiser

from hearmark.errors import HearmarkError
from hearmark.events import Block, Mode

SOUND_RATE_HZ = 12_000
HOP_S = 0.02
HOP = int(SOUND_RATE_HZ * HOP_S)
FRAME = 3 * HOP
PITCH_HZ = 600.0
Width = Literal["narrow", "usual", "wide"]
CW_HALF_WIDTH_HZ: dict[Width, float] = {"narrow": 100.0, "usual": 200.0, "wide": 400.0}
VOICE_BAND_HZ: dict[Width, tuple[float, float]] = {
    "narrow": (400.0, 2100.0), "usual": (300.0, 2700.0), "wide": (150.0, 3400.0),
}  # fmt: skip
SLOWER = (3, 2)
"""A slowed replay takes three halves of the time."""
TARGET_RMS = 0.1
CEILING = 0.5
KAISER_BETA = 7.0
"""About 70 dB of stop band; the transition is about 110 Hz for a filter of 40 ms (Kaiser's formula)."""
RELEASE_S = 2.0
FLOOR_HOPS = 150
FLOOR_RATIO = 10.0
DUCK = 10 ** (-10 / 20)

Pcm = npt.NDArray[np.int16]
Samples = npt.NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Tuning:
    """What one ear listens to: carrier (CW) or suppressed carrier (SSB), the mode, and how wide the filter is."""

    frequency_hz: float
    mode: Mode
    width: Width = "usual"


@dataclass(frozen=True, slots=True)
class Sound:
    """Stereo sound: `pcm` int16, shape (n, 2), left the DX, right the spot; `first_sample` counts at 12 kHz."""

    first_sample: int
    pcm: Pcm


def passband_hz(mode: Mode, width: Width = "usual") -> tuple[float, float]:
    """Edges (-6 dB) of the passband relative to the tuned frequency."""
    if mode == "cw":
        return -CW_HALF_WIDTH_HZ[width], CW_HALF_WIDTH_HZ[width]
    low, high = VOICE_BAND_HZ[width]
    return (low, high) if mode == "usb" else (-high, -low)


def _hop_in(sample_rate_hz: float) -> int:
    hop = sample_rate_hz * HOP_S
    if sample_rate_hz <= 0 or abs(hop - round(hop)) > 1e-9:
        raise HearmarkError(
            f"Two-ear sound needs a sample rate that is a multiple of 50 Hz, but got {sample_rate_hz:g} Hz; "
            "resample the recording, or listen without sound."
        )
    return round(hop)


@lru_cache(maxsize=16)
def _response(
    sample_rate_hz: float, offset_hz: float, mode: Mode, width: Width
) -> tuple[int, npt.NDArray[np.complex128]]:
    """Middle bin and the filter's response on the 720 bins around it, for a spot at `offset_hz` of the centre."""
    size = 3 * _hop_in(sample_rate_hz)
    length = 2 * (size // 3) + 1
    low, high = passband_hz(mode, width)
    time_s = (np.arange(length) - length // 2) / sample_rate_hz
    taps = np.sinc((high - low) * time_s) * (high - low) / sample_rate_hz * kaiser(length, KAISER_BETA)
    carrier = np.exp(2j * np.pi * (offset_hz + (low + high) / 2) * time_s)
    spectrum = fft(taps * carrier, size)
    middle = round(offset_hz * size / sample_rate_hz)
    bins = middle + np.arange(-FRAME // 2, FRAME // 2)
    inside = (bins >= -(size // 2)) & (bins < (size + 1) // 2)
    return middle, np.where(inside, spectrum[bins % size], 0.0)


def _covers(sample_rate_hz: float, offset_hz: float, mode: Mode) -> bool:
    low, high = passband_hz(mode)
    half = sample_rate_hz / 2
    return -half <= offset_hz + low and offset_hz + high <= half


def _demodulate(
    spectrum: Samples, start_sample: int, sample_rate_hz: float, center_hz: float, tuning: Tuning
) -> npt.NDArray[np.float64]:
    """The last hop of one frame as audio, shape (240,). `start_sample`: of the frame in the stream."""
    offset_hz = tuning.frequency_hz - center_hz
    if not _covers(sample_rate_hz, offset_hz, tuning.mode):
        return np.zeros(HOP)
    size = len(spectrum)
    middle, response = _response(sample_rate_hz, offset_hz, tuning.mode, tuning.width)
    bins = (middle + np.arange(-FRAME // 2, FRAME // 2)) % size
    picked = np.fft.ifftshift(spectrum[bins] * response)
    narrow = np.asarray(ifft(picked))[-HOP:] * (FRAME / size)
    shift_hz = offset_hz - (PITCH_HZ if tuning.mode == "cw" else 0.0)
    # The phase is a function of absolute time, so it is continuous over hops without being carried along.
    turns = (shift_hz * (start_sample / sample_rate_hz)) % 1.0
    since_s = np.arange(FRAME - HOP, FRAME) / SOUND_RATE_HZ
    phase = turns + (shift_hz - middle * sample_rate_hz / size) * since_s
    return np.asarray((narrow * np.exp(-2j * np.pi * phase)).real)


@dataclass
class _Leveller:
    """Slow gain control and a limiter that looks one hop ahead, so that its ramps never pass the ceiling."""

    level: float = 0.0
    recent: list[float] = field(default_factory=list)
    waiting: npt.NDArray[np.float64] | None = None
    wanted: float = 0.0
    edge: float = 0.0

    def feed(self, audio: npt.NDArray[np.float64], scale: float) -> npt.NDArray[np.float64] | None:
        """Take one hop, give back the one before it at its level."""
        power = float(np.mean(np.square(audio)))
        release = HOP_S / RELEASE_S
        self.level += (power - self.level) * (0.5 if power > self.level else release)
        self.recent = [*self.recent[1 - FLOOR_HOPS :], power]
        # Noise alone stays 10 dB below the target: the floor is the quietest hop of the last three seconds.
        level = max(self.level, FLOOR_RATIO * min(self.recent), 1e-20)
        wanted = scale * TARGET_RMS / math.sqrt(level)
        before, last = self.waiting, self.wanted
        self.waiting, self.wanted = audio, wanted
        if before is None:
            return None
        peak = max(float(np.max(np.abs(before))), float(np.max(np.abs(audio))), 1e-12)
        edge = min(last, wanted, CEILING / peak)
        ramp = self.edge + (edge - self.edge) * np.arange(1, HOP + 1) / HOP
        self.edge = edge
        return np.asarray(np.clip(before * ramp, -CEILING, CEILING))


class _Framer:
    """Regroups blocks into hops counted from the first sample; missing samples are zeros."""

    def __init__(self, sample_rate_hz: float, first_sample: int) -> None:
        self.hop = _hop_in(sample_rate_hz)
        self.next_sample = first_sample
        self.frame_start = first_sample - 2 * self.hop
        self._held = np.zeros(2 * self.hop, dtype=np.complex128)

    def feed(self, block: Block) -> list[tuple[int, Samples]]:
        """Transforms of every frame now complete, each with the stream index of its first sample."""
        samples = block.samples.astype(np.complex128)
        lacking = block.first_sample - self.next_sample
        if lacking < 0:
            samples = samples[-lacking:]
        parts = [self._held, np.zeros(max(lacking, 0), dtype=np.complex128), samples]
        held = np.concatenate(parts)
        self.next_sample = max(self.next_sample, block.first_sample + len(block.samples))
        frames = []
        while len(held) >= 3 * self.hop:
            frames.append((self.frame_start, np.asarray(fft(held[: 3 * self.hop]))))
            held = held[self.hop :]
            self.frame_start += self.hop
        self._held = held
        return frames


class _Channel:
    """One ear: tuning, and a cross-fade of one hop when it changes, so that nothing clicks."""

    def __init__(self, tuning: Tuning) -> None:
        self.tuning = tuning
        self._heard = tuning
        self._leveller = _Leveller()

    def feed(
        self, spectrum: Samples, start: int, rate_hz: float, center_hz: float, scale: float
    ) -> npt.NDArray[np.float64] | None:
        audio = _demodulate(spectrum, start, rate_hz, center_hz, self.tuning)
        if self._heard != self.tuning:
            fade = np.arange(HOP) / HOP
            old = _demodulate(spectrum, start, rate_hz, center_hz, self._heard)
            audio = old * (1 - fade) + audio * fade
            self._heard = self.tuning
        return self._leveller.feed(audio, scale)


class TwoEar:
    """Streams I/Q into stereo sound: left the DX, right the spot. The delay is 60 ms of sample time."""

    def __init__(self, sample_rate_hz: float, center_hz: float, left: Tuning, right: Tuning) -> None:
        _hop_in(sample_rate_hz)
        self.sample_rate_hz, self.center_hz = sample_rate_hz, center_hz
        self.ducked = False
        """Lowers the DX by 10 dB, so that the spot stands out."""
        self._ears: dict[Literal["left", "right"], _Channel] = {"left": _Channel(left), "right": _Channel(right)}
        self._framer: _Framer | None = None
        self._made = 0

    def tune(self, ear: Literal["left", "right"], tuning: Tuning) -> None:
        """Listen elsewhere from the next hop on."""
        self._ears[ear].tuning = tuning

    def feed(self, block: Block) -> Sound:
        """Sound that this block completes; may be empty. Blocks of one rate and centre only."""
        if block.sample_rate_hz != self.sample_rate_hz or block.center_hz != self.center_hz:
            raise HearmarkError(
                f"Two-ear sound was set up for {self.sample_rate_hz:g} Hz around {self.center_hz:g} Hz, but got "
                f"{block.sample_rate_hz:g} Hz around {block.center_hz:g} Hz; start it anew for another stream."
            )
        if self._framer is None:
            self._framer = _Framer(self.sample_rate_hz, block.first_sample)
        hops: list[npt.NDArray[np.float64]] = []
        for start, spectrum in self._framer.feed(block):
            scale = DUCK if self.ducked else 1.0
            left = self._ears["left"].feed(spectrum, start, self.sample_rate_hz, self.center_hz, scale)
            right = self._ears["right"].feed(spectrum, start, self.sample_rate_hz, self.center_hz, 1.0)
            if left is not None and right is not None:
                hops.append(np.stack([left, right], axis=1))
        stereo = np.concatenate(hops) if hops else np.zeros((0, 2))
        sound = Sound(self._made, np.round(stereo * 32767).astype(np.int16))
        self._made += len(stereo)
        return sound


def render_spot(block: Block, tuning: Tuning) -> Pcm:
    """A whole recording of one spot, int16, shape (n,), for the replay of an answer."""
    ears = TwoEar(block.sample_rate_hz, block.center_hz, tuning, tuning)
    tail = np.zeros(3 * _hop_in(block.sample_rate_hz), dtype=np.complex64)
    padded = Block(
        block.first_sample, block.sample_rate_hz, block.center_hz, np.concatenate([block.samples, tail]), block.audio
    )
    return ears.feed(padded).pcm[:, 1]


def slowed(pcm: Pcm) -> Pcm:
    """Morse at two thirds of its speed and at its pitch, int16, shape (n,): its envelope is stretched, not its tone.

    What is off the pitch by some hertz comes nearer to it by a third.
    """
    time_s = np.arange(len(pcm)) / SOUND_RATE_HZ
    envelope = hilbert(pcm.astype(np.float64)) * np.exp(-2j * np.pi * PITCH_HZ * time_s)
    longer = resample_poly(envelope, *SLOWER)
    carrier = np.exp(2j * np.pi * PITCH_HZ * np.arange(len(longer)) / SOUND_RATE_HZ)
    limit = CEILING * 32767
    return np.asarray(np.round(np.clip((longer * carrier).real, -limit, limit)), dtype=np.int16)


class Ring:
    """The last seconds of the stream, to hear an answer again whose frequency was not tuned at the time."""

    def __init__(self, length_s: float = 10.0) -> None:
        self.length_s = length_s
        self._blocks: list[Block] = []

    def feed(self, block: Block) -> None:
        """Keep this block, and let go of what is older than `length_s`."""
        last = self._blocks[-1] if self._blocks else None
        if last and (last.sample_rate_hz, last.center_hz) != (block.sample_rate_hz, block.center_hz):
            self._blocks = []
        self._blocks.append(block)
        while len(self._blocks) > 1 and self._blocks[0].stop_s < block.stop_s - self.length_s:
            del self._blocks[0]

    def cut(self, start_s: float, stop_s: float) -> Block | None:
        """What is kept between these times, gaps as zeros; None when nothing is."""
        parts = [b for b in self._blocks if b.stop_s > start_s and b.start_s < stop_s]
        if not parts:
            return None
        rate = parts[0].sample_rate_hz
        first = max(parts[0].first_sample, round(start_s * rate))
        stop = min(parts[-1].first_sample + len(parts[-1].samples), round(stop_s * rate))
        samples = np.zeros(max(stop - first, 0), dtype=np.complex64)
        for block in parts:
            low = max(block.first_sample, first)
            high = min(block.first_sample + len(block.samples), stop)
            samples[low - first : high - first] = block.samples[low - block.first_sample : high - block.first_sample]
        return Block(first, rate, parts[0].center_hz, samples, parts[0].audio)
