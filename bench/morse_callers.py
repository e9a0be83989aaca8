"""Every Morse station of a pile-up, heard through the whole engine: found, copied, its call, carrier and speed.

Counted: transmissions of at least 1.5 s by callers in an invented pile-up (hard channel, all manners), by how strong
they are and by whether another sends within 80 Hz at the time. Right: the likeliest call of the emission there is the
sender's; wrong: one is told that nobody sent about there. Carrier and speed: median error.

    python bench/morse_callers.py [--quick]
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Block, Emission
from hearmark.pileup.copying import LIKELY
from hearmark.simulate import people, render, scenario
from hearmark.simulate.session import Session, Transmission

SEED = 71_000
CLASSES = (("10 dB and more", 10.0, 99.0), ("3 to 10 dB", 3.0, 10.0), ("-4 to 3 dB", -4.0, 3.0))
"""SNR in 2500 Hz before fading."""


def heard(session: Session) -> list[Emission]:
    """The newest state of every emission."""
    sc = session.scenario
    engine = Engine(EngineConfig(sc.dx_hz, "cw", sc.window_low_hz, sc.window_high_hz))
    center_hz = round((sc.dx_hz + sc.window_high_hz) / 2)
    renderer = render.Renderer(session, 48_000, center_hz)
    kept: dict[int, Emission] = {}
    for k in range(round(sc.duration_s * 10)):
        events = engine.feed(Block(k * 4_800, 48_000.0, center_hz, renderer.samples(k * 4_800, 4_800)))
        kept.update((e.id, e) for e in events if isinstance(e, Emission))
    return list(kept.values())


def clear(sent: Transmission, session: Session) -> bool:
    """Nobody else within 80 Hz while he sends."""
    return not any(
        abs(o.frequency_hz - sent.frequency_hz) < 80.0
        and o.start_s < sent.stop_s + 0.3
        and o.stop_s > sent.start_s - 0.3
        for o in session.transmissions
        if o is not sent
    )


def main() -> None:
    quick = "--quick" in sys.argv
    rows: dict[tuple[str, bool], list[tuple[bool, bool, bool, bool, float, float]]] = {}
    false = total = 0
    for seed in range(SEED, SEED + (1 if quick else 6)):
        sc = replace(scenario.preset("hard", "cw", seed, None, 60.0 if quick else 120.0), callers=40)
        session = people.play(sc)
        emissions = heard(session)
        calls = {station.call for station in session.stations}
        named = [e for e in emissions if e.call]
        total += len(named)
        false += sum(e.call not in calls for e in named)
        for sent in session.transmissions:
            station = session.stations[sent.station]
            if sent.station == 0 or sent.stop_s - sent.start_s < 1.5 or sent.stop_s > sc.duration_s - 3:
                continue
            there = [
                e for e in emissions
                if abs(e.frequency_hz - sent.frequency_hz) < 25.0
                and e.start_s < sent.stop_s and (e.stop_s or 1e9) > sent.start_s
            ]  # fmt: skip
            says = station.call in sent.text.split()
            name = next((n for n, low, high in CLASSES if low <= station.snr_db < high), None)
            if name is None:
                continue
            right = any(c.call == station.call and c.probability >= LIKELY for e in there for c in e.calls[:1])
            said = {
                word for o in session.transmissions for word in o.text.split()
                if abs(o.frequency_hz - sent.frequency_hz) < 50.0
                and o.start_s < sent.stop_s + 1.0 and o.stop_s > sent.start_s - 1.0
            }  # fmt: skip
            wrong = any(e.call not in (None, station.call) and e.call not in said for e in there)
            off_hz = min((abs(e.frequency_hz - sent.frequency_hz) for e in there), default=np.nan)
            off_wpm = min((abs(e.speed_wpm / station.speed_wpm - 1) for e in there if e.speed_wpm), default=np.nan)
            row = (bool(there), says, says and right, wrong, off_hz, off_wpm)
            rows.setdefault((name, clear(sent, session)), []).append(row)
    print("strength        alone  sent  found  with call  right  wrong   carrier Hz  speed %")
    for (name, alone), found in sorted(rows.items(), key=lambda item: (not item[0][1], -len(item[0][0]))):
        table = np.array(found, float)
        says = table[:, 1] > 0
        print(
            f"{name:15} {'yes' if alone else 'no':5} {len(table):5} {table[:, 0].mean():6.1%} {int(says.sum()):8} "
            f"{table[says, 2].mean():8.1%} {table[:, 3].mean():6.1%} {np.nanmedian(table[:, 4]):10.1f} "
            f"{100 * np.nanmedian(table[:, 5]):8.1f}"
        )
    print(f"calls told that nobody has: {false} of {total}")


if __name__ == "__main__":
    main()
