"""A first look at an unknown stream: Morse or voice, and where the callers are."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_closing, median_filter

from hearmark.events import Block, Mode
from hearmark.spectrum.batches import BATCH_FRAMES, Band
from hearmark.spectrum.transform import PowerArray

SURVEY_S, LONGEST_S = 16.0, 48.0
"""How long it looks if the DX was heard by then, and if he was not."""
REACH_HZ = 16_000.0
_OWN_BINS = 180
_LOUD, _BUSY = np.float32(15.0), np.float32(8.0)
"""Power over noise at which a carrier is surely there, and at which somebody probably sends."""
_BESIDE = np.r_[_OWN_BINS - 24 : _OWN_BINS - 4, _OWN_BINS + 5 : _OWN_BINS + 25]
_BESIDE_SHARE, _APART = 0.7, np.float32(4.0)
"""A carrier stands out of most of the bins within 0.4 kHz; the harmonics of a voice that reaches to here fill them."""
_QUIETER = 0.25
"""Of the bins of a frame so many are quieter than a crowd, whose power over noise follows the exponential law there."""
_NARROW_BINS = 41
"""0.6 kHz: what fills less than half of that is no voice."""
_KEYED_SHARE, _SOME_SHARE, _TALK_SHARE = 0.1, 0.03, 0.005
CUSTOM_HZ = 10e6
"""Lower sideband below, upper above (common practice, no source)."""
_TALKING = 0.03
"""Share of busy bins beside him from which he, or who talks there, is taken to talk."""
_PAUSE_S, _LEAST_S = 0.7, 2.5
"""Pauses within an over; least time of either kind to tell what has to do with him."""
_CHANCE = 0.02
_GUARD_HZ = {"cw": 300.0, "voice": 3_200.0}
_CLEAR_HZ = 500.0
"""On the side where a voice has no speech of its own, callers' speech comes so near to it."""
_LEAST_BUSY = 0.3
"""Sum over the bins of a side from which there was somebody."""
_BARE_HZ = {"cw": (500.0, 5_500.0), "voice": (3_000.0, 13_000.0)}
"""Where to look when the crowd is silent (common practice, no source)."""


