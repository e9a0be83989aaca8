"""One receiver, live: where to peek while a reply lasts, said in a sentence, and what silence there means."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from hearmark.ear import search
from hearmark.ear.belief import Belief
from hearmark.ear.search import Search
from hearmark.events import Ear, Mode

NODES = 3_000
"""Orders that one plan may go through: a few milliseconds."""
MOST_SAID = 4
"""So many peeks can be kept in mind."""
LEAST_GAIN = 0.01
"""A peek that is less likely to find him is not worth the telling."""
DWELL_S = 0.45
"""The engine marks a reply that the slice holds within a third to half a second."""
BACK: dict[Mode, float] = {mode: reply.delay_s + reply.length_s for mode, reply in search.REPLY.items()}
"""When to turn back, in seconds after he stopped: later he would begin unheard, and whom he then answers be unknown."""
NARROW_HZ = 1_200.0
"""A Morse filter up to so wide is a narrow one."""
EDGE = 0.9
"""Of a filter's width this share is heard well."""
HEARS = 0.75
"""Chance of finding a reply on which the receiver stood for a second of it; common practice, no source."""
SLICE_HZ = {"cw": (200.0, 1_200.0), "usb": (-1_000.0, 1_000.0), "lsb": (-1_000.0, 1_000.0)}
"""Carriers that a receiver hears, from its dial: Morse as a tone in the audio, voices about tuned in."""


class Peeks:
    """Follows the dial of one receiver. `movable`: it was seen to move, or the radio tells where it stands."""

    def __init__(self, mode: Mode, dx_hz: float) -> None:
        self._mode, self._dx_hz = mode, dx_hz
        self._receivers = (search.NARROW, search.WIDE) if mode == "cw" else (replace(search.VOICE, dwell_s=DWELL_S),)
        self._slice_hz = SLICE_HZ[mode]
        self.dial_offset_hz = 0.0
        """What the dial shows when the middle of its slice lies on a frequency, from that frequency."""
        self.movable = False
        self._dial_hz: float | None = None
        self._stood: list[tuple[float, float, float]] = []
        """(dial, from, until), newest last."""
        self._over: int | None = None
        self._plan: Search | None = None

    def passes(self, low_hz: float, high_hz: float, pitch_hz: float | None = None) -> None:
        """What the filter in use lets through, from the suppressed carrier: plans are made for that. `pitch_hz`: the
        tone of a carrier that the dial shows; None: the middle of the filter."""
        if self._mode != "cw":
            return
        self._slice_hz = (low_hz, high_hz)
        self.dial_offset_hz = 0.0 if pitch_hz is None else pitch_hz - 0.5 * (low_hz + high_hz)
        usual = search.NARROW if high_hz - low_hz <= NARROW_HZ else search.WIDE
        dwell_s = max(DWELL_S, usual.dwell_s)
        self._receivers = (replace(usual, width_hz=EDGE * (high_hz - low_hz), dwell_s=dwell_s),)

    def dial(self, dial_hz: float, start_s: float, stop_s: float) -> None:
        """The receiver stood on `dial_hz` from `start_s` to `stop_s`."""
        if self._dial_hz is not None and dial_hz != self._dial_hz:
            self.movable = True
        if self._stood and dial_hz == self._dial_hz and start_s - self._stood[-1][2] < 0.05:
            self._stood[-1] = (dial_hz, self._stood[-1][1], stop_s)
        else:
            self._stood = [*self._stood[-40:], (dial_hz, start_s, stop_s)]
        self._dial_hz = dial_hz

    def planned(self, over: int, ear: Ear) -> str:
        """The best order of peeks for the reply to this over, as "listen at +3.4, then +2.8, back by 2.1 s"."""
        if over != self._over or self._plan is None:
            expected = search.REPLY[self._mode]
            self._over = over
            self._plan = search.plan(ear, self._dx_hz, self._receivers, expected, BACK[self._mode], NODES)
        return self._said(self._plan)

    def _said(self, plan: Search) -> str:
        if not plan.peeks:
            return ""
        places: list[str] = []
        for peek in plan.peeks:
            place = f"{(peek.frequency_hz + self.dial_offset_hz - self._dx_hz) / 1_000.0:+.1f}"
            if not places or (places[-1] != place and peek.gain >= LEAST_GAIN):
                places.append(place)
        chosen = self._mode == "cw" and len(self._receivers) > 1
        width = "" if not chosen else " (narrow filter)" if plan.receiver is search.NARROW else " (wide filter)"
        return f"listen at {', then '.join(places[:MOST_SAID])} kHz{width}, back by {plan.back_s:.1f} s"

    def unheard(self, belief: Belief, since_s: float, time_s: float, id: int) -> Belief:
        """He answered somebody between the two times and nothing was found: less likely where the receiver stood."""
        grid_hz = belief.frequency_hz
        below_hz, above_hz = self._slice_hz
        missed = np.ones(len(grid_hz))
        for dial_hz, start_s, stop_s in self._stood:
            heard_s = min(stop_s, time_s) - max(start_s, since_s)
            if heard_s > 0.0:
                inside = (grid_hz >= dial_hz + below_hz) & (grid_hz <= dial_hz + above_hz)
                missed = np.where(inside, missed * (1.0 - HEARS * min(1.0, heard_s)), missed)
        return belief.unheard(time_s, grid_hz, 1.0 - np.maximum(missed, 1.0 - HEARS), id)
