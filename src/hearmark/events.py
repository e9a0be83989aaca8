"""The facts that pass between rooms.

Every event is a frozen dataclass stamped on the sample clock: seconds since the first sample of
the stream (`*_s`), never the wall clock. Frequencies are absolute, in hertz (`*_hz`). A stage that
revises an earlier event sends it again with the same `id`; readers keep the newest of each id.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

ComplexArray = npt.NDArray[np.complex64]
FloatArray = npt.NDArray[np.float64]
Mode = Literal["cw", "usb", "lsb"]
PlanMode = Literal["cw", "usb", "lsb", "am", "fm"]
Kind = Literal["cw", "voice"]
OverKind = Literal["call", "answer", "confirm", "unknown"]
Cue = Literal["wait", "call", "listen", "move", "you"]


@dataclass(frozen=True, slots=True)
class Block:
    """Contiguous samples of one stream.

    `samples`: complex64, shape (n,). Complex baseband: sample at 0 Hz lies at `center_hz`. Real
    audio of one receiver is carried as its analytic signal with `audio=True`; then `center_hz` is
    the suppressed-carrier (dial) frequency, so that +1000 Hz of audio is center + 1000 Hz for an
    upper sideband receiver.
    """

    first_sample: int
    sample_rate_hz: float
    center_hz: float
    samples: ComplexArray
    audio: bool = False

    @property
    def start_s(self) -> float:
        """Sample time of the first sample, in seconds."""
        return self.first_sample / self.sample_rate_hz

    @property
    def stop_s(self) -> float:
        """Sample time just after the last sample, in seconds."""
        return (self.first_sample + len(self.samples)) / self.sample_rate_hz


@dataclass(frozen=True, slots=True)
class Gap:
    """Time for which there are no usable samples: dropped blocks, own transmission, a cut file."""

    start_s: float
    stop_s: float
    why: str


@dataclass(frozen=True, slots=True)
class Dial:
    """One receiver's dial from this moment on, for mono audio: what it hears, and whether we key."""

    time_s: float
    receive_hz: float
    keyed: bool = False


@dataclass(frozen=True, slots=True)
class Levels:
    """What the source measured and corrected: a report about the receiver, not about the air."""

    time_s: float
    peak_dbfs: float
    clipped_share: float
    dc_dbfs: float
    image_rejection_db: float | None = None
    clock_ppm: float | None = None
    dropped_samples: int = 0


@dataclass(frozen=True, slots=True)
class CallHeard:
    """A call found in the text of one transmission. `step`: of the reader, 32 ms each, when its last letter came."""

    call: str
    probability: float
    step: int


@dataclass(frozen=True, slots=True)
class Emission:
    """One continuous transmission by one station. `stop_s` is None while it goes on.

    `sure`: the probability of each character of `text`. `call`: the likeliest of `calls`, if its probability is 0.8 or
    more.
    `partials`: pieces of calls in it. Of a voice `frequency_hz` is the suppressed carrier, where round figures are a
    little likelier than others; `measured_hz` is the same without that; `chain`, when it is over: a number
    that all transmissions share which are taken for the same voice.
    """

    id: int
    start_s: float
    stop_s: float | None
    frequency_hz: float
    kind: Kind
    snr_db: float
    text: str = ""
    speed_wpm: float | None = None
    call: str | None = None
    sure: tuple[float, ...] = ()
    calls: tuple[CallHeard, ...] = ()
    partials: tuple[str, ...] = ()
    measured_hz: float | None = None
    pitch_hz: float | None = None
    chain: int | None = None


@dataclass(frozen=True, slots=True)
class Over:
    """An emission of the DX. `kind` says whom it addresses, with `kind_probability`; `sure`: the probability of each
    character of `text`."""

    id: int
    start_s: float
    stop_s: float | None
    frequency_hz: float
    text: str = ""
    kind: OverKind = "unknown"
    kind_probability: float = 0.0
    snr_db: float | None = None
    sure: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class OwnCall:
    """The DX sent our call, or something like it. `heard`: what he sent; `letters`: our call with a dot for each letter
    that was not in it; `probability`: that he means us; `why`: what to do about it."""

    id: int
    time_s: float
    call: str
    heard: str
    kind: Literal["whole", "part", "near"]
    letters: str
    probability: float
    why: str


