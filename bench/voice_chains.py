"""Who is who among the voices, on recorded people whom nobody trained on: pairs of transmissions in one chain.

Turns of 6 s; six callers on places of their own, each calls in two of three turns, 8 to 15 dB, moderate fading; now and
then another voice takes a place within 100 Hz of one of them. Of all pairs of heard transmissions: how many of those in
one chain are one voice on one place, and how many of those that are have one chain. "By place alone": the same without
pitch and timing.

    python bench/voice_chains.py [--quick]
"""

from __future__ import annotations

import itertools
import random
import sys
from dataclasses import replace

import numpy as np

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Block, Emission
from hearmark.pileup.chains import Chains
from hearmark.simulate import calls, talkers
from hearmark.simulate.talkers import Talker

SEED, RATE_HZ, CENTER_HZ = 74_000, 24_000.0, 18_150_000.0
VOICES = ("h-es", "h-es-2", "h-es-3", "h-ru", "h-ru-2", "h-ru-3")
TURNS, TURN_S = 6, 6.0


def scene(seed: int) -> list[tuple[Talker, int]]:
    """Transmissions, each with the number of who sends it."""
    r = random.Random(seed)
    people = [
        (VOICES[k], CENTER_HZ - 8_500 + 2_900 * k + r.uniform(-300, 300), r.uniform(8, 15), r.uniform(0.2, 2.0))
        for k in range(6)
    ]
    sent = []
    for turn in range(TURNS):
        for k, (voice, dial_hz, snr_db, delay_s) in enumerate(people):
            who = k
            if turn > 1 and r.random() < 0.2:  # somebody else calls there, and he does not
                other = r.randrange(6)
                if other == k:
                    continue
                voice, dial_hz, delay_s = people[other][0], dial_hz + r.uniform(-100, 100), r.uniform(0.2, 2.0)
                who = 10 + 6 * k + other
            elif r.random() > 0.67:
                continue
            start_s = 1.5 + turn * TURN_S + delay_s + r.gauss(0.0, 0.15)
            text = f"{calls.caller(r)[0]} {calls.caller(r)[0]}"
            sent.append((Talker(text, voice, dial_hz, snr_db, max(start_s, 1.5), 2.0, "mid moderate"), who))
    return sent


def heard(sent: list[Talker], seed: int) -> list[Emission]:
    seconds = TURNS * TURN_S + 2.0
    samples = talkers.band(sent, seconds, RATE_HZ, CENTER_HZ, np.random.default_rng(seed))
    engine = Engine(EngineConfig(CENTER_HZ - 11_000, "usb", CENTER_HZ - 9_400, CENTER_HZ + 7_000))
    kept: dict[int, Emission] = {}
    for k in range(0, len(samples), 2_400):
        events = engine.feed(Block(k, RATE_HZ, CENTER_HZ, samples[k : k + 2_400]))
        kept.update((e.id, e) for e in events if isinstance(e, Emission))
    return [e for e in kept.values() if e.stop_s is not None and e.stop_s > e.start_s]


def chained(emissions: list[Emission], what: str) -> list[Emission]:
    """The same through chains that know the turns, and place, pitch and timing, or place alone."""
    chains, out, turn = Chains(), [], -1
    for e in sorted(emissions, key=lambda e: e.stop_s or 0.0):
        now = int((e.start_s - 1.5) // TURN_S)
        if now > turn and what == "all":
            turn = now
            chains.over_ends(1.5 + turn * TURN_S)
        out.append(chains.told(e if what == "all" else replace(e, pitch_hz=None)))
    return out


def main() -> None:
    count = {what: np.zeros(3, int) for what in ("all", "place alone")}
    pitch_off = []
    for seed in range(SEED, SEED + (3 if "--quick" in sys.argv else 20)):
        sent = scene(seed)
        emissions = heard([talker for talker, _ in sent], seed)
        for what, totals in count.items():
            pairs = []
            for e in chained(emissions, what):
                for talker, who in sent:
                    if abs(e.frequency_hz - talker.dial_hz) < 150 and abs(e.start_s - talker.start_s) < 0.7:
                        pairs.append((e.chain, who, talker.voice, e.pitch_hz))
            for one, other in itertools.combinations(pairs, 2):
                same, one_chain = one[1] == other[1], one[0] == other[0]
                totals += (same and one_chain, one_chain, same)
                if what == "all" and one[2] == other[2] and one[3] and other[3]:
                    pitch_off.append(abs(np.log(one[3] / other[3])))
    for what, (both, one_chain, same) in count.items():
        print(
            f"{what + ':':12} of {one_chain} pairs in one chain {both / max(one_chain, 1):.1%} are one voice; "
            f"of {same} pairs that are, {both / max(same, 1):.1%} are in one chain"
        )
    print(f"pitch of one voice from one turn to another: off by {np.median(pitch_off):.1%} (median)")


if __name__ == "__main__":
    main()
