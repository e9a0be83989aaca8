"""One receiver, no I/Q: what the engine marks in mono audio while a hand moves the dial.

    python bench/one_receiver.py [--mode cw|usb] [--level easy|hard] [--by plan,sweep,known]
        [--filter narrow|wide] [--seeds N] [--first SEED]

The whole chain at signal level: a simulated pile-up is rendered as wideband I/Q, one receiver's slice of it (Morse
500 Hz about 600 Hz; voice, and Morse with a wide filter, 300 to 2700 Hz) goes through a gain control into the engine as
audio, and the dial is moved while the engine listens: a hand needs 0.15 to 0.3 s for each move, and 0.1 s to see that
the page has changed.

plan   as the shipped advice says, peek by peek; back for the DX when it says so, or when the answer is marked
sweep  slice by slice from the near edge, as often as there is time, back at the same time
known  straight to somewhere within a third of a slice of the true reply, and back when it ends: who hears well by ear

An answer fell in the slice if the receiver stood so that its carrier was heard for `--heard` seconds of the reply.
Found: marked right by the scoring of hearmark.simulate.scoring. Seeds from 50000 on were never used while developing.
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt
from answers import RATE, centre_of
from scipy import fft
from scipy.signal import firwin

from hearmark.ear import search
from hearmark.ear.counsel import STAY
from hearmark.engine import Engine, EngineConfig
from hearmark.events import Advice, Answer, Dial, Event, Mode, Over
from hearmark.simulate import people, receiver, render, scenario, scoring, speech
from hearmark.simulate.session import Session
from hearmark.sources.analytic import Analytic
from hearmark.sources.audio import DialTrack

By = Literal["plan", "sweep", "known"]
AUDIO_HZ = 8_000
BLOCK_S = 0.05
HAND_S = (0.15, 0.3)
Slice = Literal["narrow", "wide", "voice"]
SLICE_HZ = {"narrow": (-250.0, 250.0), "wide": (-300.0, 2_100.0), "voice": (-1_000.0, 1_000.0)}
"""Carriers heard, from the dial's reading."""
AUDIO_SLICE_HZ = {"narrow": (350.0, 850.0), "wide": (300.0, 2_700.0), "voice": (300.0, 2_700.0)}
STAY_S = 0.8
READY = "once he stops, listen at"


