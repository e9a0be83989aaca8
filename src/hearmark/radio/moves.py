"""Set, Follow, Peek: what the program does with a radio, each command checked against the key and read back.

Set brings the radio to a plan; Follow moves only the transmit side of a plan that is set; Peek moves only the receive
side, and back. Nothing is written while the key is down, and nothing more after a command that did not do what it
should.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from hearmark.errors import HearmarkError
from hearmark.events import Plan
from hearmark.radio.order import Order, Step, after, clearance_hz, goal, is_clear, order, same, shown
from hearmark.radio.port import Dials, KeyDown, Port, RadioRefused
from hearmark.radio.refusal import refuse_covering

SETTLE_S = 1.0
"""A radio gets this long to show what it was told."""
LOOK_S = 0.005
"""Time between two looks at a radio that has not shown it yet."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of it, as the radio says. `ok`: every dial says what it should; `why` is one sentence."""

    ok: bool
    why: str
    dials: Dials
    steps: tuple[Step, ...] = ()


class Moves:
    """The moves of one radio. `said` is told what not to do meanwhile, in one sentence; empty when that is over."""

    def __init__(
        self,
        port: Port,
        said: Callable[[str], None] = lambda _: None,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self.port = port
        self._said, self._clock, self._sleep = said, clock, sleep

    def set(self, plan: Plan, transmit_hz: float) -> Outcome:
        """Bring the radio to the plan, transmitting on `transmit_hz`. Raises KeyDown, RadioLost, HearmarkError."""
        dials = self.port.read()
        self._refuse_while_keyed(dials.keyed)
        refuse_covering(plan, transmit_hz)
        wanted = order(dials, plan, transmit_hz, self.port.abilities)
        self._said(f"do not send: {wanted.hold}" if wanted.hold else "do not send: the radio is being set")
        done: list[Step] = []
        for step in wanted.steps:
            outcome = self.do(step)
            done.append(step)
            if outcome is not None:
                self._said(f"do not send: {outcome.why}")
                return Outcome(False, outcome.why, outcome.dials, tuple(done))
        return self._read_back(plan, transmit_hz, wanted)

    def follow(self, plan: Plan, transmit_hz: float) -> Outcome:
        """Move the transmit side alone. The plan must be set: else it is refused and nothing is written."""
        dials = self.port.read()
        self._refuse_while_keyed(dials.keyed)
        wanted = goal(plan, transmit_hz, self.port.abilities)
        if not self._only_transmit_moves(dials, plan, wanted):
            raise HearmarkError("Not moved: the radio is not set to the plan; set it first, with T.")
        refuse_covering(plan, transmit_hz)
        if wanted.split:
            steps = [Step("other", transmit_hz)]
        elif wanted.xit_hz:
            steps = [Step("xit", wanted.xit_hz)]
        else:
            steps = [Step("dial", wanted.dial_hz or 0.0), Step("rit", wanted.rit_hz or 0.0)]
        model = dials
        for step in steps:
            model = after(model, step)
            if plan.kind != "simplex" and not is_clear(model, plan, clearance_hz(plan)):
                raise HearmarkError(
                    "Not moved: with XIT as it stands our signal would cover the DX; set the plan again, with T."
                )
        for step in steps:
            failed = self.do(step)
            if failed is not None:
                return failed
        return self._read_back(plan, transmit_hz, Order(tuple(steps)))

    def peek(self, plan: Plan, hz: float) -> Outcome:
        """Move the receive side alone, to listen at `hz`. Refused unless split is on: else transmit would move too."""
        dials = self.port.read()
        self._refuse_while_keyed(dials.keyed)
        return self._receive_alone(dials, plan, hz)

    def back(self, plan: Plan) -> Outcome:
        """From a peek to the DX. Refused when split is off by now: transmit would land on the DX."""
        dials = self.port.read()
        self._refuse_while_keyed(dials.keyed)
        return self._receive_alone(dials, plan, plan.receive_hz)

    def lock(self, on: bool) -> Outcome:
        """Lock the dial, where the radio has that."""
        self._refuse_while_keyed(self.port.keyed())
        if not self.port.abilities.lock:
            raise HearmarkError("This radio has no lock that can be set from here.")
        self.port.set_lock(on)
        return Outcome(True, "dial locked" if on else "dial free", self.port.read())

    def _receive_alone(self, dials: Dials, plan: Plan, hz: float) -> Outcome:
        transmit_hz = dials.transmit_hz
        if not dials.split or transmit_hz is None:
            raise HearmarkError(
                "Not moved: split is off, so the transmit frequency would move with the dial; set it first, with T."
            )
        if not is_clear(dials, plan, clearance_hz(plan)):
            raise HearmarkError("Not moved: transmit stands on the DX; set the plan first, with T.")
        failed = self.do(Step("dial", hz - (dials.rit_hz or 0.0)))
        if failed is not None:
            return failed
        now = self.port.read()
        if not same(now.transmit_hz, transmit_hz):
            self._said("do not send: the transmit side moved with the dial")
            return Outcome(False, "the transmit side moved with the dial", now)
        return Outcome(True, f"hears {hz / 1e3:.2f} kHz", now, (Step("dial", hz),))

    @staticmethod
    def _only_transmit_moves(dials: Dials, plan: Plan, wanted: Dials) -> bool:
        if wanted.split:
            return bool(dials.split)
        if wanted.xit_hz:
            return same(dials.dial_hz, plan.receive_hz)
        return same(dials.receive_hz, plan.receive_hz)

    def _refuse_while_keyed(self, keyed: bool | None) -> None:
        if keyed:
            raise KeyDown("Nothing was written: the transmitter is on. Try again when you have stopped sending.")

    def do(self, step: Step) -> Outcome | None:
        """One command, the key looked at just before, and the dial looked at until it shows it; None: it does."""
        self._refuse_while_keyed(self.port.keyed())
        write: dict[str, Callable[..., None]] = {
            "dial": self.port.set_dial, "other": self.port.set_other, "split": self.port.set_split,
            "mode": self.port.set_mode, "other mode": self.port.set_other_mode, "rit": self.port.set_rit,
            "xit": self.port.set_xit,
        }  # fmt: skip
        try:
            write[step.what](step.value)
        except RadioRefused as error:
            return Outcome(False, str(error), self.port.read(), (step,))
        end_s = self._clock() + SETTLE_S
        while True:
            dials = self.port.read()
            now = shown(dials, step.what)
            if same(now, step.value):
                return None
            if self._clock() >= end_s:
                said = "nothing" if now is None else f"{now}"
                why = f"the radio was told {step.what} {step.value}, and shows {said}"
                return Outcome(False, why, dials, (step,))
            self._sleep(LOOK_S)

    def _read_back(self, plan: Plan, transmit_hz: float, wanted: Order) -> Outcome:
        dials = self.port.read()
        target = goal(plan, transmit_hz, self.port.abilities)
        wrong = [
            f"{name} {now}"
            for name, now, then in (
                ("receive", dials.receive_hz, target.receive_hz),
                ("transmit", dials.transmit_hz, _transmit_of(target)),
                ("split", dials.split, target.split),
                ("mode", dials.mode, target.mode),
                ("transmit mode", dials.transmit_mode, plan.transmit_mode or plan.mode),
            )
            if then is not None and not same(now, then)
        ]
        if wrong:
            why = f"the radio shows {', '.join(wrong)}"
            self._said(f"do not send: {why}")
            return Outcome(False, why, dials, wanted.steps)
        self._said("")
        why = f"hears {(dials.receive_hz or 0.0) / 1e3:.2f}, sends on {(dials.transmit_hz or 0.0) / 1e3:.2f} kHz"
        return Outcome(True, f"{why}, as the radio shows", dials, wanted.steps)


def _transmit_of(target: Dials) -> float | None:
    if target.split is None and target.dial_hz is not None:
        return target.dial_hz + (target.xit_hz or 0.0)
    return target.transmit_hz
