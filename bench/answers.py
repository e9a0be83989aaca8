"""Who was answered, and when to call: the whole engine on simulated pile-ups, beside the loudest bin.

    python bench/answers.py [--mode cw|usb] [--level easy|hard|brutal|varied] [--seeds N] [--first SEED] [--jobs 2]
        [--mono]

Seeds from 50000 on were never used while developing. Scoring: hearmark.simulate.scoring. Prints recall, precision and
the mark's delay in all and by habit and SNR class; the cue's faults and delay; F1 of the DX's overs; speed. With
`--mono` the engine hears one receiver's audio on the DX's frequency only: cue and overs, nothing to mark.
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Advice, Answer, Block, Dial, Event, Mode, Over, Row
from hearmark.marks import settled
from hearmark.simulate import people, receiver, render, scenario, scoring, speech
from hearmark.simulate.session import Session
from hearmark.sources.analytic import Analytic
from hearmark.sources.audio import DialTrack

RATE = 48_000
LEVELS = {"easy": 0.9, "hard": 0.9, "brutal": 0.85, "varied": 0.85}


@dataclass
class Result:
    """One recording."""

    level: str
    mode: str
    habit: str
    seed: int
    trial: scoring.Trial
    loudest: scoring.Trial
    snr_db: list[float] = field(default_factory=list)
    found_by_snr: list[bool] = field(default_factory=list)
    cues: tuple[int, int] = (0, 0)
    cue_delays_s: list[float] = field(default_factory=list)
    overs: tuple[int, int, int] = (0, 0, 0)
    real_time: float = 0.0


def session_of(level: str, mode: Mode, seed: int) -> Session:
    """The pile-up of a seed."""
    sc = scenario.varied(mode, seed) if level == "varied" else scenario.preset(level, mode, seed)
    return people.play(sc, speech if mode != "cw" else None)


def centre_of(session: Session) -> float:
    """Between the DX and the far edge of the window, off any signal."""
    sc = session.scenario
    far = max((sc.window_low_hz, sc.window_high_hz), key=lambda f: abs(f - sc.dx_hz))
    return round((sc.dx_hz + far) / 2) + 37.0


def wideband(session: Session) -> Iterator[Block]:
    """48 kHz of spectrum around the DX and the window."""
    centre, count, size = centre_of(session), int(session.scenario.duration_s * RATE), RATE // 10
    renderer = render.Renderer(session, RATE, centre)
    for k in range(0, count, size):
        yield Block(k, RATE, centre, renderer.samples(k, min(size, count - k)))


def one_receiver(session: Session) -> Iterator[Event]:
    """The audio of one receiver that stays on the DX."""
    mode, dial = session.scenario.mode, [Dial(0.0, session.scenario.dx_hz, False)]
    audio = receiver.receive(session, dial)
    track = DialTrack(dial, 8000, "lsb" if mode == "lsb" else "usb", receiver.PITCH_HZ if mode == "cw" else 0.0)
    analytic, first = Analytic(8000), 0
    for k in range(0, len(audio), 800):
        samples = analytic.feed(audio[k : k + 800])
        yield from track.feed(first, samples)
        first += len(samples)


def hear(session: Session, mono: bool = False) -> tuple[list[Event], scoring.Trial, float]:
    """All events, the loudest-bin trial, and how many times real time on one core."""
    sc = session.scenario
    engine = Engine(EngineConfig(sc.dx_hz, sc.mode, sc.window_low_hz, sc.window_high_hz))
    events: list[Event] = []
    loud = Loudest(session)
    spent = 0.0
    for event in one_receiver(session) if mono else wideband(session):
        begin = time.process_time()
        new = engine.feed(event)
        spent += time.process_time() - begin
        if not mono:
            loud.feed(new)
        events += [e for e in new if not isinstance(e, Row)]
    events += engine.finish()
    return events, loud.trial(), sc.duration_s / max(spent, 1e-9)


class Loudest:
    """The usual guess: 1.5 s after each over, the loudest place in the window since it ended."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.rows: list[Row] = []
        self.stops: list[float] = [t.stop_s for t in session.transmissions if t.station == 0]
        self.answers: list[Answer] = []

    def feed(self, events: Iterable[Event]) -> None:
        """What the engine gave, in order."""
        sc = self.session.scenario
        for event in events:
            if isinstance(event, Row):
                self.rows = [*self.rows[-40:], event]
                while self.stops and event.time_s > self.stops[0] + 2.0:
                    stop = self.stops.pop(0)
                    rows = [r for r in self.rows if r.time_s > stop + 0.2]
                    if not rows:
                        continue
                    power = np.mean([10 ** (r.power_db / 10) for r in rows], axis=0)
                    f = rows[0].low_hz + rows[0].step_hz * np.arange(len(power))
                    if sc.mode != "cw":  # the suppressed carrier whose speech band holds most
                        wide = round(2400 / rows[0].step_hz)
                        power = np.convolve(power, np.ones(wide), "valid")
                        f = f[: len(power)] - 300 if sc.mode == "usb" else f[wide - 1 :][: len(power)] + 300
                    power = np.where((f > sc.window_low_hz - 100) & (f < sc.window_high_hz + 100), power, 0)
                    self.answers.append(
                        Answer(len(self.answers) + 1, stop + 0.5, None, stop + 2.0, float(f[np.argmax(power)]), 0.9)
                    )

    def trial(self) -> scoring.Trial:
        """All guesses, ready to be scored."""
        return scoring.trial(self.answers, self.session.contacts, self.session.scenario.mode)


