"""The callers together: how each one acts on what the DX and the answered one do."""

from __future__ import annotations

import random

from hearmark.simulate import callers as people
from hearmark.simulate.air import Air, Sending
from hearmark.simulate.callers import Caller
from hearmark.simulate.calls import alike
from hearmark.simulate.texts import up_phrase


class Crowd:
    """All callers on the air of one pile-up."""

    def __init__(self, air: Air, callers: list[Caller], dx_call: str, rng: random.Random) -> None:
        self._air = air
        self._scenario = air.scenario
        self._dx_call = dx_call
        self._rng = rng
        self._before_hz: float | None = None
        self.everybody = {caller.index: caller for caller in callers}
        """Station index to caller, including those who have not come yet."""
        self._up = up_phrase(
            air.scenario.mode, air.scenario.dx_hz, air.scenario.window_low_hz, air.scenario.window_high_hz, rng.random()
        )
        self.active: list[Caller] = []
        self.gave_up = 0
        """How many have left without a contact so far."""
        self.wrong_frequency_at_s = -99.0
        for caller in callers:
            if caller.arrives_s < air.scenario.duration_s:
                air.at(caller.arrives_s, self._arrive, caller)

    def comes(self, caller: Caller, time_s: float) -> None:
        """A newcomer will be there from `time_s`."""
        caller.arrives_s = time_s
        self.everybody[caller.index] = caller
        self._air.at(time_s, self._arrive, caller)

    def back(self, caller: Caller) -> None:
        """One already worked calls again, not sure whether he is in the log."""
        caller.gone = False
        self._arrive(caller)

    def invited(self, stop_s: float, only: str) -> None:
        """The DX calls all and will stop at `stop_s`; `only`: a figure or a part of the world, or empty."""
        air = self._air
        staying: list[Caller] = []
        for caller in self.active:
            if caller.gone:
                continue
            caller.turns += 1
            if caller.turns > caller.manners.patience and caller.rng.random() < 0.25:
                caller.gone = True
                self.gave_up += 1
                continue
            staying.append(caller)
            manners, rng = caller.manners, caller.rng
            if manners.tunes and not caller.talk.plain and rng.random() < manners.tunes:
                air.at(stop_s + rng.uniform(-2.0, 5.0), self._tune, caller)
            if manners.vice in ("endless", "deaf") or rng.random() >= manners.joins:
                continue
            if only and manners.vice is None and not called_for(caller, only):
                continue
            air.at(stop_s + caller.reaction_s(), self._call, caller, air.turn + 1)
        self.active = staying

    def hush(self, answered: int) -> None:
        """The DX comes back to one (over from `over_start_s` to `over_stop_s`): the others stop, or do not."""
        air = self._air
        for sending in air.recent:
            if sending.stop_s <= air.now_s or sending.own or sending.is_cut or sending.role == "reply":
                continue
            caller = self.everybody[sending.station]
            manners, rng = caller.manners, caller.rng
            if manners.vice in ("endless", "deaf") or (manners.vice == "late" and rng.random() < 0.5):
                continue
            latest_s = air.over_stop_s - 0.15
            if sending.stop_s < latest_s and rng.random() < (
                0.3 if sending.station == answered else 0.3 + 0.5 * manners.stutter
            ):
                continue
            if sending.station == answered and manners.vice is None and rng.random() < 0.06 * self._scenario.sloppiness:
                continue
            limit_s = air.now_s + rng.uniform(0.2, 0.5) + 0.5 * manners.stutter
            if sending.stop_s > min(limit_s, latest_s):
                air.cut(sending, min(limit_s, latest_s))
                caller.busy_until_s = sending.stop_s
        for caller in self.active:
            if caller.manners.vice == "late" and caller.index != answered and caller.rng.random() < 0.7:
                air.at(
                    air.over_stop_s + caller.rng.choice((0.1, 0.3, 0.8)) + caller.rng.random() * 0.7,
                    self._call,
                    caller,
                    -1,
                )

    def answered_hears(self, caller: Caller) -> bool:
        """Whether the answered one notices: he must be listening for most of the over."""
        air = self._air
        deaf_s = caller.busy_until_s - air.over_start_s
        if deaf_s > 0.6 * (air.over_stop_s - air.over_start_s) and caller.rng.random() < 0.85:
            return False
        return caller.rng.random() < caller.manners.hears

    def reply_delay_s(self, caller: Caller) -> float:
        """From the end of the DX's over to the answer of the one he called; now and then he is early."""
        wide, rng = self._scenario.sloppiness, caller.rng
        if rng.random() < 0.1 * wide:
            return -rng.uniform(0.0, 0.3)
        return min(max(caller.manners.answers_s * rng.lognormvariate(0.0, 0.1 + 0.35 * wide), 0.1), 1.6)

    def asked(self, fragment: str, right: int) -> None:
        """The DX asks for a call of which he has `fragment`: those who take it for theirs call too."""
        air, wide = self._air, self._scenario.sloppiness
        for caller in self.active:
            vice = caller.manners.vice
            if caller.index == right or vice in ("endless", "deaf") or not alike(caller.call, fragment):
                continue
            if caller.rng.random() < (0.12 * wide if vice is None else 0.4):
                air.at(air.over_stop_s + caller.reaction_s(), self._wrong_one, caller)

    def answer_heard(self, sending: Sending) -> None:
        """A report goes out: those who look for it may find where, some begin to call as soon as it ends."""
        air = self._air
        for caller in self.active:
            if caller.index == sending.station or caller.gone:
                continue
            manners = caller.manners
            caller.learns(air.now_s, sending.frequency_hz, self._before_hz)
            if manners.vice == "late" and caller.rng.random() < 0.25:
                air.at(air.now_s + caller.rng.uniform(0.1, 1.0), self._call, caller, -1)
            elif manners.tail_ends and manners.vice is None and caller.rng.random() < manners.tail_ends:
                air.at(sending.stop_s + caller.rng.uniform(0.05, 0.5), self._tail_end, caller)
        self._before_hz = sending.frequency_hz

    def say_bye(self, caller: Caller) -> None:
        """The one just worked adds a word."""
        if caller.busy_until_s <= self._air.now_s and not caller.talk.plain:
            self._send(caller, caller.talk.say("bye", caller.call), "other", 0)

    def _arrive(self, caller: Caller) -> None:
        self.active.append(caller)
        caller.frequency_hz = self._quiet_place(caller) if caller.manners.policy == "quiet" else caller.frequency_hz
        if caller.manners.vice == "endless":
            self._air.at(self._air.now_s + caller.rng.uniform(0.0, 4.0), self._endless, caller)
        elif caller.manners.vice == "deaf":
            self._air.at(self._air.now_s + caller.rng.uniform(0.0, 8.0), self._deaf, caller)
        if caller.manners.vice == "wrong frequency":
            caller.told_split = False
        else:
            caller.told_split = True

    def _call(self, caller: Caller, turn: int) -> None:
        """Call if it is (still) time to. `turn` -1: whatever the DX does; -2: now, as he checked himself."""
        air, manners = self._air, caller.manners
        if caller.gone or caller.busy_until_s > air.now_s or caller.index == air.answered:
            return
        if turn >= 0 and not (air.phase in ("turn", "inviting") and turn in (air.turn, air.turn + 1)):
            just = (
                air.phase == "answering" and air.now_s - air.over_start_s < 0.25 and air.over_stop_s - air.now_s > 0.6
            )
            if not just and manners.vice != "late":
                return
        sending = self._send_call(caller)
        if air.phase == "answering" and manners.vice is None:
            air.cut(sending, min(air.over_start_s + caller.rng.uniform(0.3, 0.7), air.over_stop_s - 0.15))
            caller.busy_until_s = sending.stop_s
        elif manners.again and caller.rng.random() < manners.again * (0.5 if turn == -1 else 1.0):
            pause_s = max(0.3, manners.pause_s * caller.rng.lognormvariate(0.0, 0.3))
            air.at(sending.stop_s + pause_s, self._call, caller, -1 if turn == -1 else air.turn + (air.phase != "turn"))

    def _tail_end(self, caller: Caller) -> None:
        air = self._air
        if air.phase in ("awaiting", "inviting", "turn") and not self._somebody_replies():
            self._call(caller, -2)

    def _somebody_replies(self) -> bool:
        return any(sending.role == "reply" and sending.stop_s > self._air.now_s for sending in self._air.recent)

    def _wrong_one(self, caller: Caller) -> None:
        if self._air.phase == "awaiting" and caller.busy_until_s <= self._air.now_s and not self._somebody_replies():
            report_too = caller.manners.vice is not None and caller.rng.random() < 0.3
            text = caller.talk.say("reply call" if report_too else "full", caller.call, self._dx_call)
            self._send(caller, text, "call", 2)

    def _endless(self, caller: Caller) -> None:
        air, rng = self._air, caller.rng
        if caller.gone:
            return
        if caller.index == air.answered or caller.busy_until_s > air.now_s:
            air.at(max(air.now_s + 2.0, caller.busy_until_s + 0.5), self._endless, caller)
            return
        sending = self._send_call(caller, rng.choice((2, 2, 3, 3, 4)))
        pause_s = rng.uniform(3.0, 10.0) if rng.random() < 0.15 else rng.uniform(0.3, 2.5)
        air.at(sending.stop_s + pause_s, self._endless, caller)

    def _deaf(self, caller: Caller) -> None:
        air, rng = self._air, caller.rng
        if caller.gone:
            return
        if caller.index != air.answered and caller.busy_until_s <= air.now_s:
            self._send_call(caller)
        air.at(max(caller.busy_until_s, air.now_s) + 0.5 + rng.expovariate(1.0 / 2.5), self._deaf, caller)

    def _send_call(self, caller: Caller, times: int = 0) -> Sending:
        rng = caller.rng
        times = times or rng.choices((1, 2, 3), caller.manners.times)[0]
        text = caller.talk.say("call", caller.call, self._dx_call)
        if times > 1:
            plain = caller.call if self._air.morse else caller.talk.spell(caller.call)
            text = " ".join([text] + [plain] * (times - 1))
        new_turn = caller.move(self._air.now_s, self._air.turn + (self._air.phase == "inviting"), self._scenario)
        if new_turn and caller.manners.policy == "quiet" and rng.random() < 0.3:
            caller.frequency_hz = self._quiet_place(caller)
        if caller.told_split:
            return self._send(caller, text, "call", times)
        self.on_his_frequency(caller)
        return self._send(caller, text, "other", 0, self._scenario.dx_hz + 10.0 * rng.randint(-3, 3))

    def on_his_frequency(self, culprit: Caller | None) -> None:
        """Somebody begins to call where the DX sends (None: our own station): some shout at him."""
        self.wrong_frequency_at_s = self._air.now_s
        for other in self.active:
            if other.manners.police and not other.talk.plain and other.rng.random() < 0.5:
                self._air.at(self._air.now_s + other.rng.uniform(0.6, 2.0), self._police, other, culprit)

    def _police(self, caller: Caller, culprit: Caller | None) -> None:
        if caller.busy_until_s <= self._air.now_s and caller.index != self._air.answered:
            self._send(
                caller,
                caller.talk.say("police", caller.call, up=self._up),
                "other",
                0,
                self._scenario.dx_hz + 10.0 * caller.rng.randint(-4, 4),
            )
            if culprit is not None:
                culprit.told_split = culprit.told_split or culprit.rng.random() < 0.4

    def _tune(self, caller: Caller) -> None:
        air, rng = self._air, caller.rng
        if air.phase not in ("turn", "inviting") or caller.busy_until_s > air.now_s or caller.gone:
            return
        on_dx = rng.random() < 0.25
        frequency_hz = self._scenario.dx_hz + 10.0 * rng.randint(-20, 20) if on_dx else caller.frequency_hz
        text = caller.talk.say("tune", caller.call)
        length_s = rng.uniform(0.8, 4.0) if air.morse and text == "T" else None
        sending = air.send(caller.index, frequency_hz, text, "other", self._power(caller), 0, length_s)
        caller.busy_until_s = sending.stop_s

    def _send(self, caller: Caller, text: str, role: str, calls: int, frequency_hz: float | None = None) -> Sending:
        where_hz = caller.frequency_hz if frequency_hz is None else frequency_hz
        sending = self._air.send(
            caller.index, where_hz, text, "other" if role == "other" else "call", self._power(caller), calls
        )
        caller.busy_until_s = sending.stop_s
        return sending

    def _power(self, caller: Caller) -> float:
        return float(caller.power_at_dx * caller.fade.power(self._air.now_s))

    def _quiet_place(self, caller: Caller) -> float:
        """The least crowded of a few places he tries."""
        low_hz, high_hz = self._scenario.window_low_hz, self._scenario.window_high_hz
        if low_hz == high_hz:
            return caller.frequency_hz
        near_hz = 100.0 if self._air.morse else 500.0
        tries = [people.on_grid(caller.rng.uniform(low_hz, high_hz), caller.manners.grid_hz) for _ in range(4)]
        return min(
            tries, key=lambda place: sum(abs(place - sending.frequency_hz) < near_hz for sending in self._air.recent)
        )


def called_for(caller: Caller, only: str) -> bool:
    """Whether `only` (a figure in the call, or a part of the world) admits this caller."""
    return only in caller.call if only.isdigit() else caller.region == only