class Survey:
    """Collects a quarter of a minute; then gives mode and window. Blocks of any size give the same verdict."""

    def __init__(self, dx_hz: float, first: Block) -> None:
        self._dx_hz = dx_hz
        self._band = Band(first, dx_hz, dx_hz - REACH_HZ, dx_hz + REACH_HZ)
        self._next = first.first_sample
        self._busy: list[npt.NDArray[np.uint8]] = []
        """Of each batch, in how many frames each bin was busy."""
        self._own: list[tuple[float, float, float]] = []
        """Of each batch, in how many frames his carrier was there, or speech above or below it."""
        self._keyed, self._above, self._below = 0.0, 0.0, 0.0
        self._frames = 0

    @property
    def _enough(self) -> bool:
        heard_s = self._frames * self._band.grid.hop_s
        return heard_s >= LONGEST_S or (heard_s >= SURVEY_S and (self._is_keyed or self._talks))

    @property
    def _is_keyed(self) -> bool:
        """Was a carrier where the DX is? No voice puts one on its suppressed carrier; one beside him has many lines."""
        alone = self._keyed > 2.0 * max(self._above, self._below)  # he may have begun late
        return self._keyed > (_SOME_SHARE if alone else _KEYED_SHARE) * self._frames

    @property
    def _talks(self) -> bool:
        return max(self._above, self._below) > _TALK_SHARE * self._frames

    def feed(self, block: Block) -> bool:
        """Samples in; True when enough was heard."""
        if not self._band.hears(block):
            return self._enough
        if block.first_sample != self._next:
            self._band.rest()
        self._next = block.first_sample + len(block.samples)
        for batch in self._band.feed(block):
            if self._enough:
                break
            ratio = _without_impulses(batch.ratio)
            self._busy.append((ratio > _BUSY).sum(axis=0).astype(np.uint8))
            own = self._around(ratio)
            carrier = own[:, _OWN_BINS - 2 : _OWN_BINS + 3].max(axis=1)
            beside = np.quantile(own[:, _BESIDE], _BESIDE_SHARE, axis=1)
            keyed = float(((carrier > _LOUD) & (carrier > _APART * beside)).sum())
            above = float((own[:, _OWN_BINS + 20 : _OWN_BINS + 170] > _BUSY).mean(axis=1).sum())
            below = float((own[:, _OWN_BINS - 170 : _OWN_BINS - 20] > _BUSY).mean(axis=1).sum())
            self._own.append((keyed, above, below))
            self._keyed, self._above, self._below = self._keyed + keyed, self._above + above, self._below + below
            self._frames += len(batch.ratio)
        return self._enough

    def _around(self, ratio: PowerArray) -> PowerArray:
        """The bins around the DX, he in the middle; what the recording does not cover is 0."""
        zero, bins = self._band.grid.zero, ratio.shape[1]
        out = np.zeros((len(ratio), 2 * _OWN_BINS + 1), np.float32)
        first, last = max(0, zero - _OWN_BINS), min(bins, zero + _OWN_BINS + 1)
        if first < last:
            begin = first - (zero - _OWN_BINS)
            out[:, begin : begin + last - first] = ratio[:, first:last]
        return out

    def verdict(self, mode: Mode | None) -> tuple[Mode, float, float]:
        """Mode (as given, if it is) and the edges of the window in hertz.

        A voice fills kilohertz at a time, a Morse signal a few bins. The window is where others than the DX were heard
        once he was silent, on the side of him where most were. A crowd of voices that calls all the time does so no
        more then: if nobody did, it is where most talk at all. Where nobody was, side and width are common practice.
        """
        grid = self._band.grid
        offset = grid.frequency_hz - self._dx_hz
        if mode is None:
            mode = self._mode(self._share(), offset)
        kind = "cw" if mode == "cw" else "voice"
        guard = _GUARD_HZ[kind]
        along = -offset if mode == "lsb" else offset
        others = (along > guard) | (along < -(guard if kind == "cw" else _CLEAR_HZ))
        for heard in (self._responding(mode), *([] if kind == "cw" else [self._talk()])):
            busy = np.where(others, heard, 0.0)
            up, down = busy[offset > 0].sum(), busy[offset < 0].sum()
            if max(up, down) >= _LEAST_BUSY:
                break
        else:
            low, high = _BARE_HZ[kind]
            return mode, self._dx_hz + low, self._dx_hz + high
        side = busy * ((offset > 0) if up >= down else (offset < 0))
        share = np.cumsum(side) / side.sum()
        margin = 300.0 if kind == "cw" else 700.0
        low = float(offset[np.searchsorted(share, 0.03)]) - margin
        high = float(offset[min(len(offset) - 1, int(np.searchsorted(share, 0.97)))]) + margin
        if kind == "voice":  # speech lies beside its suppressed carrier
            low, high = (low, high - 2_400.0) if mode == "usb" else (low + 2_400.0, high)
        low, high = min(low, high), max(low, high)
        if up >= down:
            low = max(low, guard / 2)
        else:
            high = min(high, -guard / 2)
        return mode, self._dx_hz + min(low, high - 500.0), self._dx_hz + high

    def _share(self) -> npt.NDArray[np.float64]:
        """Share of the time for which each bin is busy, (bins,)."""
        if not self._busy:
            return np.zeros(self._band.grid.bins)
        return np.asarray(np.maximum(np.mean(self._busy, axis=0) / BATCH_FRAMES - 0.02, 0.0))

    def _talk(self) -> npt.NDArray[np.float64]:
        """As `_share`, without what is narrower than speech."""
        return np.asarray(median_filter(self._share(), _NARROW_BINS))

    def _responding(self, mode: Mode) -> npt.NDArray[np.float64]:
        """As `_share`, but only as far as it is so more while he is silent, if he was heard both to send and to be
        silent: steady carriers and contacts beside him have nothing to do with him."""
        sends = self._sends(mode)
        least = _LEAST_S / (BATCH_FRAMES * self._band.grid.hop_s)
        if min(sends.sum(), (~sends).sum()) < least:
            return self._share()
        busy = np.stack(self._busy)
        more = (busy[~sends].mean(axis=0) - busy[sends].mean(axis=0)) / BATCH_FRAMES
        return np.asarray(np.maximum(more - _CHANCE, 0.0) * float((~sends).mean()))

    def _sends(self, mode: Mode) -> npt.NDArray[np.bool_]:
        """Of each batch: does he send, or was that a pause within an over?"""
        own = np.array(self._own).reshape(-1, 3)
        heard = own[:, 0] > 0.0 if mode == "cw" else own[:, 1 if mode == "usb" else 2] > _TALKING * BATCH_FRAMES
        pause = round(_PAUSE_S / (BATCH_FRAMES * self._band.grid.hop_s))
        return np.asarray(binary_closing(np.pad(heard, pause), np.ones(pause))[pause:-pause])

    def _mode(self, busy: npt.NDArray[np.float64], offset_hz: npt.NDArray[np.float64]) -> Mode:
        if self._is_keyed:
            return "cw"
        if self._talks:
            upper = self._dx_hz >= CUSTOM_HZ
            usual = self._above if upper else self._below
            # who talks beside him may fill the other side of his frequency more than he does his own
            as_usual = usual > _TALK_SHARE * self._frames
            return "usb" if upper == as_usual else "lsb"
        # he was not heard: Morse callers keep nearer to him
        crowd = np.where(np.abs(offset_hz) < _GUARD_HZ["cw"], 0.0, busy)
        if crowd[np.abs(offset_hz) < _GUARD_HZ["voice"]].sum() > 0.5 * crowd.sum():
            return "cw"
        return "lsb" if self._dx_hz < CUSTOM_HZ else "usb"


def _without_impulses(ratio: PowerArray) -> PowerArray:
    """An impulse fills the whole band: each frame (frames, bins) over the level that its quieter bins have."""
    level = np.quantile(ratio, _QUIETER, axis=1) / -np.log1p(-_QUIETER)
    return np.asarray(ratio / np.maximum(level, 1.0)[:, None], dtype=ratio.dtype)
