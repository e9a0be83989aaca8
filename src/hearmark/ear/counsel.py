"""Belief, advice and cue, kept in step with the exchange: what the operator is told."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from hearmark.ear import advice as advising
from hearmark.ear import cue as cueing
from hearmark.ear.belief import Belief
from hearmark.ear.bustle import Bustle
from hearmark.ear.herd import Herd, own_place
from hearmark.ear.peeks import Peeks
from hearmark.errors import HearmarkError
from hearmark.events import (
    Advice,
    Allowed,
    Answer,
    Ear,
    Event,
    Note,
    Over,
    OwnCall,
    Plan,
    RadioState,
    Working,
)  # fmt: skip
from hearmark.marks import SURE, tolerance_hz
from hearmark.pileup.exchange import Exchange
from hearmark.pileup.look import ANSWERS, CALLS, DUE, OPEN, Look

CALL_OPEN = 0.6
"""Least probability of "he listens to all" for "call": a call over somebody's reply is worse than a late one."""
VOICE_OPEN = 0.9
"""The same to begin a call in voice, where his words are not read."""
UNHEARD_OPEN = 0.65
"""The same in voice where nobody is heard in the window: of the product of that probability and the root of the
probability that his last over was to all. Fitted to how often he had answered somebody (development seeds)."""
VOICE_WAIT_S, CROWD_WAIT_S, CROWD_SHARE = 0.6, 1.5, 0.5
"""In voice a call begins after the first, or after the second if fewer than this share of the usual crowd talks."""
HEARD = 0.3
"""Mean number of voices from which the window counts as heard."""
SETTLED_S = 0.5
"""Silence of the DX before "call": pauses between his words and shallow fades are shorter."""
WORD_S = 0.45
"""Morse that stops for less may be a pause between words: the operator is not told that he is done."""
SURE_S = 0.7
"""After this long without doubt that he listens to all, others on his frequency no longer hold up "call"."""
TALKERS_S = 4.0
"""Memory of how many talk."""
KIND_SURE = 0.6
"""Least probability that an over was to one, or to all, to conclude from it that a contact began or ended."""
READY, READY_S = 0.8, 0.4
"""Probability that the running over answers somebody, and how long it must hold, for the order of peeks to be told."""
STAY = "somebody was sending there when you came: stay until you know whether he gives a report"
EARLY_S = 1.5
"""A mark belongs to a contact from so long before the over that began it."""
SIMPLEX, SPLIT_AGAIN = 0.05, 0.3
"""Probability of split below which he is said to work simplex, and from which that is over."""
SIMPLEX_OVERS = 4
GONE_SIMPLEX = "he has gone simplex: nobody answers him in the window; hear his own frequency before you call"
SAID_SIMPLEX = "simplex, as you noted: he listens where he sends; hear his own frequency before you call"
UNFOUND_ID = -1_000_000
KEPT_MARKS = 400
_STEP_S = 0.096


