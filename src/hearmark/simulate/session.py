"""What a simulated pile-up is made of: stations, what they send and when, and the true contacts.

Only facts, no behaviour: `people` plays a scenario into a `Session`, `render` turns a session into
radio, scoring compares marks with `contacts`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from hearmark.events import Mode

Habit = Literal["stay", "wander", "step", "jump", "two spots", "quiet"]
Role = Literal["cq", "answer", "again", "confirm", "call", "reply", "other"]
"""cq: the DX to all; answer: the DX to one; again: the DX asks the same one once more; confirm: the DX closes
(and usually invites the next); call: a caller in the pile-up; reply: the answered caller's report;
other: somebody's remark ("up up", tuning, a call on the DX's own frequency)."""


@dataclass(frozen=True, slots=True)
class Scenario:
    """Every knob of one pile-up. Frequencies are absolute hertz, levels dB, times seconds."""

    mode: Mode
    dx_hz: float
    window_low_hz: float
    window_high_hz: float
    habit: Habit
    callers: int
    undisciplined: float
    median_snr_db: float
    channel: str
    duration_s: float
    seed: int
    snr_spread_db: float = 8.0
    dx_snr_db: float = 15.0
    name: str = "varied"
    human_speech: bool = False
    impulses_per_s: float = 0.0
    carriers: int = 0
    sloppiness: float = 0.5
    """0: everyone by the book and at one pace; 1: every variation of text, timing, repeats, manners at its widest."""
    announces: float | None = None
    """How fully the DX says where he listens, 0 ("up") to 1 (with figures), see `texts.up_phrase`; None: drawn."""
    morse_wpm: float | None = None
    """Speed of the DX in Morse; None: drawn. The callers send about as fast."""
    renewed: bool = False
    """Whoever gives up makes room for a newcomer, as while a rare station is wanted by more than can get through; else
    only those who were worked do."""


@dataclass(frozen=True, slots=True)
class Station:
    """One operator. Index 0 is the DX. `snr_db` is at our receiver: mean power while keyed or talking, before
    fading, over noise in 2500 Hz."""

    index: int
    call: str
    snr_db: float
    speed_wpm: float
    voice: str
    """Names a synthesiser or recorded voice (see `speech`); unused in CW."""
    fist: int
    """Seed of this operator's keying habits."""


@dataclass(frozen=True, slots=True)
class Transmission:
    """One station sends `text` from `start_s` to `stop_s` on `frequency_hz` (carrier, or suppressed carrier)."""

    station: int
    start_s: float
    stop_s: float
    frequency_hz: float
    text: str
    role: Role
    keying_s: npt.NDArray[np.float64] | None = None
    """CW only: key-down and key-up times in seconds since `start_s`, shape (n, 2)."""


@dataclass(frozen=True, slots=True)
class Contact:
    """One attempt of the DX to work one caller. `reports`: start and stop of each reply the caller sent in it."""

    station: int
    call: str
    frequency_hz: float
    answered_at_s: float
    reports: tuple[tuple[float, float], ...]
    completed: bool


@dataclass(frozen=True, slots=True)
class Session:
    """The truth of one pile-up, in time order."""

    scenario: Scenario
    stations: tuple[Station, ...]
    transmissions: tuple[Transmission, ...]
    contacts: tuple[Contact, ...]
    listening_hz: tuple[tuple[float, float], ...] = ()
    """(time, frequency): where the DX's receiver stood from that moment on."""
