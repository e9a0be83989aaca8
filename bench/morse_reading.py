"""How well Morse is read: the reader, a classical decoder beside it, and the bounds. On seeds never trained on.

Character error = Levenshtein distance over characters, spaces counted, from noise alone on (acquisition included). Half
the text is random groups, half calls and exchanges; hands with dots +-10 %, dashes of 2.6 to 3.6 units, gaps +-15 %;
18 to 36 WPM and a carrier that the reader is not told. Levels are of the key held down, in noise of 500 Hz, and stand
for 25 WPM: other speeds get 10 log10(WPM / 25) more.

    python bench/morse_reading.py [--quick] [--picture docs/morse_reading.png]
"""

from __future__ import annotations

import argparse
import random
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import scipy.signal

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Block, ComplexArray, Emission
from hearmark.modes.alphabet import text_of
from hearmark.modes.copyist import Chances, Copy, Copyist, Symbols
from hearmark.modes.morse import STEP_FRAMES, MorseReader, features
from hearmark.modes.network import compress
from hearmark.pileup.copied import calls_in
from hearmark.pileup.copying import LIKELY
from hearmark.pileup.own import MIDDLE, Spotter
from hearmark.simulate import calls, keyers, render, scenario
from hearmark.simulate.keyers import Keyer
from hearmark.simulate.keying import CODES
from hearmark.simulate.people import play
from hearmark.spectrum.batches import Band

SEED = 70_000
RATE_HZ, CENTER_HZ, SLOT_HZ = 12_000.0, 14_030_000.0, 250.0
SECONDS = 30.0
WHITE_DB = (-6.0, -4.5, -3.0, -1.5, 0.0, 1.5, 3.0, 6.0)
BOUNDS = {
    "element by element, clock known": ((-10, 0.94), (-5, 0.48), (-3, 0.18), (0, 0.0087), (2, 0.00024)),
    "best possible, non-coherent, clock known": ((-10, 0.61), (-5, 0.10), (-3, 0.025), (0, 0.0014), (2, 0.00008)),
    "best possible, coherent, clock known": ((-10, 0.41), (-5, 0.057), (-3, 0.017), (0, 0.0005), (2, 0.00003)),
}
"""Computed for 25 WPM in white noise, machine keying: docs/methods.md."""
LETTERS = {code: letter for letter, code in CODES.items()}


def edits(one: str | list[str], other: str | list[str]) -> int:
    """Levenshtein distance."""
    row = np.arange(len(other) + 1)
    for i, a in enumerate(one, 1):
        change = row[:-1] + np.array([a != b for b in other], int)
        new = np.concatenate([[i], np.minimum(row[1:] + 1, change)])
        row = np.minimum.accumulate(new - np.arange(len(new))) + np.arange(len(new))
    return int(row[-1])


def spread(count: int, snr_db: float, channel: str, seed: int, slot_hz: float = SLOT_HZ) -> list[Keyer]:
    """Stations side by side, each sending for most of the time."""
    rng, r = np.random.default_rng(seed), random.Random(seed)
    out = []
    for k in range(count):
        wpm = float(rng.uniform(18, 36))
        text = (keyers.groups if k % 2 else keyers.exchanges)(r, 200)
        start_s = float(rng.uniform(0.5, 2.0))
        times = keyers.hand(text, wpm, start_s, rng)
        while times[-1, 1] > SECONDS - 1.0:  # cut at a word
            text = text.rsplit(" ", 1)[0]
            times = times[: sum(len(CODES[c]) for c in text if c != " ")]
        hz = CENTER_HZ + (k - (count - 1) / 2) * slot_hz + float(rng.uniform(-20, 20))
        out.append(Keyer(text, wpm, hz, snr_db + keyers.at_speed_db(wpm), times, channel))
    return out


