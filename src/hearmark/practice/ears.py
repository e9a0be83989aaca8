"""What the learner hears: both dials, and his own sending in place of them while the key is down."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from hearmark.events import Block, Mode
from hearmark.simulate import keying, speech
from hearmark.simulate.emitter import Emitter, keyed_envelope
from hearmark.web.frames import pack
from hearmark.web.sound import PITCH_HZ, SOUND_RATE_HZ, Tuning, TwoEar

OWN_LEVEL = 0.08
"""Root mean square of one's own sending over full scale: softer than what is received."""
_OWN_KEY = Emitter(rise_s=0.005)


def own_sound(text: str, mode: Mode, speed_wpm: float, voice: str) -> npt.NDArray[np.int16]:
    """How we hear ourselves: a tone at the pitch in Morse, our voice in speech. int16, shape (n,), at 12 kHz."""
    if mode == "cw":
        keys = keying.key(text, speed_wpm, 0)
        envelope = keyed_envelope(keys, 0.0, float(keys[-1, 1]), _OWN_KEY, float(SOUND_RATE_HZ)).real
        tone = np.sin(2.0 * np.pi * PITCH_HZ * np.arange(len(envelope)) / SOUND_RATE_HZ)
        audio = envelope * tone * (OWN_LEVEL * np.sqrt(2.0))
    else:
        audio = np.asarray(speech.speak(text, voice, SOUND_RATE_HZ)) * OWN_LEVEL
    return np.asarray(np.round(np.clip(audio, -0.5, 0.5) * 32767), dtype=np.int16)


class Ears:
    """Blocks in, sound frames for the page out."""

    def __init__(self, mode: Mode) -> None:
        self._mode: Mode = mode
        self._two: TwoEar | None = None
        self._mute = 0
        self._made = 0

    def send(self, samples: int) -> None:
        """Our own sending of that length begins: nothing is received until it has ended.

        The page plays it by itself, at once: in the stream it would come behind what is in store there.
        """
        self._mute = samples

    @property
    def muted(self) -> bool:
        """Whether our own sending goes on."""
        return self._mute > 0

    def feed(self, block: Block, left_hz: float, right_hz: float, low_left: bool = False) -> bytes | None:
        """Sound of one block with the dials there; `low_left`: the left ear 10 dB down."""
        left, right = Tuning(left_hz, self._mode), Tuning(right_hz, self._mode)
        if self._two is None:
            self._two = TwoEar(block.sample_rate_hz, block.center_hz, left, right)
        self._two.tune("left", left)
        self._two.tune("right", right)
        self._two.ducked = low_left
        pcm = self._two.feed(block).pcm
        if not len(pcm):
            return None
        if self.muted:
            # The receiver goes on underneath, so that its gain is right when it is heard again.
            pcm = pcm.copy()
            pcm[: self._mute] = 0
            self._mute = max(0, self._mute - len(pcm))
        values = {"first_sample": self._made, "rate_hz": SOUND_RATE_HZ, "time_s": block.stop_s}
        self._made += len(pcm)
        return pack("sound", values, pcm)
