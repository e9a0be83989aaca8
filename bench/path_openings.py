"""Predicted against measured levels: `python bench/path_openings.py FILE.csv`.

FILE: hourly carrier-to-noise densities of time-signal stations, columns utc_hour and FREQUENCY_MHz; its head says date
and place, and the sun's activity (else the shipped table serves). Powers and places of the stations are public; they
send from half-wave verticals (NIST Special Publication 432, for the American one; from memory). What is assumed of the
receiver, which nobody described: a vertical in the noise of a city (P.372), as houses are since switched-mode supplies
are everywhere. Nothing is fitted to the measurements. Heard: at least 20, and again 27 dB-Hz.
"""

from __future__ import annotations

import argparse
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
from scipy.stats import spearmanr

from hearmark.path import solar
from hearmark.path.antenna import read_antenna
from hearmark.path.chances import predict
from hearmark.path.conditions import Conditions, Equipment
from hearmark.path.places import Place

COLORADO, OTTAWA = Place(40.68, -105.04, "Colorado"), Place(45.29, -75.75, "Ottawa")
STATIONS = {
    2.5: (COLORADO, 2500.0), 5.0: (COLORADO, 10_000.0), 10.0: (COLORADO, 10_000.0), 15.0: (COLORADO, 10_000.0),
    20.0: (COLORADO, 2500.0), 25.0: (COLORADO, 2500.0),
    3.33: (OTTAWA, 3000.0), 7.85: (OTTAWA, 10_000.0), 14.67: (OTTAWA, 3000.0),
}  # fmt: skip
HAWAII = Place(21.99, -159.76, "Hawaii")
SECOND = {2.5: 5000.0, 5.0: 10_000.0, 10.0: 10_000.0, 15.0: 10_000.0}
"""The second station of the same service on some frequencies, and its powers (from memory): the stronger one counts."""
APART_MHZ, APART_H = 25.0, 4.0
"""25 MHz within so many hours of local midnight is listed apart: hardly the F2 layer."""
NOT_HEARD_DB_HZ = 4.0
NEEDS_DB_HZ = (20.0, 27.0)


def read(path: Path) -> tuple[date, Place, str, dict[float, np.ndarray]]:
    """Date, receiver, the head's sentence on the sun, and levels by frequency in MHz."""
    lines = path.read_text(encoding="utf-8").splitlines()
    head = " ".join(line.lstrip("# ") for line in lines if line.startswith("#"))
    day = re.search(r"measured (\d{4}-\d\d-\d\d)", head)
    spot = re.search(r"at ([\d.]+) ([NS]) ([\d.]+) ([EW])", head)
    if day is None or spot is None:
        raise SystemExit(f"{path}: the head does not say 'measured YYYY-MM-DD at LAT N LON W'")
    lat = float(spot[1]) * (1 if spot[2] == "N" else -1)
    lon = float(spot[3]) * (1 if spot[4] == "E" else -1)
    rows = [line.split(",") for line in lines if line and not line.startswith("#")]
    names = rows[0][1:]
    table = np.full((24, len(names)), np.nan)
    for row in rows[1:]:
        table[int(row[0])] = [float(x) if x.strip() else NOT_HEARD_DB_HZ for x in row[1:]]
    unknown = [name for name in names if float(name.split("_")[0]) not in STATIONS]
    if unknown:
        raise SystemExit(f"{path}: no sender is known for {', '.join(unknown)}")
    levels = {float(name.split("_")[0]): table[:, i] for i, name in enumerate(names)}
    return date.fromisoformat(day[1]), Place(lat, lon, "receiver"), head, levels


def sunspots(head: str, day: date) -> float:
    """From the head (smoothed number, then flux), else from the shipped table."""
    spots, flux = re.search(r"sunspot number about (\d+)", head), re.search(r"F10\.7 about (\d+)", head)
    if spots:
        return solar.old_scale(float(spots[1]))
    return solar.from_flux(float(flux[1])) if flux else solar.from_table(day)


@dataclass(frozen=True)
class Predicted:
    """By frequency in MHz, 24 hours each: median level, and chance to reach each need in dB-Hz."""

    level: dict[float, np.ndarray]
    chance: dict[float, dict[float, np.ndarray]]


def predicted(day: date, receiver: Place, spots: float, antenna: str, noise: str) -> Predicted:
    """At the middle of each hour."""
    times = [datetime(day.year, day.month, day.day, h, 30, tzinfo=UTC) for h in range(24)]
    level: dict[float, np.ndarray] = {}
    chance: dict[float, dict[float, np.ndarray]] = {need: {} for need in NEEDS_DB_HZ}
    for mhz, (place, power_w) in STATIONS.items():
        senders = [(place, power_w)] + ([(HAWAII, SECOND[mhz])] if mhz in SECOND else [])
        for need in NEEDS_DB_HZ:
            found = [
                predict(where, [receiver], times, [mhz * 1e6], Conditions(spots),
                        Equipment(watts, read_antenna("halfwave"), "rural"),
                        Equipment(1.0, read_antenna(antenna), noise), need)
                for where, watts in senders
            ]  # fmt: skip
            level[mhz] = np.max([f.snr_db_hz[0, :, 0] for f in found], axis=0)
            chance[need][mhz] = np.max([f.probability[0, :, 0] for f in found], axis=0)
    return Predicted(level, chance)


def peirce(truth: np.ndarray, said: np.ndarray) -> tuple[int, int, int, int, float]:
    """Hits, misses, false alarms, rightly silent; hit rate minus false alarm rate."""
    hit, miss = int((truth & said).sum()), int((truth & ~said).sum())
    false, right = int((~truth & said).sum()), int((~truth & ~said).sum())
    return hit, miss, false, right, hit / max(hit + miss, 1) - false / max(false + right, 1)


