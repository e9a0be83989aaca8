"""A lesson: one pile-up, the radio as it is found, what is shown, and a text. One TOML file each, ours and a teacher's.

The model below is the one table of name, default and meaning; `python -m hearmark.practice.lesson` prints it for the
documentation. The same file and seed give the same pile-up.
"""

from __future__ import annotations

import json
import random
import re
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from hearmark.duplex.bands import band_of, usual_mode
from hearmark.duplex.window import window_offsets_hz
from hearmark.errors import HearmarkError
from hearmark.events import Mode
from hearmark.simulate import channel
from hearmark.simulate.session import Habit, Scenario

Aid = Literal["ear", "marks", "words"]
"""ear: the hill where he is likely to listen next, and the cue; marks: who was answered, on the ladder; words: what
the DX sends, as text."""
WIDEST_HZ = 34_000.0
"""From the DX to the far end of the window: as far as the receiver's stream reaches."""
EXACT_HZ = 100.0
"""A single figure, like "up 5", stands for this much to either side."""
LARGEST = 100_000


class Lesson(BaseModel):
    """Unknown names and wrong types are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

    title: str = Field(min_length=1, max_length=60, description="What it is called.")
    text: str = Field(
        min_length=1, max_length=4000, description="What the learner reads; a blank line parts paragraphs."
    )
    mode: Literal["cw", "usb", "lsb"] | None = Field(
        default=None, description="Mode; empty: the learner's choice, else by the band's custom."
    )
    dx_khz: float = Field(default=14_023.0, gt=100.0, lt=500_000.0, description="Where the DX sends, in CW.")
    voice_khz: float = Field(default=14_195.0, gt=100.0, lt=500_000.0, description="Where the DX sends, in voice.")
    window: str = Field(default="up 1-3", description="Where he listens in CW, in the words of the trade.")
    voice_window: str = Field(default="up 5-10", description="Where he listens in voice.")
    habit: Literal["stay", "wander", "step", "jump", "two spots", "quiet"] = Field(
        default="stay", description="How he moves in the window from contact to contact."
    )
    wpm: float | None = Field(default=None, ge=8.0, le=50.0, description="Morse speed of the DX; else about 28.")
    callers: int = Field(default=10, ge=1, le=150, description="How many call.")
    undisciplined: float = Field(default=0.0, ge=0.0, le=1.0, description="Share of those who keep no order.")
    sloppiness: float = Field(
        default=0.3, ge=0.0, le=1.0, description="0: all by the book and at one pace, 1: everyone in his own way."
    )
    callers_snr_db: float = Field(default=12.0, ge=-20.0, le=40.0, description="Median strength of the callers here.")
    dx_snr_db: float = Field(default=18.0, ge=-10.0, le=40.0, description="Strength of the DX here.")
    own_snr_db: float = Field(default=14.0, ge=-20.0, le=40.0, description="Your strength at the DX.")
    channel: str = Field(default="mid quiet", description="Fading, a row of ITU-R F.1487, or flat.")
    crashes_per_s: float = Field(default=0.0, ge=0.0, le=50.0, description="Static crashes.")
    carriers: int = Field(default=0, ge=0, le=10, description="Steady carriers on the band.")
    minutes: float = Field(default=6.0, ge=0.5, le=60.0, description="How long it may last.")
    seed: int = Field(default=1, ge=0, le=10**9, description="Draws everything that is left open.")
    says: Literal["drawn", "bare", "figure", "range"] = Field(
        default="drawn", description="How he says where he listens: up; up 5; up 5 to 10."
    )
    receivers: Literal[1, 2] = Field(
        default=2, description="2: the DX in the left ear, your transmit dial in the right; 1: one dial in both ears."
    )
    aids: tuple[Aid, ...] = Field(default=(), strict=False, description="What is shown: ear, marks, words.")
    split_on: bool = Field(default=False, description="Split is on already when the lesson begins.")
    on_him: bool = Field(default=True, description="The receive dial stands on the DX when the lesson begins.")
    goal: Literal["contact", "answered"] = Field(
        default="contact", description="What ends it well: a contact, or finding an answered station by ear."
    )

    @model_validator(mode="after")
    def _whole(self) -> Lesson:
        channel.row(self.channel)
        for mode in modes(self):
            scenario(self, mode, self.seed)
        return self


def modes(lesson: Lesson) -> tuple[Mode, ...]:
    """The modes in which it can be played."""
    if lesson.mode is not None:
        return (lesson.mode,)
    return "cw", usual_mode(lesson.voice_khz * 1000.0) if usual_mode(lesson.voice_khz * 1000.0) != "cw" else "usb"


def scenario(lesson: Lesson, mode: Mode, seed: int) -> Scenario:
    """The pile-up of this lesson. Raises HearmarkError for a window that cannot be."""
    dx_hz = 1000.0 * (lesson.dx_khz if mode == "cw" else lesson.voice_khz)
    if band_of(dx_hz) is None:
        raise HearmarkError(f"the DX on {dx_hz / 1000.0:g} kHz is in no amateur band")
    words = lesson.window if mode == "cw" else lesson.voice_window
    low_hz, high_hz = window_offsets_hz(words, mode, dx_hz)
    single = re.fullmatch(r"(up|down)\s+(\d+(?:\.\d+)?)", words.strip().lower())
    if single:
        at_hz = 1000.0 * float(single[2]) * (1.0 if single[1] == "up" else -1.0)
        low_hz, high_hz = at_hz - EXACT_HZ, at_hz + EXACT_HZ
    if low_hz * high_hz <= 0.0 or max(abs(low_hz), abs(high_hz)) > WIDEST_HZ:
        raise HearmarkError(
            f'the window "{words}" must lie on one side of the DX and end within {WIDEST_HZ / 1e3:g} kHz'
        )
    rng = random.Random(f"{lesson.title} {seed}")
    announces = {
        "drawn": None, "bare": 0.0, "figure": 0.7 if mode == "cw" else 0.4, "range": 0.85 if mode == "cw" else 0.6,
    }[lesson.says]  # fmt: skip
    return Scenario(
        mode=mode,
        dx_hz=dx_hz,
        window_low_hz=dx_hz + low_hz,
        window_high_hz=dx_hz + high_hz,
        habit=_habit(lesson),
        callers=lesson.callers,
        undisciplined=lesson.undisciplined,
        median_snr_db=lesson.callers_snr_db,
        channel=lesson.channel,
        duration_s=60.0 * lesson.minutes,
        seed=rng.randrange(10**9),
        dx_snr_db=lesson.dx_snr_db,
        name=lesson.title,
        impulses_per_s=lesson.crashes_per_s,
        carriers=lesson.carriers,
        sloppiness=lesson.sloppiness,
        announces=announces,
        morse_wpm=lesson.wpm,
        renewed=True,
    )


def _habit(lesson: Lesson) -> Habit:
    return lesson.habit


def lesson_from(content: dict[str, Any], where: str) -> Lesson:
    """A lesson from TOML values. Raises HearmarkError with one sentence that names the entry at fault."""
    try:
        return Lesson.model_validate(content)
    except HearmarkError as error:
        raise HearmarkError(f"The lesson {where} cannot be played: {error}.".replace("..", ".")) from None
    except ValidationError as error:
        first = error.errors()[0]
        name = ".".join(str(part) for part in first["loc"]) or "the lesson"
        why = first["msg"].lower().removeprefix("value error, ")
        if first["type"] == "extra_forbidden":
            why = "there is no such entry"
        raise HearmarkError(
            f"The lesson {where} has a fault at {name}: {why}; docs/practice.md lists what may stand there."
        ) from None


def read_lesson(path: Path) -> Lesson:
    """A teacher's lesson from a TOML file."""
    try:
        raw = path.read_bytes()
        if len(raw) > LARGEST:
            raise HearmarkError(f"The lesson {path} has {len(raw)} bytes; at most {LARGEST} are read.")
        content = tomllib.loads(raw.decode("utf-8"))
    except OSError as error:
        raise HearmarkError(f"Cannot read the lesson {path}: {error.strerror}; give a TOML file.") from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise HearmarkError(f"The lesson {path} is not TOML ({error}); mend that place.") from None
    return lesson_from(content, str(path))


def levels() -> dict[str, Lesson]:
    """The lessons that come with the program, by name, the easiest first."""
    found = {}
    folder = files("hearmark.practice").joinpath("levels")
    for entry in sorted(folder.iterdir(), key=lambda one: one.name):
        if entry.name.endswith(".toml"):
            number_and_name = entry.name.removesuffix(".toml")
            found[number_and_name.partition("-")[2]] = lesson_from(tomllib.loads(entry.read_text("utf-8")), entry.name)
    return found


def page() -> str:
    """The table of entries for docs/practice.md."""
    lines = ["| entry | default | meaning |", "| --- | --- | --- |"]
    for name, field in Lesson.model_fields.items():
        default = "must be given" if field.is_required() else f"`{json.dumps(field.default)}`"
        lines.append(f"| `{name}` | {default} | {field.description} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    print(page(), end="")
