"""How far the scores of `path_openings.py` hang on what is assumed: `python bench/path_sensitivity.py [FILE.csv]`.

Prints Peirce scores for every antenna and noise that the receiver may have had; the same with the sun's activity taken
otherwise; what any prediction of levels with the published error could reach on these hours (the measured levels with
a seeded error added, many draws); and the prediction corrected, hour by hour, by the hours before, as the program does
on the air.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import path_openings as openings
from path_openings import HALF, NEEDS_DB_HZ, OURS, Predicted

from hearmark.path import solar
from hearmark.path.antenna import read_antenna
from hearmark.path.conditions import Conditions, Equipment
from hearmark.path.heard import Heard, learn
from hearmark.path.places import Place

ANTENNAS = ("isotropic", "vertical", "dipole", "usual")
NOISES = ("city", "residential", "rural", "quiet")
ERRORS_DB = (6.0, 8.0, 10.0, 12.0)
DRAWS = 2000
REACHED = 0.6
Levels = dict[float, np.ndarray]


def row(measured: Levels, ours: Predicted, receiver: Place) -> str:
    """Both rules at both needs, and how good the chances are as such."""
    out = []
    for need in NEEDS_DB_HZ:
        found = openings.pooled(measured, ours, receiver, [0.0, 0.0], need)
        usual, _, brier = openings.calibration(measured, ours, need)
        out.append(f"{found[OURS][4]:5.2f} {found[HALF][4]:5.2f} {usual:5.2f} {brier:6.3f}")
    return "   ".join(out)


def bound(measured: Levels, receiver: Place, need: float, error_db: float, common: float) -> np.ndarray:
    """Peirce scores of levels that are the measured ones with an error, `common` of its variance being the same in all
    hours of a frequency: shape (DRAWS,). Seeded."""
    rng = np.random.default_rng(20)
    rows = [measured[mhz][keep] for mhz, keep in openings.counted(measured, receiver, need).items()]
    truth = np.concatenate(rows) >= need
    scores = np.empty(DRAWS)
    for n in range(DRAWS):
        levels = np.concatenate([
            row + error_db * (np.sqrt(common) * rng.normal() + np.sqrt(1.0 - common) * rng.normal(size=len(row)))
            for row in rows
        ])  # fmt: skip
        scores[n] = openings.peirce(truth, levels >= need)[4]
    return scores


def corrected(day: datetime, receiver: Place, conditions: Conditions, measured: Levels) -> Predicted:
    """Each hour with the index and the offset learnt from the hours before it, all frequencies together."""
    own = Equipment(1.0, read_antenna(openings.ANTENNA), openings.NOISE)
    far = Equipment(1000.0, read_antenna("halfwave"), "rural")
    past: list[Heard] = []
    hours = []
    for hour in range(24):
        known = learn(receiver, past, conditions, own, far).conditions if past else conditions
        hours.append(openings.predicted(day.date(), receiver, known, hours=[hour]))
        for mhz, level in measured.items():
            place, power_w = openings.STATIONS[mhz]
            x = float(level[hour])
            if np.isfinite(x):
                heard = None if x <= openings.NOT_HEARD_DB_HZ else x
                past.append(Heard(place, day.replace(hour=hour, minute=30), mhz * 1e6, heard, power_w, 5.0))
    return Predicted(
        {mhz: np.concatenate([h.level[mhz] for h in hours]) for mhz in openings.STATIONS},
        {n: {m: np.concatenate([h.chance[n][m] for h in hours]) for m in openings.STATIONS} for n in NEEDS_DB_HZ},
    )


def main() -> None:
    file = Path(sys.argv[1]) if sys.argv[1:] else Path(__file__).parents[1] / "tests/outside/measured_openings.csv"
    day, receiver, head, measured = openings.read(file)
    spots = openings.sunspots(head, day)
    columns = "   ".join(f"{need:g} dB-Hz: mean  half chance Brier" for need in NEEDS_DB_HZ)
    print(f"{'receiver':24} {columns}")
    for antenna in ANTENNAS:
        for noise in NOISES:
            ours = openings.predicted(day, receiver, Conditions(spots), antenna, noise)
            print(f"{antenna:11} {noise:12} {row(measured, ours, receiver)}", flush=True)
    print("heard in truth, of all: " + ", ".join(
        f"{openings.calibration(measured, ours, need)[1]:.2f} at {need:g} dB-Hz" for need in NEEDS_DB_HZ))  # fmt: skip
    for flux in (150.0, 175.0, 200.0):
        ours = openings.predicted(day, receiver, Conditions(solar.from_flux(flux)))
        print(f"by a flux of {flux:g}{'':10} {row(measured, ours, receiver)}", flush=True)
    noon = datetime(day.year, day.month, day.day, tzinfo=UTC)
    ours = corrected(noon, receiver, Conditions(spots), measured)
    print(f"corrected by the past    {row(measured, ours, receiver)}")
    print("what levels with an error could reach: 10, 50, 90 % of draws, share of draws at 0.6 and more")
    for need in NEEDS_DB_HZ:
        for common in (0.0, 0.5):
            for error_db in ERRORS_DB:
                scores = bound(measured, receiver, need, error_db, common)
                low, middle, high = np.quantile(scores, [0.1, 0.5, 0.9])
                print(f"{need:g} dB-Hz, {error_db:4.0f} dB rms, {common:.0%} common: "
                      f"{low:.2f} {middle:.2f} {high:.2f}  {np.mean(scores >= REACHED):.2f}")  # fmt: skip


if __name__ == "__main__":
    main()