class Counsel:
    """Takes what the exchange found; gives `Ear` when the belief moves and `Advice` when it changes."""

    def __init__(
        self, plan: Plan, streams_hz: npt.NDArray[np.float64], one_receiver: bool = False, own_call: str = ""
    ) -> None:
        self._plan = plan
        low_hz, high_hz = plan.listen_low_hz, plan.listen_high_hz
        self._split = high_hz - low_hz > 50.0
        if not self._split:
            low_hz, high_hz = low_hz - 500.0, high_hz + 500.0
        self._belief = Belief(low_hz, high_hz, plan.heard_as, dx_hz=plan.receive_hz)
        self._machine = cueing.Machine()
        self._allowed: Allowed | None = None
        self._transmit_hz: float | None = None
        self._held_hz: float | None = None
        self._place: advising.Recommendation | None = None
        self._told: Advice | None = None
        self._marks: dict[int, tuple[float, bool, float]] = {}
        self._last_hz: float | None = None
        self._contact: Over | None = None
        self._herd, self._own_place = Herd(), own_place(own_call)
        self.peeks = Peeks(plan.heard_as, plan.receive_hz) if one_receiver and self._split else None
        self._crowd, self._one_receiver = Bustle(), one_receiver
        self._stale, self._turn_over = True, False
        self._talking, self._talkers = 0, 0.0
        self._open_s = 0.0
        self._ready: int | None = None
        self._sure_steps = 0
        """The over to whose end the hand was made ready."""
        self.doubted = False
        """The mark in the making was there when the dial came, and nothing makes it a reply so far."""
        self._seems_simplex = self._noted_simplex = False

    def works(self, working: Working) -> None:
        """How he works, by the responses to his newest overs."""
        least = SPLIT_AGAIN if self._seems_simplex else SIMPLEX
        self._seems_simplex = self._split and working.overs >= SIMPLEX_OVERS and working.split < least

    @property
    def simplex(self) -> bool:
        """He works on his own frequency, although the plan is split: it seems so, or the operator says so."""
        return self._seems_simplex or self._noted_simplex

    def _on_his_own(self, time_s: float) -> Advice:
        """What there is to say then."""
        return Advice(time_s, "listen", None, None, SAID_SIMPLEX if self._noted_simplex else GONE_SIMPLEX)

    def told(self, event: Event) -> Iterator[Event]:
        """The operator, the radio or the licence says something."""
        match event:
            case RadioState():
                self._transmit_hz = event.transmit_hz
                if self.peeks is not None:
                    self.peeks.movable = True
                return  # where to call does not depend on where we stand: who goes there is not sent on at once
            case Allowed():
                self._allowed = event
            case Note(text="simplex"):
                self._noted_simplex = self._split
            case Note():
                try:
                    self._belief = self._belief.note(event.text, event.time_s, event.frequency_hz)
                except HearmarkError:
                    return
                self._noted_simplex = False
                yield self.ear(event.time_s)
            case _:
                pass
        self._stale = True

    def ear(self, time_s: float) -> Ear:
        """The belief now."""
        return self._belief.ear(time_s)

    def marked(self, answer: Answer, now_s: float) -> Iterator[Event]:
        """A mark came, moved or went."""
        gone = answer.retracted_at_s is not None or answer.confidence < SURE
        before = self._marks.get(answer.id)
        if before is None and gone:
            return
        near_hz = tolerance_hz(self._plan.heard_as)
        moved = before is None or abs(before[0] - answer.frequency_hz) > near_hz or before[1] != gone
        if not moved:
            return
        self._marks[answer.id] = (answer.frequency_hz, gone, answer.start_s)
        while len(self._marks) > KEPT_MARKS:
            del self._marks[next(iter(self._marks))]
        self._last_hz = None if gone else answer.frequency_hz
        self._belief = self._belief.retract(answer.id) if gone else self._belief.answer(answer)
        self._stale = True
        yield self.ear(now_s)

    def over_begins(self) -> None:
        """A new over: the crowd has moved since the last recommendation, so it is made anew."""
        self._stale = self._turn_over = True
        self._crowd = self._crowd.turn_over()

    def over_ends(self, over: Over) -> Iterator[Event]:
        """An over of his has ended: if it closes a contact whose answer was not found, the belief must know of it."""
        if over.stop_s is None or over.kind_probability < KIND_SURE:
            return
        if over.kind == "answer":
            self._contact = self._contact or over
            return
        begun, self._contact = self._contact, None
        if begun is None or begun.stop_s is None:
            return
        if any(not gone and begun.start_s - EARLY_S < at_s < over.stop_s for _, gone, at_s in self._marks.values()):
            return
        self._last_hz, self._stale = None, True
        id = UNFOUND_ID - over.id
        if self.peeks is not None:
            self._belief = self.peeks.unheard(self._belief, begun.stop_s, over.start_s, id)
        else:
            self._belief = self._belief.missed(over.start_s, id)
        yield self.ear(over.stop_s)

    def closing(self, exchange: Exchange, frequency_hz: npt.NDArray[np.float64], time_s: float) -> Iterator[Advice]:
        """The last word when a stream ends: where to call, and why there."""
        self._recommend(exchange, frequency_hz, time_s)
        if self.simplex:
            yield self._on_his_own(time_s)
        elif self._place is not None:
            yield advising.advice(time_s, self._place, cueing.Cued("listen", self._place.why, 1.0))

    def step(
        self, exchange: Exchange, look: Look, mean: npt.NDArray[np.float32], frequency_hz: npt.NDArray[np.float64],
        now_s: float, own: OwnCall | None = None,
    ) -> Iterator[Event]:  # fmt: skip
        """Every 96 ms: the crowd, the recommendation when something changed, the cue. `own`: our call in this over."""
        sends = exchange.state[CALLS] + exchange.state[ANSWERS]
        if sends < 0.5 and exchange.state[OPEN] > 0.5:
            if not self._one_receiver:  # its slice tells nothing of the rest of the window
                self._crowd = self._crowd.heard(mean.mean(axis=0).astype(np.float64), _STEP_S)
            active = look.active[-1]
            self._talking = int(np.count_nonzero(active[1:] & ~active[:-1]))
            if self._open_s > CROWD_WAIT_S:
                self._talkers += _STEP_S / TALKERS_S * (self._talking - self._talkers)
        if self._stale:
            self._recommend(exchange, frequency_hz, now_s)
        moment = self._moment(exchange, look, sends, now_s, own)
        self._open_s = self._open_s + _STEP_S if exchange.state[OPEN] > 0.85 and not moment.dx_sending else 0.0
        if self._plan.heard_as != "cw" and self._open_s > SETTLED_S and self._machine.state == "answering":
            # his words are not read in voice: that nobody is answered shows only in the crowd's calling
            self._machine = cueing.Machine("idle", now_s)
        self._machine, cued = cueing.cue(self._machine, moment)
        if self._place is None:
            return
        if cued.cue == "call" or self._asks(cued, moment):
            cued = self._careful(exchange, cued, moment)
        cued = self._peeking(exchange, cued, moment)
        now = advising.advice(now_s, self._place, cued)
        if self.simplex and cued.cue in ("call", "move"):
            now = self._on_his_own(now_s)
        last = self._told
        if last is None or (last.cue, last.transmit_hz, last.why) != (now.cue, now.transmit_hz, now.why):
            self._told = now
            yield now

    def _careful(self, exchange: Exchange, cued: cueing.Cued, moment: cueing.Moment) -> cueing.Cued:
        """A call, unless it is too early to be sure that he listens to all."""
        calling = self._told is not None and self._told.cue == "call"
        voice, open_ = self._plan.heard_as != "cw", float(exchange.state[OPEN])
        least = VOICE_OPEN if voice and not calling else CALL_OPEN
        if voice and not calling and self._talkers < HEARD:
            open_, least = open_ * _to_all(exchange.last_over) ** 0.5, UNHEARD_OPEN
        if open_ < least:
            return cueing.Cued("listen", "is he answering somebody?", 1 - open_)
        if exchange.covered and not calling:
            return cueing.Cued("wait", "somebody calls on his frequency: he may be sending", 1 - open_)
        since_s = moment.since_over_s or 0.0
        unsure = self._open_s < SURE_S and min(exchange.memory.dx_quiet_s(), since_s) < SETTLED_S
        if not calling and (unsure or (voice and self._waits_for_crowd(since_s))):
            return cueing.Cued("wait", "is he done?", open_)
        return cued

    def _peeking(self, exchange: Exchange, cued: cueing.Cued, moment: cueing.Moment) -> cueing.Cued:
        """With one receiver whose dial can be moved: where to listen while another is being answered.

        Told while he still answers, so that the hand is ready when he stops: every tenth of the reply counts.
        """
        if self.peeks is None or not self.peeks.movable:
            return cued
        if exchange.marked is not None:
            stay = self.doubted and cued.cue == "listen"
            return cueing.Cued("listen", STAY, cued.probability) if stay else cued
        running, over = exchange.over, exchange.last_over
        if running is not None:
            sure = cued.cue == "wait" and moment.answered_probability > READY
            self._sure_steps = self._sure_steps + 1 if sure else 0
            if self._sure_steps * _STEP_S > READY_S:
                self._ready = running.id
            if cued.cue != "wait" or self._ready != running.id:
                return cued
            said = self.peeks.planned(running.id, self._belief.ear(moment.time_s))
            why = f"he answers another station: once he stops, {said}"
            return cueing.Cued("wait", why, cued.probability) if said else cued
        if over is None or over.kind != "answer" or cued.cue != "listen" or self._machine.state != "answering":
            return cued
        said = self.peeks.planned(over.id, self._belief.ear(moment.time_s))
        return cueing.Cued("listen", f"another station is being answered: {said}", cued.probability) if said else cued

    def _waits_for_crowd(self, since_over_s: float) -> bool:
        """In voice his words are not read: that he called to all shows in the crowd, which begins within a second."""
        few = self._talking < CROWD_SHARE * self._talkers
        return since_over_s < VOICE_WAIT_S or (few and since_over_s < CROWD_WAIT_S)

    @staticmethod
    def _asks(cued: cueing.Cued, moment: cueing.Moment) -> bool:
        """A move while he listens to all is followed by a call: the same caution holds."""
        return cued.cue == "move" and not moment.dx_sending and moment.answered_probability < cueing.ANSWERED

    def _recommend(self, exchange: Exchange, frequency_hz: npt.NDArray[np.float64], now_s: float) -> None:
        self._stale, turn_over, self._turn_over = False, self._turn_over, False
        running = (exchange.marked.frequency_hz,) if exchange.marked is not None else ()
        crowd = self._crowd.level
        crowd_db = None if crowd is None else 10.0 * np.log10(np.maximum(crowd, 1e-3))
        around = advising.Surroundings(
            self._plan.heard_as, self._plan.receive_hz, self._allowed,
            None if crowd_db is None else frequency_hz, crowd_db, running, self._last_hz,
        )  # fmt: skip
        if crowd_db is not None:
            self._belief = self._belief.heard(*advising.callers(around))
            if self._held_hz is not None and turn_over:
                self._herd = self._herd.seen(self._held_hz, around)
        self._place = advising.recommend(
            self._belief.ear(now_s), around, self._held_hz, self._own_place, self._herd.follows
        )
        if self._place.transmit_hz is not None:
            self._held_hz = self._place.transmit_hz

    def _moment(self, exchange: Exchange, look: Look, sends: float, now_s: float, own: OwnCall | None) -> cueing.Moment:
        sending = sends > 0.5 or exchange.over is not None
        due = float(exchange.state[ANSWERS] / max(sends, 1e-6)) if sending else float(exchange.state[DUE])
        last = exchange.last_over
        since = None if last is None or last.stop_s is None else max(0.0, now_s - last.stop_s)
        heard = float(look.active[-1].any()) * float(exchange.state[DUE])
        ours = own.probability if own is not None else 0.0
        pauses = self._plan.heard_as == "cw" and since is not None and since < WORD_S
        return cueing.Moment(
            now_s, sending or pauses, min(1.0, max(0.0, due)) * (1.0 - ours), min(1.0, heard), since, self._transmit_hz,
            self._place.transmit_hz if self._place else None, marked=exchange.marked is not None,
            voice=self._plan.heard_as != "cw", own_call_heard=ours, own_why=own.why if own is not None else "",
        )  # fmt: skip


def _to_all(over: Over | None) -> float:
    """Probability that an over was a call to all."""
    if over is None or over.kind == "unknown":
        return 1.0
    return over.kind_probability if over.kind == "call" else 1.0 - over.kind_probability