@dataclass(frozen=True, slots=True)
class Turn:
    """The time between two overs, when others may send. `callers`: how many were heard in it."""

    id: int
    start_s: float
    stop_s: float | None
    after_over: int
    callers: int = 0


@dataclass(frozen=True, slots=True)
class Answer:
    """A mark: the caller whom the DX picked, found by computation or by the operator's key."""

    id: int
    start_s: float
    stop_s: float | None
    marked_at_s: float
    frequency_hz: float
    confidence: float
    call: str | None = None
    snr_db: float | None = None
    turn: int | None = None
    by: Literal["computation", "operator"] = "computation"
    retracted_at_s: float | None = None


@dataclass(frozen=True, slots=True)
class Working:
    """How the DX works, as his newest overs and the responses to them tell, announced or not.

    `split`: probability that he listens elsewhere than he sends; `overs`: how many told; `low_hz`, `high_hz`: edges of
    where those call who respond to him, None while that is not known.
    """

    time_s: float
    split: float
    mode: Mode
    overs: int
    low_hz: float | None = None
    high_hz: float | None = None


@dataclass(frozen=True, slots=True)
class Ear:
    """Belief about where the DX listens next: density over `frequency_hz`, sums to 1 times step.

    `frequency_hz`, `density_per_hz`: float64, shape (n,), evenly spaced, ascending.
    """

    time_s: float
    frequency_hz: FloatArray
    density_per_hz: FloatArray
    habit: str
    habit_weights: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do this second, and where."""

    time_s: float
    cue: Cue
    transmit_hz: float | None
    success_per_call: float | None
    why: str
    alternative_hz: float | None = None
    cue_probability: float = 1.0


@dataclass(frozen=True, slots=True)
class Plan:
    """A frequency pair: what we receive, where we may be heard, in which mode.

    `transmit_mode` None: as received. `tone`: tone in hertz ("88.5") or tone code ("D023") that opens a repeater.
    `duplex` is ours: with "full" we hear what we send coming back.
    """

    receive_hz: float
    listen_low_hz: float
    listen_high_hz: float
    mode: PlanMode
    duplex: Literal["simplex", "half", "full"] = "half"
    kind: Literal["simplex", "split", "repeater", "satellite"] = "split"
    transmit_mode: PlanMode | None = None
    tone: str = ""

    @property
    def heard_as(self) -> Mode:
        """The mode as the listening stages know it: AM and FM, which they do not read, pass as upper sideband."""
        return "usb" if self.mode in ("am", "fm") else self.mode  # type: ignore[return-value]


@dataclass(frozen=True, slots=True)
class Allowed:
    """Where we may send: closed intervals of suppressed carrier or CW carrier, and why."""

    intervals_hz: tuple[tuple[float, float], ...]
    known: bool
    why: str


@dataclass(frozen=True, slots=True)
class RadioState:
    """What the radio last reported. None: it cannot say."""

    time_s: float
    receive_hz: float | None
    transmit_hz: float | None
    split: bool | None
    mode: str | None
    rit_hz: float | None = None
    xit_hz: float | None = None
    locked: bool | None = None


@dataclass(frozen=True, slots=True)
class Warned:
    """The guard warns, or takes a warning back (`active` False). `kind` is one of `hearmark.radio.guard.KINDS`."""

    time_s: float
    kind: str
    why: str
    active: bool = True


@dataclass(frozen=True, slots=True)
class KeyState:
    """Our own transmitter goes on or off; while it is on the stream is a Gap."""

    time_s: float
    keyed: bool


@dataclass(frozen=True, slots=True)
class Note:
    """What the operator tells us: "up 5 to 10", "going down", a mark by hand, a mark taken back."""

    time_s: float
    text: str
    frequency_hz: float | None = None
    answer: int | None = None


@dataclass(frozen=True, slots=True)
class Spot:
    """A report by somebody that a station is on the air. Read only."""

    time_s: float
    call: str
    frequency_hz: float
    comment: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the picture behind the ladder: power over the floor, dB, shape (n,), float32."""

    time_s: float
    low_hz: float
    step_hz: float
    power_db: npt.NDArray[np.float32]


Event = (
    Block
    | Gap
    | Dial
    | Levels
    | Emission
    | Over
    | OwnCall
    | Turn
    | Answer
    | Working
    | Ear
    | Advice
    | Plan
    | Allowed
    | RadioState
    | KeyState
    | Warned
    | Note
    | Spot
    | Row
)
