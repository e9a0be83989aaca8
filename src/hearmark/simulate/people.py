"""Plays a pile-up: the DX works callers one by one, the callers do what callers do. Events only, no radio.

`play` gives a whole session; `Pileup` the same step by step, with a place in it for our own station.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from hearmark.errors import HearmarkError
from hearmark.simulate import calls, cast, dx, hearing
from hearmark.simulate.air import Air, Durations, Sending, stream
from hearmark.simulate.callers import Caller
from hearmark.simulate.crowd import Crowd, called_for
from hearmark.simulate.listening import Listening
from hearmark.simulate.phrases import Purpose
from hearmark.simulate.session import Contact, Role, Scenario, Session, Station, Transmission
from hearmark.simulate.texts import Talk, up_phrase

_WORDS = {"EU": "europe", "NA": "north america", "SA": "south america", "AS": "asia", "OC": "pacific", "AF": "africa"}


def play(scenario: Scenario, durations: Durations | None = None, keyed: bool = True) -> Session:
    """The whole pile-up of `scenario`, the same for the same scenario.

    `durations`: real lengths of speech (an object with `speech_s(text, voice)`), default an estimate from the pace of
    each speaker. `keyed` False leaves `keying_s` out, for studies that need no waveform.
    """
    pileup = Pileup(scenario, durations, keyed)
    pileup.advance(scenario.duration_s)
    return pileup.session()


@dataclass(slots=True)
class _Exchange:
    """One attempt to work one caller, while it goes on."""

    station: int
    call: str
    frequency_hz: float
    answered_at_s: float
    copy: str
    attempt: int = 0
    parts: int = 0
    fragment: str = ""
    replying: bool = False
    chatted: bool = False
    full: Sending | None = None
    reports: list[Sending] = field(default_factory=list)


class Pileup:
    """A pile-up step by step.

    `advance` moves the clock. Before it passes a moment, `call` and `reply` put our own station on the air then; the
    DX may answer it (`answering` is its call, and the text of his over has it, or part of it), and works it when he
    copies the reply (`worked`). `own` is our station once it has called; its sendings are in no list.
    """

    def __init__(self, scenario: Scenario, durations: Durations | None = None, keyed: bool = False) -> None:
        """`durations` and `keyed` as for `play`. Raises HearmarkError for a scenario that cannot be."""
        cast.check(scenario)
        self.scenario = scenario
        self._rng = rng = stream(scenario.seed, 0)
        self._cast = cast.Cast(scenario, rng)
        self.stations = self._cast.stations
        later = 0 if scenario.renewed else round(scenario.duration_s / 9.0)
        crowd = [self._cast.next() for _ in range(scenario.callers + later)]
        self._air = air = Air(scenario, self.stations, durations, keyed)
        self._calls = {station.index: station.call for station in self.stations}
        self._who = dx.operator(scenario, rng)
        self._listening = Listening(scenario, rng)
        self._receiver = dx.Receiver(air, self._who, self._listening.passband_hz, self._listening.spread_hz, rng)
        self._talk = Talk(scenario.mode, scenario.sloppiness, rng)
        self._up_style = rng.random() if scenario.sloppiness else 0.0
        if scenario.announces is not None:
            self._up_style = scenario.announces
        self._crowd = Crowd(air, crowd, self.stations[0].call, rng)
        self._spare = [caller for caller in crowd if caller.arrives_s > scenario.duration_s]
        self._replaced = 0
        self._exchange: _Exchange | None = None
        self._contacts: list[Contact] = []
        self._tuned: list[tuple[float, float]] = []
        self._own: Station | None = None
        self._own_power = 0.0
        self._own_worked_s: float | None = None
        self._only = ""
        self._only_left = 0
        self._turn_start_s = 0.0
        self._turn_listens_s = 0.0
        self._tunes_left = 0
        self._turns_in_vain = 0
        self._since_id = rng.randint(0, 4)
        self._log_tuning()
        if rng.random() < 0.4:
            air.phase = "inviting"
            self._crowd.invited(0.0, "")
            air.at(0.0, self._open_turn)
        else:
            air.at(rng.uniform(0.2, 3.0), self._invite, "cq")

    # What the outside does

    def advance(self, until_s: float, until_over: bool = False) -> list[Transmission]:
        """Let the pile-up go on to `until_s`; the transmissions that started since the last call, in order.
        With `until_over` it stops earlier, at the moment in which the DX begins to send.

        One that was returned before comes again, with the same station and start, when its sender broke off: what is
        left out then lies after the time it had been advanced to. Raises HearmarkError for a time in the past.
        """
        if until_s < self._air.now_s:
            raise HearmarkError(
                f"The pile-up stands at {self._air.now_s:.3f} s and cannot go back to {until_s:.3f} s: advance on."
            )
        return self._air.run(until_s, until_over)

    def call(self, start_s: float, frequency_hz: float, snr_at_dx_db: float, call: str, stop_s: float) -> None:
        """Our own station calls from `start_s` to `stop_s`; `snr_at_dx_db` in 2500 Hz at the DX's receiver."""
        self._not_past(start_s, stop_s)
        if self._own is None:
            self._own = Station(len(self.stations), call, snr_at_dx_db, self.stations[0].speed_wpm, "s01", 0)
            self.stations.append(self._own)
            self._calls[self._own.index] = call
        self._own_power = 10.0 ** (snr_at_dx_db / 10.0)
        self._air.at(start_s, self._own_sends, frequency_hz, call, "call", stop_s - start_s)

    def reply(self, start_s: float, stop_s: float, frequency_hz: float) -> None:
        """Our own station sends its report, having been answered."""
        self._not_past(start_s, stop_s)
        if self._own is None:
            raise HearmarkError("Our station has not called yet: use call() first, then reply() when the DX answers.")
        self._air.at(start_s, self._own_sends, frequency_hz, self._own.call, "reply", stop_s - start_s)

    @property
    def own(self) -> Station | None:
        """Our own station, once it has called."""
        return self._own

    @property
    def now_s(self) -> float:
        """Time to which the pile-up has been advanced."""
        return self._air.now_s

    @property
    def answering(self) -> str | None:
        """Call of the station with which the DX is in contact now."""
        return self._exchange.call if self._exchange else None

    @property
    def asked_for(self) -> str | None:
        """The part of a call that the DX has and whose owner he asks for the rest; None unless he does."""
        exchange = self._exchange
        return exchange.fragment or None if exchange else None

    @property
    def worked(self) -> bool:
        """Whether the DX has worked our own station."""
        return self._own_worked_s is not None

    @property
    def worked_at_s(self) -> float | None:
        """When the DX confirmed the contact with our own station."""
        return self._own_worked_s

    @property
    def receive_hz(self) -> float:
        """Where the DX's receiver stands now: the truth, for scoring only."""
        return self._listening.receive_hz

    @property
    def listening(self) -> Listening:
        """The DX's habit as it stands: the truth, for scoring and for players who are told it."""
        return self._listening

    @property
    def occupied_hz(self) -> list[float]:
        """Where callers were heard of late."""
        return [sending.frequency_hz for sending in self._air.recent]

    @property
    def callers(self) -> list[Caller]:
        """The callers who are there now."""
        return self._crowd.active

    @property
    def undisciplined(self) -> frozenset[int]:
        """Indices of the stations that do not keep the order."""
        return frozenset(index for index, caller in self._crowd.everybody.items() if caller.manners.vice is not None)

    def session(self) -> Session:
        """The truth so far; a contact still open counts as not completed."""
        contacts = list(self._contacts)
        if self._exchange is not None:
            contacts.append(self._contact(self._exchange, completed=False))
        sendings = sorted(
            (one for one in self._air.sendings if not one.own), key=lambda one: (one.start_s, one.station)
        )
        return Session(
            self.scenario,
            tuple(self.stations),
            tuple(self._air.transmission(one) for one in sendings),
            tuple(contacts),
            tuple(self._tuned),
        )

    def _not_past(self, start_s: float, stop_s: float) -> None:
        if start_s < self._air.now_s or stop_s <= start_s:
            raise HearmarkError(
                f"A transmission from {start_s:.3f} to {stop_s:.3f} s lies before now, {self._air.now_s:.3f} s."
            )

    def _own_sends(self, frequency_hz: float, call: str, role: Role, length_s: float) -> None:
        index = -1 if self._own is None else self._own.index
        exchange = self._exchange
        mine = exchange is not None and exchange.station == index and self._air.phase in ("answering", "awaiting")
        text = call if role == "call" else "R 5NN TU"
        if not self._listening.simplex and abs(frequency_hz - self.scenario.dx_hz) < 300.0:
            self._crowd.on_his_frequency(None)
        sending = self._air.send(
            index,
            frequency_hz,
            text,
            role if mine or role == "call" else "call",
            self._own_power,
            1 if role == "call" else 0,
            length_s,
            own=True,
        )
        if not mine or exchange is None:
            return
        exchange.full = sending
        if role == "reply" and exchange.attempt:
            self._reported(exchange, sending)
        elif role == "reply":
            exchange.reports.append(sending)
            exchange.frequency_hz = sending.frequency_hz
            self._crowd.answer_heard(sending)

    def _comes(self) -> None:
        """Somebody new is drawn to the pile-up."""
        newcomer = self._spare.pop() if self._spare else self._cast.next()
        self._calls[newcomer.index] = newcomer.call
        self._crowd.comes(newcomer, self._air.now_s + self._rng.uniform(2.0, 40.0))

    # What the DX does: to all

    def _say(self, purpose: Purpose, role: Role, call: str = "", part: str = "", only: str = "") -> Sending:
        scenario, rng = self.scenario, self._rng
        style = rng.random() if rng.random() < 0.2 * scenario.sloppiness else self._up_style
        up = up_phrase(scenario.mode, scenario.dx_hz, scenario.window_low_hz, scenario.window_high_hz, style)
        text = self._talk.say(purpose, call, self.stations[0].call, up, part)
        if not text:
            text = self.stations[0].call if self._air.morse else self._talk.spell(self.stations[0].call)
        if only and purpose != "only":
            text += " " + self._talk.say("only", call, self.stations[0].call, up, only)
        sending = self._air.send(0, scenario.dx_hz, text, role, 0.0)
        self._air.over_start_s, self._air.over_stop_s = sending.start_s, sending.stop_s
        return sending

    def _invite(self, purpose: Purpose, role: Role = "cq", call: str = "") -> None:
        """An over that ends with everybody's turn."""
        air, rng = self._air, self._rng
        air.answered = -1
        if self._turns_in_vain >= 2:
            self._only = ""
        only = ""
        if self._only and rng.random() < 0.7:
            only = self._only if self._only.isdigit() or air.morse else _WORDS[self._only]
        if only and role == "cq":
            purpose = "only"
        elif role == "cq" and air.now_s - self._crowd.wrong_frequency_at_s < 15.0 and rng.random() < 0.3:
            purpose = "on my frequency"
        sending = self._say(purpose, role, call, only, only)
        air.phase = "inviting"
        self._crowd.invited(sending.stop_s, self._only)
        if self.scenario.renewed:
            for _ in range(self._crowd.gave_up - self._replaced):
                self._comes()
            self._replaced = self._crowd.gave_up
        air.at(sending.stop_s, self._open_turn)

    def _open_turn(self) -> None:
        air, rng, who = self._air, self._rng, self._who
        air.phase = "turn"
        air.turn += 1
        air.forget(air.now_s - 6.0)
        self._receiver.clear()
        self._turn_start_s = air.now_s
        self._tunes_left = 2
        self._turns_in_vain += 1
        self._turn_listens_s = min(max(who.listens_s * rng.lognormvariate(0.0, who.listens_spread), 1.2), 8.0)
        if rng.random() < who.takes_tail:
            self._receiver.listen(self._listening.receive_hz, air.over_start_s - 0.5, self._calls)
            tail_ender = self._receiver.choice(self._listening.receive_hz, parts=False)
            if tail_ender is not None and not self._only:
                air.at(air.now_s + rng.uniform(0.1, 0.5), self._begin, tail_ender, False, air.turn)
                return
        elif rng.random() < who.rests:
            air.at(air.now_s + rng.uniform(0.3, 2.0), self._rest)
            return
        first_s = rng.uniform(0.8, 1.6) if rng.random() < who.at_once else self._turn_listens_s
        air.at(air.now_s + first_s, self._decide, air.turn)

    def _decide(self, turn: int) -> None:
        air, rng, who = self._air, self._rng, self._who
        if air.turn != turn or air.phase != "turn":
            return
        receive_hz = self._listening.receive_hz
        self._receiver.listen(receive_hz, self._turn_start_s + 0.3, self._calls)
        if self._only:
            self._drop_others()
        age_s = air.now_s - self._turn_start_s
        chosen = self._receiver.choice(receive_hz, parts=False)
        in_part = False
        if chosen is None and age_s >= self._turn_listens_s and rng.random() < who.takes_part:
            chosen, in_part = self._receiver.choice(receive_hz, parts=True), True
        if chosen is not None:
            start_s = air.now_s + rng.uniform(0.1, 0.4)
            if chosen.stop_s > start_s and chosen.stop_s - start_s < 2.5 and rng.random() < who.lets_finish:
                start_s = chosen.stop_s + rng.uniform(0.05, 0.2) + who.reaction_s * rng.random()
            if not air.morse and abs(chosen.frequency_hz - receive_hz) > 250.0:
                self._listening.tune(chosen.frequency_hz + rng.gauss(0.0, 40.0))
                self._log_tuning()
            air.at(start_s, self._begin, chosen, in_part, turn)
        elif age_s < self._turn_listens_s + who.patience_s:
            nearby_hz = (
                self._receiver.nearest(receive_hz, self._reach_hz())
                if self._tunes_left and age_s >= self._turn_listens_s
                else None
            )
            if nearby_hz is not None and not self._receiver.copies and rng.random() < 0.8:
                self._tunes_left -= 1
                self._listening.tune(nearby_hz + rng.gauss(0.0, self._listening.passband_hz * 0.1))
                self._log_tuning()
                self._receiver.clear()
            air.at(air.now_s + rng.uniform(0.4, 0.9), self._decide, turn)
        elif rng.random() < who.rests * 3.0:
            self._rest()
        else:
            self._invite("again all" if self._receiver.copies or rng.random() < 0.5 else "cq")

    def _reach_hz(self) -> float:
        """How far he tunes to find somebody: the farther, the more turns were in vain."""
        step_hz = 200.0 if self._air.morse else 700.0
        return 0.5 * self._listening.passband_hz + step_hz * float(self._turns_in_vain**1.5)

    def _drop_others(self) -> None:
        for station in list(self._receiver.copies):
            known = self._crowd.everybody.get(station)
            if known is not None and not called_for(known, self._only) and self._rng.random() < 0.95:
                del self._receiver.copies[station]

    def _rest(self) -> None:
        sending = self._say("wait", "other")
        self._air.phase = "pause"
        self._air.at(sending.stop_s + self._rng.uniform(4.0, 15.0), self._invite, "cq")

    # What the DX does: to one

    def _begin(self, chosen: Sending, in_part: bool, turn: int) -> None:
        if self._air.turn != turn or self._air.phase != "turn":
            return
        self._turns_in_vain = 0
        copy = self._receiver.copies.get(chosen.station, "")
        call = self._calls[chosen.station]
        self._exchange = _Exchange(chosen.station, call, chosen.frequency_hz, self._air.now_s, copy)
        if in_part:
            self._ask_for_rest(self._exchange, "answer")
        else:
            self._answer(self._exchange, "answer", "answer")

    def _answer(self, exchange: _Exchange, purpose: Purpose, role: Role) -> None:
        """Send to the one: his call and report, or a repeat of it."""
        air, rng = self._air, self._rng
        if self._exchange is not exchange:
            return
        spoken = exchange.call
        if purpose == "answer" and exchange.attempt == 0 and rng.random() < self._who.errs:
            spoken = calls.near(spoken, rng, air.morse)
        air.answered = exchange.station
        exchange.fragment = ""
        exchange.attempt += 1
        exchange.replying = False
        sending = self._say(purpose, role, spoken)
        air.phase = "answering"
        self._crowd.hush(exchange.station)
        caller = self._crowd.everybody.get(exchange.station)
        if caller is not None and self._crowd.answered_hears(caller):
            delay_s = self._crowd.reply_delay_s(caller)
            start_s = max(sending.stop_s + delay_s, caller.busy_until_s + 0.1, sending.start_s + 0.4)
            air.at(
                start_s,
                self._reply,
                exchange,
                caller,
                spoken != exchange.call or caller.rng.random() < 0.06,
                exchange.attempt,
            )
        air.at(sending.stop_s, self._await, exchange)
        air.at(sending.stop_s + self._who.waits_s * rng.uniform(0.75, 1.3), self._no_reply, exchange, exchange.attempt)

    def _await(self, exchange: _Exchange) -> None:
        if self._exchange is exchange:
            self._air.phase = "awaiting"

    def _reply(self, exchange: _Exchange, caller: Caller, with_call: bool, attempt: int) -> None:
        air = self._air
        if self._exchange is not exchange or exchange.attempt != attempt or caller.busy_until_s > air.now_s:
            return
        chat = exchange.chatted and bool(exchange.reports)
        text = caller.talk.say(
            "chat back" if chat else "reply call" if with_call else "reply", caller.call, self.stations[0].call
        )
        sending = air.send(
            caller.index, caller.frequency_hz, text, "reply", caller.power_at_dx * caller.fade.power(air.now_s)
        )
        caller.busy_until_s = sending.stop_s
        self._reported(exchange, sending)

    def _reported(self, exchange: _Exchange, sending: Sending) -> None:
        exchange.replying = True
        exchange.reports.append(sending)
        exchange.frequency_hz = sending.frequency_hz
        self._crowd.answer_heard(sending)
        rng, who = self._rng, self._who
        delay_s = (
            -rng.uniform(0.0, 0.25) if rng.random() < who.clipping else who.reaction_s * rng.lognormvariate(0.0, 0.35)
        )
        self._air.at(sending.stop_s + delay_s, self._judge, exchange, sending)

    def _judge(self, exchange: _Exchange, sending: Sending) -> None:
        """Did he copy the reply?"""
        if self._exchange is not exchange or exchange.reports[-1] is not sending:
            return
        rng, who = self._rng, self._who
        receive_hz = self._listening.receive_hz
        far = abs(sending.frequency_hz - receive_hz) > (
            self._listening.passband_hz * 0.6 if self._air.morse else 1000.0
        )
        clarity = -20.0 if far else self._receiver.clarity_db(sending, receive_hz)
        if rng.random() >= hearing.readable(clarity + 4.0, self._air.morse, who.skill_db):
            self._again(exchange)
        elif not exchange.chatted and rng.random() < who.chats:
            exchange.chatted = True
            self._answer(exchange, "chat", "again")
        else:
            self._confirm(exchange)

    def _no_reply(self, exchange: _Exchange, attempt: int) -> None:
        if self._exchange is exchange and exchange.attempt == attempt and not exchange.replying:
            self._again(exchange)

    def _again(self, exchange: _Exchange) -> None:
        if exchange.chatted:
            self._confirm(exchange)
        elif exchange.attempt > self._who.repeats:
            self._give_up(exchange)
        else:
            self._answer(exchange, "again", "again")

    def _give_up(self, exchange: _Exchange) -> None:
        self._close(exchange, completed=False)
        self._invite("again all" if self._rng.random() < 0.4 else "cq")

    def _confirm(self, exchange: _Exchange) -> None:
        air, rng, who = self._air, self._rng, self._who
        self._close(exchange, completed=True)
        caller = self._crowd.everybody.get(exchange.station)
        if caller is None:
            self._own_worked_s = air.now_s
        else:
            caller.worked_at_s, caller.gone = air.now_s, True
            if caller.rng.random() < 0.04 * self.scenario.sloppiness:
                air.at(air.now_s + caller.rng.uniform(40.0, 120.0), self._crowd.back, caller)
        if (self._spare or self.scenario.renewed) and rng.random() < 0.9:
            self._comes()
        if not self._only and rng.random() < who.limits:
            self._only, self._only_left = (
                rng.choice((rng.choice("123456789"), rng.choice(("EU", "NA", "AS", "EU")))),
                rng.randint(2, 8),
            )
        elif self._only:
            self._only_left -= 1
            self._only = self._only if self._only_left > 0 else ""
        with_call = exchange.attempt == 0 or rng.random() < who.confirms_call
        self._invite("confirm call" if with_call else "confirm", "confirm", exchange.call)
        if caller is not None and caller.rng.random() < 0.08 * self.scenario.sloppiness:
            air.at(air.over_stop_s + caller.rng.uniform(0.0, 0.4), self._crowd.say_bye, caller)
        self._listening.worked(exchange.frequency_hz, [sending.frequency_hz for sending in air.recent])
        self._log_tuning()

    def _close(self, exchange: _Exchange, completed: bool) -> None:
        self._contacts.append(self._contact(exchange, completed))
        self._exchange = None
        self._air.answered = -1

    def _contact(self, exchange: _Exchange, completed: bool) -> Contact:
        reports = tuple((sending.start_s, sending.stop_s) for sending in exchange.reports)
        return Contact(
            exchange.station, exchange.call, exchange.frequency_hz, exchange.answered_at_s, reports, completed
        )

    # A call copied in part

    def _ask_for_rest(self, exchange: _Exchange, role: Role) -> None:
        air, rng = self._air, self._rng
        fragment = hearing.part(exchange.copy, rng)
        air.answered = exchange.station
        exchange.fragment = fragment
        exchange.parts += 1
        exchange.full = None
        sending = self._say("partial", role, exchange.call, fragment)
        air.phase = "answering"
        self._crowd.hush(exchange.station)
        self._crowd.asked(fragment, exchange.station)
        caller = self._crowd.everybody.get(exchange.station)
        if caller is not None and self._crowd.answered_hears(caller):
            start_s = max(
                sending.stop_s + self._crowd.reply_delay_s(caller), caller.busy_until_s + 0.1, sending.start_s + 0.3
            )
            air.at(start_s, self._full, exchange, caller)
        air.at(sending.stop_s, self._await, exchange)
        air.at(sending.stop_s + self._who.waits_s * rng.uniform(0.9, 1.3), self._judge_rest, exchange)

    def _full(self, exchange: _Exchange, caller: Caller) -> None:
        air = self._air
        if self._exchange is not exchange or caller.busy_until_s > air.now_s:
            return
        power = caller.power_at_dx * caller.fade.power(air.now_s)
        if caller.rng.random() < 0.2 * self.scenario.sloppiness:
            text = caller.talk.say("reply call", caller.call, self.stations[0].call)
            sending = air.send(caller.index, caller.frequency_hz, text, "reply", power, 1)
            exchange.reports.append(sending)
            exchange.frequency_hz = sending.frequency_hz
            self._crowd.answer_heard(sending)
        else:
            sending = air.send(
                caller.index,
                caller.frequency_hz,
                caller.talk.say("full", caller.call, self.stations[0].call),
                "call",
                power,
                2,
            )
        caller.busy_until_s = sending.stop_s
        exchange.full = sending

    def _judge_rest(self, exchange: _Exchange) -> None:
        air, rng, who = self._air, self._rng, self._who
        if self._exchange is not exchange:
            return
        full = exchange.full
        if full is not None and full.stop_s > air.now_s:
            air.at(full.stop_s + who.reaction_s * rng.uniform(0.5, 1.5), self._judge_rest, exchange)
            return
        if full is not None:
            chance = hearing.readable(
                self._receiver.clarity_db(full, self._listening.receive_hz) + 2.0, air.morse, who.skill_db
            )
            exchange.copy = hearing.copied(exchange.call, exchange.copy, chance, max(full.calls, 1), rng)
        if "." not in exchange.copy:
            if full is not None and full.role == "reply" and rng.random() < 0.7:
                self._confirm(exchange)
            else:
                self._answer(exchange, "answer", "answer")
        elif exchange.parts <= who.repeats:
            self._ask_for_rest(exchange, "again")
        else:
            self._give_up(exchange)

    def _log_tuning(self) -> None:
        self._tuned.append((self._air.now_s, self._listening.receive_hz))
