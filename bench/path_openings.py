"""Predicted against measured levels: `python bench/path_openings.py FILE.csv [--picture FILE.png]`.

FILE: hourly carrier-to-noise densities of time-signal stations, columns utc_hour and FREQUENCY_MHz; its head says date
and place, and the sun's activity (else the shipped table serves). Powers and places of the stations are public; they
send from half-wave verticals (NIST Special Publication 432, for the American one; from memory). The receiver was not
described. Assumed is the least: no direction preferred (isotropic; one antenna for nine frequencies from 2.5 to 25 MHz
is resonant on none, and what it loses it loses of signal and noise alike), and the noise around houses (P.372,
residential), which is the program's default. Nothing is fitted to the measurements. Heard: at least 20, and again
27 dB-Hz; `bench/path_sensitivity.py` shows the same under other assumptions.
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Sequence
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
ANTENNA, NOISE = "isotropic", "residential"
OURS, HALF, BELOW_MUF, DAILY = "above the mean chance", "a half or more", "below the MUF", "daily mean"
"""Rules that say heard: two by the computed chance, two without physics."""


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


def predicted(
    day: date, receiver: Place, conditions: Conditions, antenna: str = ANTENNA, noise: str = NOISE,
    hours: Sequence[int] = range(24),
) -> Predicted:  # fmt: skip
    """At the middle of each hour."""
    times = [datetime(day.year, day.month, day.day, h, 30, tzinfo=UTC) for h in hours]
    level: dict[float, np.ndarray] = {}
    chance: dict[float, dict[float, np.ndarray]] = {need: {} for need in NEEDS_DB_HZ}
    for mhz, (place, power_w) in STATIONS.items():
        senders = [(place, power_w)] + ([(HAWAII, SECOND[mhz])] if mhz in SECOND else [])
        for need in NEEDS_DB_HZ:
            found = [
                predict(where, [receiver], times, [mhz * 1e6], conditions,
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


def counted(measured: dict[float, np.ndarray], receiver: Place, need: float) -> dict[float, np.ndarray]:
    """Of the frequencies whose truth varies, which hours count: by frequency in MHz."""
    out = {}
    for mhz, level in measured.items():
        keep = np.isfinite(level) & ~(at_night(receiver) & (mhz == APART_MHZ))
        truth = level[keep] >= need
        if truth.any() and not truth.all():
            out[mhz] = keep
    return out


def said(ours: Predicted, measured: dict[float, np.ndarray], need: float) -> dict[str, dict[float, np.ndarray]]:
    """What the two rules by the chance say, over all hours.

    Peirce's score is largest if one says heard where the chance is above the share of the heard (Manzato, Weather and
    Forecasting 22, 1148, 2007); as that share is not known beforehand, the prediction's own takes its place: the mean
    of its chances over all hours and frequencies.
    """
    chance = {mhz: ours.chance[need][mhz] for mhz in measured}
    usual = float(np.mean(list(chance.values())))
    return {
        OURS: {mhz: chance[mhz] >= usual for mhz in measured},
        HALF: {mhz: chance[mhz] >= 0.5 for mhz in measured},
    }


def pooled(
    measured: dict[float, np.ndarray], ours: Predicted, receiver: Place, mufs: list[float], need: float
) -> dict[str, Counts]:
    """Over all frequencies whose truth varies, by rule."""
    rules = said(ours, measured, need)
    rules[BELOW_MUF] = {mhz: np.full(24, mhz <= 0.85 * mufs[STATIONS[mhz][0] is OTTAWA]) for mhz in measured}
    rules[DAILY] = {mhz: np.full(24, np.nanmean(level) >= need) for mhz, level in measured.items()}
    keep = counted(measured, receiver, need)
    truth = np.concatenate([(measured[mhz] >= need)[keep[mhz]] for mhz in keep])
    return {name: peirce(truth, np.concatenate([rule[mhz][keep[mhz]] for mhz in keep])) for name, rule in rules.items()}


def calibration(measured: dict[float, np.ndarray], ours: Predicted, need: float) -> tuple[float, float, float]:
    """Mean chance, share of the heard, and the mean square of their difference (Brier, 1950) over all."""
    both = {mhz: np.isfinite(level) for mhz, level in measured.items()}
    chance = np.concatenate([ours.chance[need][mhz][both[mhz]] for mhz in measured])
    truth = np.concatenate([(level >= need)[both[mhz]] for mhz, level in measured.items()])
    return float(chance.mean()), float(truth.mean()), float(np.mean((chance - truth) ** 2))


def draw(measured: dict[float, np.ndarray], ours: Predicted, receiver: Place, title: str, path: Path) -> None:
    """Measured beside predicted over the hours, a panel a frequency."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10.0, 8.0), dpi=110, layout="constrained")
    axes = figure.subplots(3, 3, sharex=True, sharey=True).ravel()
    hours = np.arange(24) + 0.5
    for axis, (mhz, level) in zip(axes, sorted(measured.items()), strict=False):
        axis.fill_between(hours, ours.level[mhz] - 10.0, ours.level[mhz] + 10.0, color="#56B4E9", alpha=0.35, lw=0)
        axis.plot(hours, ours.level[mhz], color="#0072B2", label="predicted, and 10 dB either way")
        axis.plot(hours, level, color="#D55E00", marker="o", markersize=3.5, linestyle="--", label="measured")
        for need in NEEDS_DB_HZ:
            axis.axhline(need, color="0.5", linewidth=0.7)
        axis.set_title(f"{mhz:g} MHz, {STATIONS[mhz][0].name}", fontsize=9)
        axis.set_ylim(0.0, 75.0)
    axes[0].set_xlim(0.0, 24.0)
    axes[0].legend(fontsize=7, loc="upper left")
    figure.supxlabel("UTC", fontsize=9)
    figure.supylabel("dB-Hz", fontsize=9)
    figure.suptitle(title, fontsize=9)
    figure.savefig(path)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "file", type=Path, nargs="?", default=Path(__file__).parents[1] / "tests/outside/measured_openings.csv"
    )
    parser.add_argument("--antenna", default=ANTENNA)
    parser.add_argument("--noise", default=NOISE)
    parser.add_argument("--picture", type=Path, help="write measured and predicted levels here, as PNG")
    chosen = parser.parse_args()
    if not chosen.file.is_file():
        print(f"{chosen.file} is not here: nothing to compare with.")
        return
    day, receiver, head, measured = read(chosen.file)
    spots = sunspots(head, day)
    ours = predicted(day, receiver, Conditions(spots), chosen.antenna, chosen.noise)
    levels = ours.level
    title = (
        f"{day}, {receiver.latitude_deg} {receiver.longitude_deg}, R {spots:.0f} (old scale), "
        f"receiver {chosen.antenna}, {chosen.noise}"
    )
    print(title)
    if chosen.picture:
        draw(measured, ours, receiver, title, chosen.picture)
    for mhz, truth in measured.items():
        both = np.isfinite(truth)
        rank = spearmanr(truth[both], levels[mhz][both]).statistic
        off = levels[mhz][both] - truth[both]
        print(f"{mhz:6.2f} MHz: rank correlation {rank:5.2f}, predicted - measured {np.median(off):6.1f} dB median, "
              f"{np.sqrt(np.mean(off**2)):5.1f} rms")  # fmt: skip
        print("   measured ", " ".join(f"{x:4.0f}" for x in truth))
        print("   predicted", " ".join(f"{x:4.0f}" for x in levels[mhz]))
    for need in NEEDS_DB_HZ:
        _table(need, measured, ours, receiver, daytime_mufs(day, receiver, head))


