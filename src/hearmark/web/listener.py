"""The operator's ears: two-ear sound, the ring behind it, and the last answer ready to be heard again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from hearmark.errors import HearmarkError
from hearmark.events import Answer, Block, Mode
from hearmark.web.frames import pack
from hearmark.web.sound import SOUND_RATE_HZ, Ring, Tuning, TwoEar, Width, render_spot, slowed

Ear = Literal["left", "right"]
RESTART_S = 2.0
"""After a hole longer than this the sound starts anew instead of playing silence for it."""
LEAD_S, TAIL_S = 0.4, 0.4
KEPT_ANSWERS = 8
OPEN_ANSWER_S = 4.0
"""How much is played of an answer whose end is not known yet."""


@dataclass(frozen=True, slots=True)
class _Clip:
    block: Block
    complete: bool


class Listener:
    """`feed` blocks and answers; takes sound frames out. Sound is made only while `on`."""

    def __init__(self, dx_hz: float, mode: Mode, spot_hz: float) -> None:
        self.mode: Mode = mode
        self.dx_hz, self.spot_hz = dx_hz, spot_hz
        self.on = False
        self.ducked = False
        self.widths: dict[Ear, Width] = {"left": "usual", "right": "usual"}
        self.trouble = ""
        """Why there is no sound, in one sentence; empty when there is."""
        self._ring = Ring()
        self._ears: TwoEar | None = None
        self._last: Block | None = None
        self._answers: dict[int, Answer] = {}
        self._clips: dict[int, _Clip] = {}

    def feed(self, block: Block) -> bytes | None:
        """Keeps the block for a replay; gives a sound frame when sound is on and a hop is complete."""
        self._ring.feed(block)
        self._cut_clip(block.stop_s)
        if not self.on:
            self._ears = self._last = None
            return None
        last, self._last = self._last, block
        if last is None or _another_stream(last, block):
            self._ears = self._begin(block)
        if self._ears is None:
            return None
        self._ears.ducked = self.ducked
        sound = self._ears.feed(block)
        if not len(sound.pcm):
            return None
        values = {"first_sample": sound.first_sample, "rate_hz": SOUND_RATE_HZ, "time_s": block.stop_s}
        return pack("sound", values, sound.pcm)

    def _begin(self, block: Block) -> TwoEar | None:
        dx, spot = self._tuning("left"), self._tuning("right")
        try:
            ears = TwoEar(block.sample_rate_hz, block.center_hz, dx, spot)
        except HearmarkError as error:
            self.trouble = str(error)
            return None
        self.trouble = ""
        return ears

    def listen_at(self, spot_hz: float) -> None:
        """Moves the right ear."""
        self.spot_hz = spot_hz
        if self._ears is not None:
            self._ears.tune("right", self._tuning("right"))

    def widen(self, ear: Ear, width: Width) -> None:
        """Another filter for one ear."""
        self.widths[ear] = width
        if self._ears is not None:
            self._ears.tune(ear, self._tuning(ear))

    def _tuning(self, ear: Ear) -> Tuning:
        return Tuning(self.dx_hz if ear == "left" else self.spot_hz, self.mode, self.widths[ear])

    def follow(self, dx_hz: float, mode: Mode) -> None:
        """Moves the left ear, for a DX that moved or a plan that says otherwise."""
        if (dx_hz, mode) == (self.dx_hz, self.mode):
            return
        self.dx_hz, self.mode = dx_hz, mode
        if self._ears is not None:
            self._ears.tune("left", self._tuning("left"))
            self._ears.tune("right", self._tuning("right"))

    def remember(self, answer: Answer) -> None:
        """The newest answer that stands is the one to hear again; a later state may say more of when and where."""
        if answer.retracted_at_s is not None:
            self._answers.pop(answer.id, None)
            self._clips.pop(answer.id, None)
            return
        self._answers[answer.id] = answer
        while len(self._answers) > KEPT_ANSWERS:
            oldest = min(self._answers.values(), key=lambda kept: kept.start_s).id
            del self._answers[oldest]
            self._clips.pop(oldest, None)

    @property
    def _answer(self) -> Answer | None:
        return max(self._answers.values(), key=lambda kept: kept.start_s, default=None)

    def _cut_clip(self, now_s: float) -> None:
        """Takes the answers out of the ring as long as the ring has them."""
        for answer in self._answers.values():
            clip = self._clips.get(answer.id)
            if clip is not None and clip.complete:
                continue
            stop_s = (answer.stop_s if answer.stop_s is not None else answer.start_s + OPEN_ANSWER_S) + TAIL_S
            block = self._ring.cut(answer.start_s - LEAD_S, min(stop_s, now_s))
            complete = now_s >= stop_s and (answer.stop_s is not None or now_s >= stop_s + self._ring.length_s / 2)
            if block is not None and (clip is None or complete or block.stop_s > clip.block.stop_s):
                self._clips[answer.id] = _Clip(block, complete)

    def replay(self, slow: bool = False) -> bytes:
        """The last answer as one frame, Morse slowed if wished; raises HearmarkError when there is none to be heard."""
        answer = self._answer
        if answer is None:
            raise HearmarkError("There is no answer to hear again yet.")
        clip = self._clips.get(answer.id)
        if clip is None:
            raise HearmarkError("The last answer is no longer in memory: only the last 10 seconds are kept.")
        tuning = Tuning(answer.frequency_hz, self.mode)
        values = {
            "rate_hz": float(SOUND_RATE_HZ),
            "frequency_hz": tuning.frequency_hz,
            "start_s": clip.block.start_s,
        }
        pcm = render_spot(clip.block, tuning)
        return pack("replay", values, slowed(pcm) if slow and self.mode == "cw" else pcm)


def _another_stream(last: Block, block: Block) -> bool:
    same = (last.sample_rate_hz, last.center_hz) == (block.sample_rate_hz, block.center_hz)
    return not same or not 0 <= block.start_s - last.stop_s <= RESTART_S
