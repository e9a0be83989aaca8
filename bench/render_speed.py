"""How long it takes to render 60 s of a 60-caller pile-up at 48 kHz."""

from __future__ import annotations

import time
from dataclasses import replace

from hearmark.simulate import people, scenario, speech
from hearmark.simulate.render import render


def main() -> None:
    print("60 callers, 60 s, 48 kHz    transmissions  sum of their lengths s  who sends what s  render s")
    for mode in ("cw", "usb"):
        pile_up = replace(scenario.preset("hard", mode, 1, duration_s=60.0), callers=60)
        centre_hz = (pile_up.dx_hz + pile_up.window_high_hz) / 2
        people.play(replace(pile_up, duration_s=2.0, seed=2), speech)  # compiles, loads
        begin = time.perf_counter()
        session = people.play(pile_up, speech)
        played = time.perf_counter()
        render(session, 48_000, centre_hz, 0.0, 1.0)  # compiles
        ready = time.perf_counter()
        render(session, 48_000, centre_hz)
        done = time.perf_counter()
        on_air_s = sum(sent.stop_s - sent.start_s for sent in session.transmissions)
        count = len(session.transmissions)
        print(f"{mode:<27} {count:>13} {on_air_s:>23.0f} {played - begin:>17.2f} {done - ready:>9.2f}")


if __name__ == "__main__":
    main()