def _table(need: float, measured: dict[float, np.ndarray], ours: Predicted, receiver: Place, mufs: list[float]) -> None:
    usual, share, brier = calibration(measured, ours, need)
    print(f"heard = at least {need:g} dB-Hz: mean chance {usual:.2f}, heard {share:.2f}, Brier score {brier:.3f}")
    print(f"{'chance ' + OURS:>36}   hits misses false silent  Peirce      a half: Peirce")
    varies, rules = counted(measured, receiver, need), said(ours, measured, need)
    apart = at_night(receiver)
    for mhz, level in measured.items():
        keep = varies.get(mhz, np.isfinite(level) & ~(apart & (mhz == APART_MHZ)))
        truth = level[keep] >= need
        first, second = (peirce(truth, rules[rule][mhz][keep]) for rule in (OURS, HALF))
        always = "always" if truth.all() else "never"
        print(f"{mhz:32.2f} MHz {first[0]:6d} {first[1]:6d} {first[2]:5d} {first[3]:6d}  "
              + (f"{first[4]:6.2f} {second[4]:19.2f}" if mhz in varies else f"{always:>6}"))  # fmt: skip
        if mhz == APART_MHZ:
            night = peirce(level[apart] >= need, rules[OURS][mhz][apart])
            print(f"{'at night, apart':>36} {night[0]:6d} {night[1]:6d} {night[2]:5d} {night[3]:6d}")
    for name, found in pooled(measured, ours, receiver, mufs, need).items():
        print(f"{'pooled, ' + name:>36} {found[0]:6d} {found[1]:6d} {found[2]:5d} {found[3]:6d}  {found[4]:6.2f}")


if __name__ == "__main__":
    main()
