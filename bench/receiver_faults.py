"""What the blind correction of receiver faults leaves: image and spike, before and after, on an invented pile-up.

The image is what of conj(x) a least-squares fit finds in the last half of the recording, x being the same pile-up
through a perfect receiver.
"""

from __future__ import annotations

import numpy as np

from hearmark.events import Block, ComplexArray
from hearmark.simulate.faults import Faults
from hearmark.simulate.people import play
from hearmark.simulate.render import SimulatedSource
from hearmark.simulate.scenario import preset
from hearmark.sources.front_end import FrontEnd

RATE_HZ = 48_000


def image_db(samples: ComplexArray, clean: ComplexArray) -> float:
    """How much of conj(clean) is in `samples`, dB against how much of `clean`: least squares, with a constant."""
    parts = np.stack([clean, np.conj(clean), np.ones_like(clean)]).astype(np.complex128)
    wanted, image, _ = np.linalg.solve(parts.conj() @ parts.T, parts.conj() @ samples)
    return 20 * float(np.log10(abs(image / wanted) + 1e-6))


def main() -> None:
    """Print one line for each degree of fault."""
    scenario = preset("hard", "cw", 3, duration_s=40.0)
    session = play(scenario)
    centre_hz = round((scenario.dx_hz + scenario.window_high_hz) / 2)
    clean = joined(SimulatedSource(session, RATE_HZ, centre_hz))
    print("gain dB  phase deg  image before  image after  spike before  spike after (dB; spike dBFS)")
    for gain_db, phase_deg, dc in ((0.0, 0.0, 0.0), (0.1, 0.5, 0.002), (0.3, 2.0, 0.01), (1.0, 5.0, 0.05)):
        faults = Faults(dc=complex(dc, -dc / 2), iq_gain_db=gain_db, iq_phase_deg=phase_deg)
        raw = joined(SimulatedSource(session, RATE_HZ, centre_hz, faults))
        front = FrontEnd(RATE_HZ)
        mended = [e.samples for e in front.feed(Block(0, RATE_HZ, centre_hz, raw)) if isinstance(e, Block)]
        mended += [event.samples for event in front.flush() if isinstance(event, Block)]
        half = slice(len(raw) // 2, None)
        after = np.concatenate(mended)
        spikes = [20 * np.log10(abs(np.mean(x[half])) + 1e-12) for x in (raw, after)]
        print(
            f"{gain_db:7.1f}  {phase_deg:9.1f}  {image_db(raw[half], clean[half]):12.1f}  "
            f"{image_db(after[half], clean[half]):11.1f}  {spikes[0]:12.1f}  {spikes[1]:11.1f}"
        )


def joined(source: SimulatedSource) -> ComplexArray:
    """All samples of a source."""
    return np.concatenate([event.samples for event in source.events() if isinstance(event, Block)])


if __name__ == "__main__":
    main()