def cue_figures(events: list[Event], session: Session) -> tuple[tuple[int, int], list[float]]:
    """(call cues, those shown while he sends or another is being answered), delays of right ones after his over."""
    overs = [t for t in session.transmissions if t.station == 0]
    busy = [(t.start_s, t.stop_s) for t in overs]
    for t, following in pairwise(overs):
        if t.role in ("answer", "again"):
            busy.append((t.stop_s, following.start_s))
    changes = [e for e in events if isinstance(e, Advice)]
    calls, wrong = 0, 0
    shown: list[tuple[float, float]] = []
    for k, e in enumerate(changes):
        if e.cue == "call" and (k == 0 or changes[k - 1].cue != "call"):
            stop = next((x.time_s for x in changes[k:] if x.cue != "call"), session.scenario.duration_s)
            shown.append((e.time_s, stop))
            calls += 1
            wrong += any(a < e.time_s < b for a, b in busy)
    delays = []
    for t, following in pairwise(overs):
        if t.role in ("cq", "confirm") and following.start_s - t.stop_s > 0.9:
            at = min((a for a, b in shown if b > t.stop_s and a < following.start_s), default=None)
            delays.append(max(0.0, at - t.stop_s) if at is not None else following.start_s - t.stop_s)
    return (calls, wrong), delays


def over_figures(events: list[Event], session: Session) -> tuple[int, int, int]:
    """(right, found, true): an over is right within 0.3 s at both ends or with 80 % of the time shared."""
    newest: dict[int, Over] = {e.id: e for e in events if isinstance(e, Over)}
    found = [(o.start_s, o.stop_s) for o in newest.values() if o.stop_s is not None and o.stop_s > o.start_s]
    true: list[tuple[float, float]] = []
    end_s = session.scenario.duration_s  # the recording's end ends an over
    for t in session.transmissions:
        if t.station == 0 and t.start_s < end_s - 1:
            if true and t.start_s - true[-1][1] < 0.5:
                true[-1] = (true[-1][0], min(t.stop_s, end_s))
            else:
                true.append((t.start_s, min(t.stop_s, end_s)))
    right, used = 0, set()
    for a, b in true:
        for k, (c, d) in enumerate(found):
            shared = min(b, d) - max(a, c)
            close = abs(a - c) < 0.3 and abs(b - d) < 0.3
            if k not in used and (close or shared > 0.8 * (max(b, d) - min(a, c))):
                used.add(k)
                right += 1
                break
    return right, len(found), len(true)


