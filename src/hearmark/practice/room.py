"""The place where a learner practises: one lesson at a time at the pace of life, shared with every open page."""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Callable
from typing import Any

from hearmark.engine import EngineConfig
from hearmark.errors import HearmarkError
from hearmark.events import Event, KeyState, RadioState
from hearmark.practice import yardstick
from hearmark.practice.aide import Aide
from hearmark.practice.desk import Dial
from hearmark.practice.ears import Ears, own_sound
from hearmark.practice.faults import Sends
from hearmark.practice.lesson import Aid, Lesson
from hearmark.practice.play import OWN_VOICE, Practice
from hearmark.practice.sheet import PENDING, sheet
from hearmark.practice.showing import Chosen, lesson_message, levels_message, snapshot, status
from hearmark.practice.wishes import Wish, frequency_hz, read_wish
from hearmark.web.fan import Fan, Lane, Tab
from hearmark.web.frames import pack
from hearmark.web.pace import Pace
from hearmark.web.sound import SOUND_RATE_HZ
from hearmark.web.story import Story
from hearmark.web.wire import EVENT_VERSION, as_text

INBOX = 64
STATUS_S = 0.5
SHOWN: dict[Aid, frozenset[str]] = {
    "marks": frozenset({"Over", "Turn", "Answer", "Emission"}),
    "ear": frozenset({"Ear", "Advice"}),
    "words": frozenset(),
}
"""What of the engine's events each aid lets through."""
AFTER_S = 180.0
"""After the contact the band goes on for so long, for whoever wants to listen."""


