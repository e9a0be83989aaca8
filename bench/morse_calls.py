"""Calls in Morse, heard through the whole engine: sent once, our own, and none where there is none. Seeds of its own.

Calls sent once: 40 stations side by side, 250 Hz apart, each sends a call, waits 2 to 4 s and sends another, at 18 to
36 WPM, by the hands of `morse_reading.py`. Right: what is heard there names this call and no other; wrong: it names
another.
"In fading": of those whose own SNR, as the fading left it, is 10 dB or more in 500 Hz at 25 WPM.

    python bench/morse_calls.py [--quick] [--minutes 60]
"""

from __future__ import annotations

import argparse
import random
from dataclasses import replace

import numpy as np
from morse_reading import CENTER_HZ, RATE_HZ, SECONDS, SLOT_HZ, Heard, spread

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Block, ComplexArray, Emission
from hearmark.pileup.own import MIDDLE, Spotter
from hearmark.simulate import calls, keyers, render, scenario, speech
from hearmark.simulate.keyers import Keyer
from hearmark.simulate.keying import CODES
from hearmark.simulate.people import play

SEED = 70_000


def emissions(samples: ComplexArray) -> list[Emission]:
    """The newest state of every emission that the engine hears in a band of `RATE_HZ`."""
    engine = Engine(EngineConfig(CENTER_HZ - 5_700.0, "cw", CENTER_HZ - 5_200.0, CENTER_HZ + 5_200.0))
    kept: dict[int, Emission] = {}
    for k in range(0, len(samples), 1_200):
        events = engine.feed(Block(k, RATE_HZ, CENTER_HZ, samples[k : k + 1_200]))
        kept.update((e.id, e) for e in events if isinstance(e, Emission))
    return list(kept.values())


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
        found = emissions(samples)
        for keyer, snr in zip(sent, own_db, strict=True):
            if snr - keyers.at_speed_db(keyer.wpm) < least_db:
                continue
            there = [e for e in found if abs(e.frequency_hz - keyer.frequency_hz) < 25.0 and e.start_s < keyer.stop_s]
            named = {e.call for e in there if (e.stop_s is None or e.stop_s > keyer.start_s) and e.call}
            sent_count += 1
            right += named == {keyer.text}
            wrong += bool(named - {keyer.text})
    return right, wrong, sent_count


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
        sc = replace(sc, human_speech=True, carriers=6, impulses_per_s=0.5)
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


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--quick", action="store_true")
    ask.add_argument("--minutes", type=float, help="of noise, carriers, impulses and voices (60; with --quick 2)")
    given = ask.parse_args()
    bands = 3 if given.quick else 10
    right, wrong, sent = once("flat", 6.0, bands, SEED + 300)
    print(f"calls sent once, 6 dB: right {right / sent:.2%}, wrong {wrong / sent:.2%} of {sent} (must 99 / 0.5)")
    right, wrong, sent = once("mid moderate", 14.0, bands, SEED + 400, 10.0)
    print(f"the same in fading, own SNR >= 10 dB: {right / sent:.2%}, {wrong / sent:.2%} of {sent} (must 90 / 2)")
    delays, sent, false, hours = own_call(bands, SEED + 900)
    seen = sum(delay <= 0.5 for delay in delays)
    print(
        f"our own call, 10 dB: told within 0.5 s {seen / sent:.1%} of {sent}, delay median {np.median(delays):.2f} s, "
        f"most {max(delays):.2f} s; {false} false in {hours:.1f} h of other traffic (must 95 %, 0.5 s, 1 an hour)"
    )
    seconds = 60.0 * (given.minutes or (2.0 if given.quick else 60.0))
    found = false_calls(seconds, SEED + 700)
    print(
        f"false calls in {seconds / 60:.0f} minutes of noise, carriers, impulses, voices: "
        f"{len(found)} {found[:6]} (must 0)"
    )


if __name__ == "__main__":
    main()
