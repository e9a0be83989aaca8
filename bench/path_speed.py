"""Time of predictions, after one call that loads the maps: a single path, and a list of stations."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta

import numpy as np

from hearmark.path.bands import BANDS
from hearmark.path.chances import predict
from hearmark.path.conditions import Conditions
from hearmark.path.places import Place

START = datetime(2026, 3, 21, tzinfo=UTC)
TIMES = [START + timedelta(hours=h) for h in range(24)]
BANDS_HZ = [middle for _, _, middle in BANDS.values()]
HERE = Place(50.5, 11.0)


def seconds(places: list[Place]) -> float:
    best = np.inf
    for _ in range(3):
        begin = time.perf_counter()
        predict(HERE, places, TIMES, BANDS_HZ, Conditions(95.0))
        best = min(best, time.perf_counter() - begin)
    return best


def main() -> None:
    rng = np.random.default_rng(1)
    places = [Place(float(np.degrees(np.arcsin(rng.uniform(-1, 1)))), float(rng.uniform(-180, 180))) for _ in range(50)]
    begin = time.perf_counter()
    predict(HERE, places[:1], TIMES, BANDS_HZ, Conditions(95.0))
    print(f"first call, imports and maps included: {time.perf_counter() - begin:.2f} s")
    print(f"one path x {len(BANDS_HZ)} bands x 24 h, both ways round: {seconds(places[:1]):.3f} s")
    print(f"50 stations x {len(BANDS_HZ)} bands x 24 h, both ways round: {seconds(places):.2f} s")


if __name__ == "__main__":
    main()