def at_night(receiver: Place) -> np.ndarray:
    """The hours about local midnight."""
    midnight = (24.0 - receiver.longitude_deg / 15.0) % 24.0
    return np.abs((np.arange(24) + 0.5 - midnight + 12.0) % 24.0 - 12.0) <= APART_H


def daytime_mufs(day: date, receiver: Place, head: str) -> list[float]:
    """Highest MUF of the day from Colorado and from Ottawa."""
    hours = [datetime(day.year, day.month, day.day, h, 30, tzinfo=UTC) for h in range(24)]
    known = Conditions(sunspots(head, day))
    return [float(predict(p, [receiver], hours, [1e7], known).muf_mhz.max()) for p in (COLORADO, OTTAWA)]


Counts = tuple[int, int, int, int, float]


def pooled_counts(
    measured: dict[float, np.ndarray], ours: Predicted, receiver: Place, mufs: list[float], need: float
) -> dict[str, Counts]:
    """Over all frequencies whose truth varies: the prediction, "below the daytime MUF by 15 %", the daily mean.

    "path" says heard where the chance is a half or more; "path, its mean" where it is more than its own mean over all
    hours and frequencies: as the share of the heard is not known beforehand, the prediction's own takes its place in
    the rule that makes Peirce's score largest (Manzato, Weather and Forecasting 22, 1148, 2007).
    """
    sums: dict[str, list[np.ndarray]] = {
        "truth": [], "path": [], "path, its mean": [], "muf rule": [], "daily mean": []
    }  # fmt: skip
    chance = ours.chance[need]
    usual = float(np.mean([chance[mhz] for mhz in measured]))
    for mhz, level in measured.items():
        keep = np.isfinite(level) & ~(at_night(receiver) & (mhz == APART_MHZ))
        truth = level >= need
        if truth[keep].any() and not truth[keep].all():
            rule = np.full(24, mhz <= 0.85 * mufs[STATIONS[mhz][0] is OTTAWA])
            mean = np.full(24, np.nanmean(level) >= need)
            for name, what in zip(sums, (truth, chance[mhz] >= 0.5, chance[mhz] >= usual, rule, mean), strict=True):
                sums[name].append(what[keep])
    whole = {name: np.concatenate(parts) for name, parts in sums.items()}
    truth = whole.pop("truth")
    return {name: peirce(truth, said) for name, said in whole.items()}


def pooled(
    measured: dict[float, np.ndarray], ours: Predicted, receiver: Place, mufs: list[float], need: float
) -> dict[str, float]:
    """The Peirce scores alone."""
    return {name: counts[4] for name, counts in pooled_counts(measured, ours, receiver, mufs, need).items()}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "file", type=Path, nargs="?", default=Path(__file__).parents[1] / "tests/outside/measured_openings.csv"
    )
    parser.add_argument("--antenna", default="vertical")
    parser.add_argument("--noise", default="city")
    chosen = parser.parse_args()
    if not chosen.file.is_file():
        print(f"{chosen.file} is not here: nothing to compare with.")
        return
    day, receiver, head, measured = read(chosen.file)
    spots = sunspots(head, day)
    ours = predicted(day, receiver, spots, chosen.antenna, chosen.noise)
    levels = ours.level
    print(f"{day}, {receiver.latitude_deg} {receiver.longitude_deg}, R {spots:.0f} (old scale), "
          f"receiver {chosen.antenna}, {chosen.noise}")  # fmt: skip
    apart = at_night(receiver)
    for mhz, truth in measured.items():
        both = np.isfinite(truth)
        rank = spearmanr(truth[both], levels[mhz][both]).statistic
        off = levels[mhz][both] - truth[both]
        print(f"{mhz:6.2f} MHz: rank correlation {rank:5.2f}, predicted - measured {np.median(off):6.1f} dB median, "
              f"{np.sqrt(np.mean(off**2)):5.1f} rms")  # fmt: skip
        print("   measured ", " ".join(f"{x:4.0f}" for x in truth))
        print("   predicted", " ".join(f"{x:4.0f}" for x in levels[mhz]))
    mufs = daytime_mufs(day, receiver, head)
    for need in NEEDS_DB_HZ:
        print(f"heard = at least {need:g} dB-Hz    hits misses false silent  Peirce")
        for mhz, level in measured.items():
            keep = np.isfinite(level) & ~(apart & (mhz == APART_MHZ))
            truth, said = level >= need, levels[mhz] >= need
            varies = truth[keep].any() and not truth[keep].all()
            counts = peirce(truth[keep], said[keep])
            print(f"{mhz:23.2f} MHz {counts[0]:5d} {counts[1]:6d} {counts[2]:5d} {counts[3]:6d}  "
                  + (f"{counts[4]:6.2f}" if varies else " always" if truth[keep].all() else "  never"))  # fmt: skip
            if mhz == APART_MHZ:
                night = peirce(truth[apart], said[apart])
                print(f"{'at night, apart':>27} {night[0]:5d} {night[1]:6d} {night[2]:5d} {night[3]:6d}")
        for name, counts in pooled_counts(measured, ours, receiver, mufs, need).items():
            print(
                f"{'pooled, ' + name:>27} {counts[0]:5d} {counts[1]:6d} {counts[2]:5d} {counts[3]:6d}  {counts[4]:6.2f}"
            )


if __name__ == "__main__":
    main()