class Tape:
    """The wideband I/Q of a session, and any slice of it."""

    def __init__(self, session: Session, slice_: Slice) -> None:
        sc = session.scenario
        self.mode, self.centre_hz = sc.mode, centre_of(session)
        self.seconds = sc.duration_s
        self._wide = render.Renderer(session, RATE, self.centre_hz).samples(0, round(sc.duration_s * RATE))
        low_hz, high_hz = AUDIO_SLICE_HZ[slice_]
        taps = firwin(961, (high_hz - low_hz) / 2, fs=RATE)
        middle_hz = (low_hz + high_hz) / 2 * (-1.0 if sc.mode == "lsb" else 1.0)
        self._turn = np.exp(2j * np.pi * middle_hz / RATE * (np.arange(len(taps)) - len(taps) // 2))
        self._taps = (taps * self._turn).astype(np.complex64)

    def slice(self, carrier_hz: float, first: int, count: int) -> npt.NDArray[np.float32]:
        """Audio samples `first` to `first + count` at 8 kHz with the suppressed carrier at `carrier_hz`."""
        step, half = RATE // AUDIO_HZ, len(self._taps) // 2
        begin, stop = first * step - half, (first + count) * step + half
        piece = np.zeros(stop - begin, np.complex64)
        low, high = max(0, begin), min(len(self._wide), stop)
        n = np.arange(low, high)
        turned = np.exp(-2j * np.pi * (((carrier_hz - self.centre_hz) * n / RATE) % 1.0))
        piece[low - begin : high - begin] = self._wide[low:high] * turned
        size = fft.next_fast_len(len(piece))
        heard = fft.ifft(fft.fft(piece, size) * fft.fft(self._taps, size))[2 * half : 2 * half + count * step : step]
        return np.asarray(heard.real, np.float32)


@dataclass
class Receiver:
    """The radio: a dial, a slice, a gain control."""

    tape: Tape
    dial_hz: float
    level: float = 1e-3
    deaf: npt.NDArray[np.bool_] = field(default_factory=lambda: np.zeros(round(BLOCK_S * AUDIO_HZ), np.bool_))

    def audio(self, block: int) -> npt.NDArray[np.float32]:
        """The next block."""
        count = len(self.deaf)
        carrier_hz = self.dial_hz - (receiver.PITCH_HZ if self.tape.mode == "cw" else 0.0)
        heard = self.tape.slice(carrier_hz, block * count, count)
        times = receiver.ATTACK_S * AUDIO_HZ, receiver.RECOVERY_S * AUDIO_HZ
        out, self.level = receiver.gain_controlled(heard, self.deaf, *times, self.level)
        return out


class Hand:
    """Who moves the dial. `orders`: (time, dial) to come, in order."""

    def __init__(self, session: Session, by: By, slice_: Slice) -> None:
        self.session, self.by, self.slice_hz = session, by, SLICE_HZ[slice_]
        self.rng = random.Random(session.scenario.seed)
        self.orders: list[tuple[float, float]] = []
        self._stops = sorted(sent.stop_s for sent in session.transmissions if sent.station == 0)
        self._stays_s = -1.0
        self._over: int | None = None
        self._peeking = False
        self._known = list(self._replies()) if by == "known" else []

    def _replies(self) -> Iterator[tuple[float, float]]:
        for contact in self.session.contacts:
            yield from contact.reports

    def _moves_s(self) -> float:
        return self.rng.uniform(*HAND_S)

    def sees(self, events: Sequence[Event], engine: Engine, now_s: float) -> None:
        """What the page shows at `now_s`."""
        dx_hz = self.session.scenario.dx_hz
        for event in events:
            if self.by == "known":
                continue
            if isinstance(event, Over) and event.stop_s is None and self._peeking and event.id != self._over:
                self._back(now_s)
            if isinstance(event, Answer) and self._peeking and event.confidence >= 0.5:
                # marked: stay to the end of the reply, then back; the orders in hand are dropped, but for the way back
                self.orders = self.orders[-1:]
            if isinstance(event, Advice) and event.why == STAY and self._peeking and event.time_s > self._stays_s:
                # whether that is a report takes a second to hear; then on, if it was none
                self._stays_s = event.time_s + STAY_S
                self.orders = [(t + STAY_S, f) for t, f in self.orders[:-1]] + self.orders[-1:]
                self.orders = [order for order in self.orders if order[0] <= self.orders[-1][0]]
            if isinstance(event, Advice) and "listen at" in event.why:
                self._goes(engine, now_s, READY in event.why)
        if self.by == "known":
            while self._known and self._known[0][0] - 0.3 <= now_s:
                start_s, stop_s = self._known.pop(0)
                contact = next(c for c in self.session.contacts if (start_s, stop_s) in c.reports)
                low_hz, high_hz = self.slice_hz
                beside_hz = self.rng.uniform(-1.0, 1.0) * (high_hz - low_hz) / 3.0 - (low_hz + high_hz) / 2.0
                away_s = max(now_s, start_s - 0.3) + self._moves_s()
                self.orders = [(away_s, contact.frequency_hz + beside_hz), (stop_s + self._moves_s(), dx_hz)]

    def _goes(self, engine: Engine, now_s: float, ready: bool) -> None:
        """The page says where to peek: once an over. `ready`: he still sends; his end is heard by ear."""
        sc = self.session.scenario
        chain = engine._chain
        peeks = chain._counsel.peeks if chain is not None else None
        if chain is None or peeks is None or peeks._plan is None or peeks._over == self._over:
            return
        self._over = peeks._over
        over = chain._exchange.last_over
        stopped_s = now_s if over is None or over.stop_s is None else over.stop_s
        begins_s = now_s + 0.1
        if ready:
            stopped_s = next((stop_s for stop_s in self._stops if stop_s > now_s - 0.3), now_s)
            begins_s = max(stopped_s, begins_s)
        found = peeks._plan
        if self.by == "sweep":
            found = search.sweep(
                sc.window_low_hz, sc.window_high_hz, sc.dx_hz, found.receiver, search.REPLY[sc.mode], found.back_s
            )
        at_s, here_hz = begins_s, sc.dx_hz
        for peek in found.peeks:
            if peek.frequency_hz != here_hz:
                at_s += self._moves_s()
                self.orders.append((at_s, peek.frequency_hz + peeks.dial_offset_hz))
                here_hz = peek.frequency_hz
            at_s = max(at_s, stopped_s + search.REPLY[sc.mode].delay_s) + found.receiver.dwell_s
        back_s = stopped_s + found.back_s
        self.orders = [(t, f) for t, f in self.orders if t < back_s] + [(back_s + self._moves_s(), sc.dx_hz)]
        self._peeking = True

    def _back(self, now_s: float) -> None:
        self.orders = [(now_s + self._moves_s(), self.session.scenario.dx_hz)]
        self._peeking = False

    def dial(self, now_s: float, dial_hz: float) -> float:
        """Where the dial stands from now on."""
        while self.orders and self.orders[0][0] <= now_s:
            dial_hz = self.orders.pop(0)[1]
        return dial_hz


@dataclass
class Result:
    """One recording: answers, those in the slice, and what was made of them."""

    trial: scoring.Trial
    inside: tuple[int, ...]
    dials: tuple[Dial, ...]
    overs: tuple[int, int, int] = (0, 0, 0)


def play(session: Session, by: By, heard_s: float, slice_: Slice) -> Result:
    """One pile-up through the engine, the dial in a hand."""
    sc = session.scenario
    engine = Engine(EngineConfig(sc.dx_hz, sc.mode, sc.window_low_hz, sc.window_high_hz))
    radio, hand = Receiver(Tape(session, slice_), sc.dx_hz), Hand(session, by, slice_)
    pitch_hz = receiver.PITCH_HZ if sc.mode == "cw" else 0.0
    dials = [Dial(0.0, sc.dx_hz)]
    track = DialTrack(dials, AUDIO_HZ, "lsb" if sc.mode == "lsb" else "usb", pitch_hz)
    analytic, first = Analytic(AUDIO_HZ), 0
    events: list[Event] = []
    primed = False
    for block in range(int(sc.duration_s / BLOCK_S)):
        now_s = block * BLOCK_S
        moved_hz = hand.dial(now_s, radio.dial_hz)
        if moved_hz != radio.dial_hz:
            radio.dial_hz = moved_hz
            dials.append(Dial(now_s, moved_hz))
            track.add(dials[-1])
        samples = analytic.feed(radio.audio(block))
        fresh: list[Event] = []
        for event in track.feed(first, samples):
            fresh += engine.feed(event)
        first += len(samples)
        if not primed and engine._chain is not None and engine._chain._counsel.peeks is not None:
            engine._chain._counsel.peeks.movable = primed = True  # as when the radio tells where it stands
        hand.sees(fresh, engine, now_s + BLOCK_S)
        events += [e for e in fresh if isinstance(e, Answer | Over)]
    events += [e for e in engine.finish() if isinstance(e, Answer | Over)]
    trial = scoring.trial([e for e in events if isinstance(e, Answer)], session.contacts, sc.mode)
    return Result(trial, _inside(session, dials, heard_s, SLICE_HZ[slice_]), tuple(dials), _overs(events, session))


def _overs(events: Sequence[Event], session: Session) -> tuple[int, int, int]:
    from answers import over_figures

    return over_figures(list(events), session)


def _inside(session: Session, dials: Sequence[Dial], heard_s: float, slice_hz: tuple[float, float]) -> tuple[int, ...]:
    """Indices of the completed contacts whose (first) reply fell in the slice for long enough."""
    sc = session.scenario
    low_hz, high_hz = slice_hz
    stops = [dial.time_s for dial in dials[1:]] + [sc.duration_s]
    found = []
    for index, contact in enumerate(session.contacts):
        if not contact.completed or not contact.reports:
            continue
        start_s, stop_s = contact.reports[0]
        heard = sum(
            max(0.0, min(stop, stop_s) - max(dial.time_s, start_s))
            for dial, stop in zip(dials, stops, strict=True)
            if low_hz <= contact.frequency_hz - dial.receive_hz <= high_hz
        )
        if heard >= min(heard_s, 0.9 * (stop_s - start_s)):
            found.append(index)
    return tuple(found)


def run(job: tuple[str, Mode, int, By, float, Slice]) -> Result:
    level, mode, seed, by, heard_s, slice_ = job
    session = people.play(scenario.preset(level, mode, seed), speech if mode != "cw" else None)  # type: ignore[arg-type]
    return play(session, by, heard_s, slice_)


def show(title: str, results: Sequence[Result], precision: float) -> None:
    """One line."""
    answers = sum(c.completed and bool(c.reports) for r in results for c in r.trial.contacts)
    inside = sum(len(r.inside) for r in results)
    all_right = in_right = wrong = 0
    for r in results:
        for v in scoring.verdicts(r.trial):
            all_right += v.judgement == "right"
            in_right += v.judgement == "right" and v.contact in r.inside
            wrong += v.judgement in ("wrong", "taken back")
    within = [_only(r) for r in results]
    best = scoring.best_recall(within, precision)
    marks = all_right + wrong
    right, found, true = (sum(r.overs[k] for r in results) for k in range(3))
    print(
        f"{title}: {answers} answers, {all_right} found ({all_right / max(answers, 1):.2f}); {inside} in the slice, "
        f"{in_right} of them found ({in_right / max(inside, 1):.2f}), precision {all_right / max(marks, 1):.2f} "
        f"({wrong} wrong); recall in the slice at precision {precision:g}: {f'{best[0]:.2f}' if best else '-'}; "
        f"overs F1 {2 * right / max(found + true, 1):.2f}; {sum(len(r.dials) for r in results)} moves",
        flush=True,
    )


def _only(r: Result) -> scoring.Trial:
    """The trial with those answers alone to be found that fell in the slice; others count neither way."""
    return replace(r.trial, contacts=tuple(replace(c, completed=k in r.inside) for k, c in enumerate(r.trial.contacts)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--mode", default="cw")
    parser.add_argument("--level", default="easy,hard")
    parser.add_argument("--by", default=",".join(get_args(By)))
    parser.add_argument("--filter", choices=("narrow", "wide"), default="narrow", help="Of Morse.")
    parser.add_argument("--seeds", type=int, default=6)
    parser.add_argument("--first", type=int, default=50_000)
    parser.add_argument("--heard", type=float, default=0.8)
    parser.add_argument("--jobs", type=int, default=1)
    o = parser.parse_args()
    for mode in o.mode.split(","):
        for level in o.level.split(","):
            for by in o.by.split(","):
                slice_ = o.filter if mode == "cw" else "voice"
                jobs = [(level, mode, o.first + k, by, o.heard, slice_) for k in range(o.seeds)]
                with ProcessPoolExecutor(o.jobs) as pool:
                    results = list(pool.map(run, jobs))
                show(f"{mode} {level}, {slice_} slice, {by}", results, 0.9 if mode == "cw" else 0.85)


if __name__ == "__main__":
    main()