@dataclass
class Heard:
    """Power over noise of a band, and its samples."""

    samples: ComplexArray
    level: npt.NDArray[np.float32] = field(init=False)

    def __post_init__(self) -> None:
        block = Block(0, RATE_HZ, CENTER_HZ, self.samples)
        band = Band(block, CENTER_HZ, CENTER_HZ - RATE_HZ / 2, CENTER_HZ + RATE_HZ / 2)
        self.grid = band.grid
        ratio = np.concatenate([batch.ratio for batch in band.feed(block)])
        self.ratio = ratio
        self.level = compress(ratio)

    def carrier(self, sent: Keyer, reach_hz: float = 45.0) -> float:
        """Fractional bin of the strongest carrier about there while he sends."""
        near_hz = sent.frequency_hz
        span = self.grid.span(near_hz - reach_hz, near_hz + reach_hz)
        mean = self.ratio[int(sent.start_s / self.grid.hop_s) : int(sent.stop_s / self.grid.hop_s)].mean(axis=0)
        k = span.start + int(np.argmax(mean[span]))
        a, b, c = np.log(mean[k - 1 : k + 2])
        return k + float(np.clip(0.5 * (a - c) / (a - 2 * b + c), -0.5, 0.5))

    def seen(self, sent: list[Keyer]) -> list[tuple[Symbols, Chances]]:
        """What the reader says on the streams nearest to the carriers that these are found on."""
        at = np.array([self.carrier(keyer) for keyer in sent])
        first = self.grid.zero % 2
        streams = np.clip(2 * np.round((at - first) / 2).astype(int) + first, 4, self.grid.bins - 5)
        seen = features(self.level[: len(self.level) // STEP_FRAMES * STEP_FRAMES], streams)
        reading = MorseReader(len(streams)).read(seen)
        return list(zip(reading.likely, reading.chances, strict=True))

    def read(self, sent: list[Keyer], during: bool = False) -> list[tuple[Copy, str]]:
        """What is copied on those streams, and the reader's best symbols as they come; `during`: only while each
        sends."""
        out, step_s = [], STEP_FRAMES * self.grid.hop_s
        for keyer, (likely, chances) in zip(sent, self.seen(sent), strict=True):
            when = slice(None)
            if during:
                when = slice(int(max(0.0, keyer.start_s - 0.3) / step_s), int((keyer.stop_s + 0.7) / step_s))
            copyist = Copyist()
            copyist.feed(likely[when], chances[when])
            out.append((copyist.copy(), text_of(likely[when, 0])))
        return out

    def classical(self, sent: Keyer) -> str:
        """Envelope, adaptive threshold, timing: what a decoder does that decides element by element."""
        hz = self.grid.low_hz + self.carrier(sent) * self.grid.step_hz - CENTER_HZ
        turned = self.samples * np.exp(-2j * np.pi * hz / RATE_HZ * np.arange(len(self.samples)))
        window = np.hanning(round(0.04 * RATE_HZ))
        hop_s = 0.004
        level = np.abs(scipy.signal.fftconvolve(turned, window / window.sum(), "same"))[:: round(hop_s * RATE_HZ)]
        near = round(2.0 / hop_s)
        top = scipy.ndimage.percentile_filter(level, 85, near)
        low = scipy.ndimage.percentile_filter(level, 20, near)
        key = level > np.maximum(0.5 * (top + low), 0.25 * np.quantile(level, 0.95))
        key = scipy.signal.medfilt(key.astype(float), 5) > 0.5
        edges = np.flatnonzero(np.diff(np.concatenate([[0], key.astype(int), [0]])))
        marks, gaps = np.diff(edges)[::2] * hop_s, np.diff(edges)[1::2] * hop_s
        kept = marks > 0.015
        if np.count_nonzero(kept) < 3:
            return ""
        short, long = np.quantile(marks[kept], [0.2, 0.8])
        for _ in range(10):
            split = (short + long) / 2
            short = marks[kept & (marks <= split)].mean() if (kept & (marks <= split)).any() else short
            long = marks[marks > split].mean() if (marks > split).any() else long
        unit = (short + long / 3) / 2
        text, code = "", ""
        for k, mark in enumerate(marks):
            if mark > 0.015:
                code += "." if mark < (short + long) / 2 else "-"
            gap = gaps[k] if k < len(gaps) else 9.0
            if gap > 2 * unit:
                text += LETTERS.get(code, "?") if code else ""
                code = ""
            if gap > 5 * unit:
                text += " "
        return " ".join(text.split())


@dataclass
class Errors:
    """Wrong and sent characters: copied, the reader without the copyist, the classical decoder."""

    copied: int = 0
    reader: int = 0
    classical: int = 0
    sent: int = 0

    def add(self, heard: Heard, sent: list[Keyer]) -> None:
        """Count what both made of a band."""
        for keyer, (copy, plain) in zip(sent, heard.read(sent), strict=True):
            self.copied += edits(copy.text, keyer.text)
            self.reader += edits(plain, keyer.text)
            self.classical += edits(heard.classical(keyer), keyer.text)
            self.sent += len(keyer.text)

    @property
    def rates(self) -> tuple[float, ...]:
        """Errors per character sent."""
        return self.copied / self.sent, self.reader / self.sent, self.classical / self.sent


def measured(
    snr_db: float, channel: str, bands: int, seed: int, neighbour_db: float | None = None
) -> tuple[float, ...]:
    """Character error rates (copied, reader alone, classical) at one level; a neighbour is 150 Hz above each."""
    errors = Errors()
    for k in range(bands):
        slot_hz = SLOT_HZ if neighbour_db is None else 500.0
        sent = spread(round(10_000 / slot_hz), snr_db, channel, seed + k, slot_hz)
        beside: list[Keyer] = []
        if neighbour_db is not None:
            for keyer, other in zip(sent, spread(len(sent), 0.0, channel, seed + 500 + k, slot_hz), strict=True):
                level_db = keyer.snr_db + neighbour_db
                beside.append(Keyer(other.text, other.wpm, keyer.frequency_hz + 150.0, level_db, other.times_s))
        samples, _ = keyers.band(sent + beside, SECONDS, RATE_HZ, CENTER_HZ, np.random.default_rng(seed + k))
        errors.add(Heard(samples), sent)
    return errors.rates


def at_five_percent(levels_db: tuple[float, ...], rates: list[float]) -> float:
    """Level at which the error rate falls through 5 %, between the measured ones; nan if it never does."""
    for (a_db, a), (b_db, b) in zip(
        zip(levels_db, rates, strict=True), zip(levels_db[1:], rates[1:], strict=True), strict=False
    ):
        if a > 0.05 >= b:
            return a_db + (b_db - a_db) * float(np.log(a / 0.05) / np.log(a / max(b, 1e-4)))
    return float("nan")


def once(channel: str, snr_db: float, bands: int, seed: int, least_db: float = -99.0) -> tuple[int, int, int]:
    """Calls sent once, in the clear: (right, wrong, sent). `least_db`: of the transmission's own SNR."""
    right = wrong = sent_count = 0
    for k in range(bands):
        rng, r = np.random.default_rng(seed + k), random.Random(seed + k)
        sent: list[Keyer] = []
        for slot in range(40):
            start_s = float(rng.uniform(0.5, 2.0))
            while start_s < SECONDS - 6.5:
                text, wpm = calls.caller(r)[0], float(rng.uniform(18, 36))
                hz = CENTER_HZ + (slot - 19.5) * SLOT_HZ + float(rng.uniform(-20, 20))
                times = keyers.hand(text, wpm, start_s, rng)
                level_db = snr_db + keyers.at_speed_db(wpm)
                sent.append(Keyer(text, wpm, hz, level_db, times, channel))
                start_s = float(times[-1, 1]) + float(rng.uniform(2.0, 4.0))
        samples, own_db = keyers.band(sent, SECONDS, RATE_HZ, CENTER_HZ, rng)
        heard = Heard(samples)
        for keyer, (copy, _), snr in zip(sent, heard.read(sent, during=True), own_db, strict=True):
            if snr - keyers.at_speed_db(keyer.wpm) < least_db:
                continue
            found = calls_in(copy)
            call = found[0].call if found and found[0].probability >= LIKELY else None
            sent_count += 1
            right += call == keyer.text
            wrong += call is not None and call != keyer.text
    return right, wrong, sent_count


def words(bands: int, seed: int) -> tuple[int, int]:
    """Wrong and sent words of a DX in moderate fading, 10 dB in 2500 Hz."""
    wrong = total = 0
    for k in range(bands):
        sent = spread(40, 17.0, "mid moderate", seed + k)[::2]
        samples, _ = keyers.band(sent, SECONDS, RATE_HZ, CENTER_HZ, np.random.default_rng(seed + k))
        for keyer, (copy, _) in zip(sent, Heard(samples).read(sent), strict=True):
            wrong += edits(copy.text.split(), keyer.text.split())
            total += len(keyer.text.split())
    return wrong, total


def own_call(bands: int, seed: int) -> tuple[list[float], int, int, float]:
    """Our own call in the DX's text at 10 dB in white noise: delays after its last letter, in seconds, of those that
    were told; how many were sent; how many were told in other traffic, and in how many hours of it."""
    delays: list[float] = []
    sent_count = false = 0
    hours = 0.0
    for k in range(bands):
        rng, r = np.random.default_rng(seed + k), random.Random(seed + k)
        sent, ours = [], []
        for slot in range(40):
            call, wpm = calls.caller(r)[0], float(rng.uniform(18, 36))
            before = r.choice(["", "TU ", "R TU ", "QRZ? ", "DE "])
            times = keyers.hand(before + call + " 5NN", wpm, float(rng.uniform(1, 3)), rng)
            hz = CENTER_HZ + (slot - 19.5) * SLOT_HZ
            sent.append(Keyer(before + call + " 5NN", wpm, hz, 10.0 + keyers.at_speed_db(wpm), times))
            letters = (before + call).replace(" ", "")
            ours.append((call, float(times[sum(len(CODES[c]) for c in letters) - 1, 1])))
        samples, _ = keyers.band(sent, 16.0, RATE_HZ, CENTER_HZ, rng)
        for (call, end_s), (likely, chances) in zip(ours, Heard(samples).seen(sent), strict=True):
            told = np.flatnonzero(Spotter(call).feed(likely, chances) > MIDDLE)
            sent_count += 1
            if len(told):  # the engine works in batches of three steps, and a window reaches 64 ms further
                delays.append(int(told[0]) // 3 * 0.096 + 0.152 - end_s)
        sent = spread(40, 10.0, "flat", seed + 500 + k)
        samples, _ = keyers.band(sent, SECONDS, RATE_HZ, CENTER_HZ, rng)
        for likely, chances in Heard(samples).seen(sent):
            false += int((Spotter(calls.caller(r)[0]).feed(likely, chances) > MIDDLE).any())
            hours += SECONDS / 3600.0
    return delays, sent_count, false, hours


def false_calls(seconds: float, seed: int) -> list[str]:
    """Calls that the engine finds where no Morse is: noise, carriers, impulses and people talking."""
    found = []
    while seconds > 0:
        part = min(seconds, 120.0)
        sc = scenario.preset("hard", "usb", seed, None, part)
        sc = scenario.replace(sc, human_speech=True, carriers=6, impulses_per_s=0.5)
        from hearmark.simulate import speech

        session = play(sc, speech)
        engine = Engine(EngineConfig(sc.dx_hz, "cw", sc.window_low_hz, sc.window_high_hz))
        source = render.Renderer(session, 48_000, sc.dx_hz + 6_000)
        kept: dict[int, Emission] = {}
        for n in range(round(part * 10)):
            block = Block(n * 4_800, 48_000.0, sc.dx_hz + 6_000, source.samples(n * 4_800, 4_800))
            kept.update((e.id, e) for e in engine.feed(block) if isinstance(e, Emission))
        found += [e.call for e in kept.values() if e.call]
        seconds, seed = seconds - part, seed + 1
    return found


def picture(path: str, white: list[tuple[float, ...]]) -> None:
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(figsize=(7, 4.5), layout="constrained")
    for (name, points), style in zip(BOUNDS.items(), (":", "--", "-."), strict=True):
        axes.semilogy(*zip(*points, strict=True), style, color="#666666", label=name)
    for k, (name, colour, sign) in enumerate(
        (("Hearmark", "#0072B2", "o"), ("its network alone", "#56B4E9", "^"), ("classical", "#D55E00", "s"))
    ):
        axes.semilogy(WHITE_DB, [max(w[k], 1e-4) for w in white], sign + "-", color=colour, label=name)
    axes.axhline(0.05, color="#999999", lw=0.8)
    axes.set(xlim=(-7, 6.5), ylim=(5e-4, 1.2), ylabel="character errors")
    axes.set_xlabel("SNR of the key held down, dB in 500 Hz, 25 WPM, white noise")
    axes.legend(fontsize=8)
    axes.grid(alpha=0.3, which="both")
    figure.savefig(path, dpi=130)


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--quick", action="store_true")
    ask.add_argument("--picture")
    given = ask.parse_args()
    bands = 1 if given.quick else 4
    print(
        "character errors       copied  reader alone  classical   bounds: element by element / non-coherent / coherent"
    )
    white = []
    for snr_db in WHITE_DB:
        white.append(measured(snr_db, "flat", bands, SEED))
        bounds = "  /  ".join(f"{b:.2g}" for b in (dict(points).get(snr_db) for points in BOUNDS.values()) if b)
        figures = "{:7.3f} {:13.3f} {:10.3f}".format(*white[-1])
        print(f"white noise {snr_db:5.1f} dB   {figures}   {bounds}", flush=True)
    points = [at_five_percent(WHITE_DB, [w[k] for w in white]) for k in range(3)]
    figures = "{:.1f} dB, reader alone {:.1f} dB, classical {:.1f} dB".format(*points)
    print(f"SNR at 5 %: copied {figures} (must -1.5, aim -3; bounds -1.7/-4/-5)")
    figures = "{:.3f}, reader alone {:.3f}, classical {:.3f}".format(
        *measured(10.0, "mid moderate", bands * 2, SEED + 100)
    )
    print(f"moderate fading, mean 10 dB: copied {figures} (must 0.06, aim 0.03)")
    near = [measured(snr_db, "flat", bands, SEED + 200, 20.0)[0] for snr_db in WHITE_DB]
    cost = at_five_percent(WHITE_DB, near) - points[0]
    print(f"neighbour 20 dB stronger 150 Hz away costs {cost:.1f} dB at 5 % (must 2; boxcar 3.5)")
    right, wrong, sent = once("flat", 6.0, bands, SEED + 300)
    print(f"calls sent once, 6 dB: right {right / sent:.2%}, wrong {wrong / sent:.2%} of {sent} (must 99 / 0.5)")
    right, wrong, sent = once("mid moderate", 14.0, bands, SEED + 400, 10.0)
    print(f"the same in fading, own SNR >= 10 dB: {right / sent:.2%}, {wrong / sent:.2%} of {sent} (must 90 / 2)")
    wrong, sent = words(bands * 2, SEED + 600)
    print(f"the DX's text in fading, 10 dB in 2500 Hz: word errors {wrong / sent:.2%} of {sent} (must 5 %, aim 2 %)")
    delays, sent, false, hours = own_call(bands, SEED + 900)
    seen = sum(delay <= 0.5 for delay in delays)
    print(
        f"our own call, 10 dB: told within 0.5 s {seen / sent:.1%} of {sent}, delay median {np.median(delays):.2f} s, "
        f"most {max(delays):.2f} s; {false} false in {hours:.1f} h of other traffic (must 95 %, 0.5 s, 1 an hour)"
    )
    seconds = 120.0 if given.quick else 3_600.0
    found = false_calls(seconds, SEED + 700)
    print(
        f"false calls in {seconds / 60:.0f} minutes of noise, carriers, impulses, voices: "
        f"{len(found)} {found[:6]} (must 0)"
    )
    if given.picture:
        picture(given.picture, white)


if __name__ == "__main__":
    main()