def run(job: tuple[str, Mode, int, bool]) -> Result:
    level, mode, seed, mono = job
    session = session_of(level, mode, seed)
    events, loudest, speed = hear(session, mono)
    answers = settled([e for e in events if isinstance(e, Answer)], mode)
    trial = scoring.trial(answers, session.contacts, mode)
    result = Result(level, mode, session.scenario.habit, seed, trial, loudest, real_time=speed)
    result.cues, result.cue_delays_s = cue_figures(events, session)
    result.overs = over_figures(events, session)
    right = {v.contact for v in scoring.verdicts(trial) if v.judgement == "right"}
    for k, c in enumerate(session.contacts):
        if c.completed and c.reports:
            result.snr_db.append(session.stations[c.station].snr_db)
            result.found_by_snr.append(k in right)
    return result


def shares(results: list[Result], attribute: str, precision: float) -> str:
    """Recall and precision at 0.5, delay, and the best recall at the precision asked."""
    trials = [getattr(r, attribute) for r in results]
    s = scoring.score(trials, 0.5)
    best = scoring.best_recall(trials, precision)
    delay = f"{s.median_delay_s:.2f}" if s.median_delay_s is not None else "-"
    at = f"{best[0]:.3f}" if best else "-"
    found = f"recall {s.recall or 0:.3f} precision {s.precision or 0:.3f} delay {delay} s"
    return f"{found} | recall at precision {precision:g}: {at}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mode", default="cw")
    parser.add_argument("--level", default="easy,hard")
    parser.add_argument("--seeds", type=int, default=6)
    parser.add_argument("--first", type=int, default=50_000)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--mono", action="store_true")
    o = parser.parse_args()
    for mode in o.mode.split(","):
        for level in o.level.split(","):
            jobs = [(level, mode, o.first + k, o.mono) for k in range(o.seeds)]
            if o.jobs > 1:
                with ProcessPoolExecutor(o.jobs) as pool:
                    results = list(pool.map(run, jobs))
            else:
                results = [run(j) for j in jobs]
            show(results, level, mode, o.mono)


def show(results: list[Result], level: str, mode: str, mono: bool = False) -> None:
    precision = 0.8 if mode != "cw" and level != "easy" else LEVELS[level]
    contacts = sum(len(r.snr_db) for r in results)
    print(f"{mode} {level}: {len(results)} recordings, {contacts} contacts{', one receiver on the DX' * mono}")
    if not mono:
        marks(results, precision)
    calls, wrong = (sum(r.cues[k] for r in results) for k in (0, 1))
    delays = np.concatenate([r.cue_delays_s for r in results])
    delay = f"median {np.median(delays):.2f} s (90 %: {np.quantile(delays, 0.9):.2f})"
    print(f"  cue: {calls} calls, wrong {wrong / max(calls, 1):.3f}, delay {delay}")
    right, found_n, true = (sum(r.overs[k] for r in results) for k in (0, 1, 2))
    print(f"  overs: F1 {2 * right / max(found_n + true, 1):.3f} ({right} right, {found_n} found, {true} true)")
    print(f"  speed: median {np.median([r.real_time for r in results]):.1f} x real time on one core", flush=True)


def marks(results: list[Result], precision: float) -> None:
    print(f"  engine       {shares(results, 'trial', precision)}")
    print(f"  loudest bin  {shares(results, 'loudest', precision)}")
    habits: dict[str, list[Result]] = defaultdict(list)
    for r in results:
        habits[r.habit].append(r)
    for habit, some in sorted(habits.items()):
        print(f"    {habit:10s} {shares(some, 'trial', precision)}")
    snr = np.concatenate([r.snr_db for r in results])
    found = np.concatenate([r.found_by_snr for r in results])
    for low, high in ((-40, 0), (0, 6), (6, 12), (12, 60)):
        some = (snr >= low) & (snr < high)
        if some.any():
            print(f"    SNR {low:3d} to {high:2d} dB: found {found[some].mean():.3f} of {some.sum()}")


if __name__ == "__main__":
    main()