class Room:
    """`lessons`: what can be chosen. `call`: the learner's own. `keep` is given each finished score sheet."""

    def __init__(
        self,
        lessons: dict[str, Lesson],
        call: str = "",
        keep: Callable[[dict[str, Any]], None] | None = None,
        voice: bool = True,
        chosen: Chosen | None = None,
        alone: bool = True,
    ) -> None:
        self.fan = Fan()
        self.pace = Pace()
        self._lessons, self._call, self._keep, self._voice = lessons, call, keep, voice
        self._chosen, self._alone = chosen or Chosen(), alone
        self._inbox: queue.Queue[tuple[Tab | None, Wish]] = queue.Queue(INBOX)
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="hearmark-practice", daemon=True)
        self.practice: Practice | None = None
        self._name = ""
        self._ears: Ears | None = None
        self._aide: Aide | None = None
        self._story = Story()
        self._aids: set[Aid] = set()
        self._aids_used: set[Aid] = set()
        self._sound_on = self._quiet = False
        self._keyed = False
        self._heard_s = 0.0
        self._status_due_s = 0.0
        self._over = False
        self._others: dict[str, float | str | None] = {}
        self._said: dict[str, Any] | None = None
        self._trouble = ""

    # The outside

    def start(self) -> None:
        """Open the room."""
        self._thread.start()

    def stop(self) -> None:
        """Close it."""
        self._stopping.set()
        self._forget_aide()
        self.pace.stop()
        if self._thread.is_alive():
            self._thread.join(5.0)

    def open(self, tab: Tab) -> None:
        """A page comes: the lessons, and how the one under way stands."""
        self.fan.open(tab, self._greeting)

    def close(self, tab: Tab) -> None:
        """A page goes."""
        self.fan.close(tab)

    def take(self, tab: Tab | None, text: str) -> None:
        """A wish of a page; met between two blocks."""
        try:
            self._inbox.put_nowait((tab, read_wish(text)))
        except queue.Full:
            raise HearmarkError("Too many requests wait already; try again in a moment.") from None

    # The lesson's thread

    def _run(self) -> None:
        while not self._stopping.is_set():
            practice = self.practice
            if practice is None or self._over:
                self._meet(wait_s=0.2)
                continue
            self._meet()
            self.pace.hold(self._meet)
            if practice is not self.practice or self._over:
                continue
            try:
                self._step(practice)
            except Exception as error:  # the page must learn of it, whatever it is
                self._trouble = str(error) if isinstance(error, HearmarkError) else f"The program failed: {error}"
                self._end(practice)
                if not isinstance(error, HearmarkError):
                    raise

    def _step(self, practice: Practice) -> None:
        if not len(self.fan) and not self.pace.paused:
            # Nobody looks: the lesson waits where it is.
            self.pace.pause(True)
            return
        block = practice.next_block()
        ears = self._ears
        if ears is not None and self._sound_on:
            sound = ears.feed(block, *practice.desk.ears_hz, self._quiet)
            if sound is not None:
                self.fan.put("sound", sound)
        self._heard_s = block.stop_s
        if self._aide is not None:
            keyed = practice.sending is not None
            if keyed != self._keyed:
                self._keyed = keyed
                self._aide.feed(KeyState(block.start_s, keyed))
            self._aide.feed(block)
        if practice.state in ("done", "time is up", "left") or practice.now_s > (practice.ended_s or 1e9) + AFTER_S:
            if practice.state == "worked":
                practice.leave()
            self._end(practice)
        self._tell()
        if block.stop_s >= self._status_due_s:
            self._status_due_s = block.stop_s + STATUS_S
            self._put(self._status())
        # A press is heard at once, not when the block is due
        self.pace.wait(block.stop_s, self._meet)

    def _meet(self, wait_s: float | None = None) -> None:
        """The wishes that wait."""
        while True:
            try:
                tab, wish = self._inbox.get(timeout=wait_s) if wait_s else self._inbox.get_nowait()
            except queue.Empty:
                return
            wait_s = None
            try:
                self._obey(wish)
            except HearmarkError as error:
                if tab is not None:
                    refused = {"version": EVENT_VERSION, "type": "refused", "verb": wish.verb, "why": str(error)}
                    tab.put("text", as_text(refused))
            self._tell()

    def _obey(self, wish: Wish) -> None:
        if wish.verb == "begin":
            self._begin(wish)
            return
        if wish.verb == "sound":
            self._sound_on = wish.on
            return
        if wish.verb == "quiet":
            self._quiet = wish.on
            return
        practice = self.practice
        if practice is None:
            raise HearmarkError("No lesson is under way: choose one and begin.")
        if wish.verb == "pause":
            self.pace.pause(wish.on)
            self._put(self._status())
        elif wish.verb == "leave":
            practice.leave()
            self._end(practice)
        elif wish.verb == "log":
            practice.log(wish.text)
            self._end(practice)
        elif self._over:
            raise HearmarkError("The lesson is over: begin it again, or choose another.")
        elif wish.verb == "aid":
            self._aid(practice, wish)
        else:
            self._hands(practice, wish)

    def _hands(self, practice: Practice, wish: Wish) -> None:
        """What the learner does at the radio."""
        desk = practice.desk
        dial: Dial = "receive" if wish.dial == "receive" else "transmit"
        before = desk.dials
        match wish.verb:
            case "turn":
                desk.turn(dial, wish.hz)
            case "put":
                desk.put(dial, frequency_hz(wish.text, practice.scenario.dx_hz))
            case "split":
                desk.split(wish.on)
            case "lock":
                desk.lock(wish.on)
            case "rit":
                desk.rit(wish.hz)
            case "level":
                desk.level()
            case "exchange":
                desk.exchange()
            case "peek":
                desk.peek(wish.on)
            case "mark":
                practice.mark(self._ear_time(practice, wish))
            case _:
                self._key(practice, wish)
        if desk.dials != before:
            state = RadioState(practice.now_s, desk.receive_hz, desk.transmit_hz, desk.dials.split, practice.mode)
            if self._aide is not None:
                self._aide.feed(state)
            self._publish(state)

    def _key(self, practice: Practice, wish: Wish) -> None:
        what: Sends = "report" if wish.what == "report" else "call"
        practice.press(what, self._ear_time(practice, wish))
        if self._ears is not None:
            speed_wpm = practice.pileup.stations[0].speed_wpm
            own = own_sound(practice.text_of(what), practice.mode, speed_wpm, OWN_VOICE)
            self._ears.send(len(own))
            if self._sound_on:
                self.fan.put("sound", pack("own", {"rate_hz": float(SOUND_RATE_HZ)}, own))

    def _ear_time(self, practice: Practice, wish: Wish) -> float:
        heard_s = self._heard_s if wish.heard_s is None else wish.heard_s
        return min(max(heard_s, self._heard_s - 2.0), practice.now_s)

    def _begin(self, wish: Wish) -> None:
        if wish.name not in self._lessons:
            raise HearmarkError(f"There is no lesson {wish.name!r} here.")
        lesson = self._lessons[wish.name]
        mode = wish.mode or None
        if mode not in (None, "cw") and not self._voice:
            raise HearmarkError("Voice needs a speech synthesiser, which is not installed here; the README tells how.")
        practice = Practice(lesson, mode, wish.seed, wish.call or self._call)  # type: ignore[arg-type]
        self.practice, self._name, self._ears = practice, wish.name, Ears(practice.mode)
        self._aids = set(lesson.aids)
        self._aids_used = set(self._aids)
        self._forget_aide()
        self._story = Story()
        self._keyed = self._over = False
        self._heard_s = self._status_due_s = 0.0
        self._trouble = ""
        self._others = {"tail_ender_s": PENDING, "program_s": PENDING}
        self._said = None
        self.pace.stop()
        self.pace = Pace()
        self._listen_in(practice)
        self._put(self._snapshot())

    def _listen_in(self, practice: Practice) -> None:
        """The engine hears along as soon as an aid needs it."""
        if self._aide is None and self._aids & {"ear", "marks"}:
            here = practice.scenario
            config = EngineConfig(here.dx_hz, practice.mode, here.window_low_hz, here.window_high_hz)
            self._aide = Aide(config, self._publish)

    def _forget_aide(self) -> None:
        if self._aide is not None:
            self._aide.stop()
        self._aide = None

    def _aid(self, practice: Practice, wish: Wish) -> None:
        if wish.what not in SHOWN:
            raise HearmarkError(f"There is no aid {wish.what!r}.")
        name: Aid = wish.what
        if wish.on:
            self._aids.add(name)
            self._aids_used.add(name)
        else:
            self._aids.discard(name)
        self._listen_in(practice)
        self._put(self._snapshot())

    # The end, and what others needed

    def _end(self, practice: Practice) -> None:
        if self._over:
            return
        self._over = True
        self._said = None
        self._forget_aide()
        self._put(self._status())
        threading.Thread(target=self._compare, args=(practice,), name="hearmark-others", daemon=True).start()

    def _compare(self, practice: Practice) -> None:
        """Play the same pile-up with the other two, and hand the sheet in."""
        given = (practice.lesson, practice.mode, practice.seed, practice.call)

        def gone() -> bool:
            return self._stopping.is_set() or self.practice is not practice

        with contextlib.suppress(HearmarkError):
            self._others["tail_ender_s"] = yardstick.perfect_tail_ender(*given)
            self._tell()
            self._others["program_s"] = yardstick.program(*given, stop=gone)
        if gone():
            return
        self._tell()
        if self._keep is not None:
            try:
                self._keep({**sheet(practice, self._others), "aids": sorted(self._aids_used)})
            except HearmarkError as error:
                self._trouble = str(error)
                self._tell()

    # What the pages get

    def _publish(self, event: Event) -> None:
        with self.fan.story_lock:
            kept = self._story.feed(event)
            if isinstance(kept, bytes):
                if "marks" in self._aids:
                    self.fan.put_locked("row", kept)
            elif kept is not None and self._lets_through(kept["type"]):
                self.fan.put_locked("text", as_text(kept))

    def _lets_through(self, kind: str) -> bool:
        return kind in ("RadioState", "KeyState") or any(kind in SHOWN[aid] for aid in self._aids)

    def _put(self, message: dict[str, Any]) -> None:
        self.fan.put("text", as_text({"version": EVENT_VERSION, **message}))

    def _tell(self) -> None:
        """How the lesson stands, if that has changed."""
        with self.fan.story_lock:
            message = self._message()
            if message != self._said:
                self._said = message
                self.fan.put_locked("text", as_text({"version": EVENT_VERSION, **message}))

    def _message(self) -> dict[str, Any]:
        practice = self.practice
        if practice is None:
            return {"type": "practice", "stage": "choose", "sound": self._sound_on, "quiet": self._quiet}
        made = sheet(practice, self._others) if self._over else None
        return lesson_message(
            practice, self._name, self._aids, made, self._sound_on, self._quiet, self._heard_s, self._trouble
        )

    def _status(self) -> dict[str, Any]:
        return status(self.practice, self._heard_s, self._over, self.pace)

    def _snapshot(self) -> dict[str, Any]:
        events = [kept for kept in self._story.messages() if self._lets_through(kept["type"])]
        return snapshot(self.practice, self._aids, events, self._status())

    def _greeting(self) -> list[tuple[Lane, str | bytes]]:
        levels = levels_message(self._lessons, self._call, self._voice, self._chosen, self._alone)
        messages = [levels, self._snapshot(), self._message()]
        rows: list[tuple[Lane, str | bytes]] = []
        if "marks" in self._aids:
            rows = [("row", row) for row in self._story.rows()]
        return [*(("text", as_text({"version": EVENT_VERSION, **one})) for one in messages), *rows]
