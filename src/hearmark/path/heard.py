"""What is heard corrects what is predicted: Bayes over the solar index and over one offset of all levels.

The ionosphere of the day differs from the month's median, and our noise from the table's. Both are given a prior, each
station heard (or known to send and not heard) is a measurement, and what comes out replaces the index and the offset
for the hours to come.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

from hearmark.events import Answer, Event, Over
from hearmark.path.chances import predict
from hearmark.path.conditions import Conditions, Equipment
from hearmark.path.places import Place
from hearmark.path.solar import NEW_TO_OLD

FloatArray = npt.NDArray[np.float64]
REFERENCE_DB = 33.98
"""From signal over noise in 2500 Hz to noise density: 10 log10 2500."""
INDEX_SD = 30.0
"""Prior spread of the index: day-to-day deciles of the MUF of 15 % are about as many sunspots (see docs/path.md)."""
LEVEL_SD_DB = 10.0
"""Prior spread of the offset: the rms error of predicted levels (CCIR Report 894-2; Torres, 1992)."""
ONE_SD_DB = 9.0
"""Spread of a single station about the prediction: his power, antenna and fading are not known (common practice)."""
_SHIFTS = np.linspace(-90.0, 90.0, 13)
_FINE = np.linspace(-90.0, 90.0, 121)
_OFFSETS_DB = np.linspace(-35.0, 35.0, 141)


@dataclass(frozen=True, slots=True)
class Heard:
    """A station at a known place. `snr_db_hz`: signal over noise density here; None: it was known to send and was not
    heard, so it lay below `limit_db_hz`."""

    place: Place
    time: datetime
    frequency_hz: float
    snr_db_hz: float | None
    power_w: float = 100.0
    limit_db_hz: float = 20.0


@dataclass(frozen=True, slots=True)
class Learnt:
    """`conditions`: corrected ones. Means and standard deviations after; before they were 0, INDEX_SD and LEVEL_SD_DB.

    `stations`: how many measurements counted, after those of one station, band and hour were made one.
    """

    conditions: Conditions
    index_shift: float
    index_sd: float
    level_db: float
    level_sd_db: float
    stations: int

    def facts(self) -> dict[str, float | int]:
        """Before and after, ready for JSON; sunspot numbers on the published scale."""
        return {
            "stations": self.stations,
            "sunspots_shift": round(self.index_shift / NEW_TO_OLD, 1),
            "sunspots_sd_before": round(INDEX_SD / NEW_TO_OLD, 1),
            "sunspots_sd": round(self.index_sd / NEW_TO_OLD, 1),
            "level_db": round(self.level_db, 1),
            "level_sd_before_db": LEVEL_SD_DB,
            "level_sd_db": round(self.level_sd_db, 1),
        }

    def sentence(self) -> str:
        """The same in words."""
        f = self.facts()
        return (
            f"Corrected by {f['stations']} measurements: sunspot number {f['sunspots_shift']:+.0f} "
            f"(before 0 +- {f['sunspots_sd_before']:.0f}, now +- {f['sunspots_sd']:.0f}), "
            f"levels {f['level_db']:+.0f} dB "
            f"(before 0 +- {f['level_sd_before_db']:.0f}, now +- {f['level_sd_db']:.0f})."
        )


def learn(
    here: Place, heard: Iterable[Heard], conditions: Conditions, own: Equipment | None = None,
    far: Equipment | None = None,
) -> Learnt:  # fmt: skip
    """The posterior after all that was heard; without anything, the prior."""
    own, far = own or Equipment(), far or Equipment()
    base = replace(conditions, level_db=0.0, index_shift=0.0)
    log_density = -0.5 * (_FINE[:, None] / INDEX_SD) ** 2 - 0.5 * (_OFFSETS_DB[None, :] / LEVEL_SD_DB) ** 2
    together = _together(heard)
    for one, levels in zip(together, _predicted(here, together, base, own, far), strict=True):
        log_density = log_density + _log_likelihood(one, levels)
    density = np.exp(log_density - log_density.max())
    density /= density.sum()
    shift, shift_sd = _moments(_FINE, density.sum(axis=1))
    level, level_sd = _moments(_OFFSETS_DB, density.sum(axis=0))
    return Learnt(
        replace(base, index_shift=shift, level_db=level), shift, shift_sd, level, level_sd, len(together)
    )  # fmt: skip


def _moments(values: FloatArray, weight: FloatArray) -> tuple[float, float]:
    mean = float((values * weight).sum())
    return mean, float(np.sqrt(((values - mean) ** 2 * weight).sum()))


def _together(heard: Iterable[Heard]) -> list[Heard]:
    """One measurement a station, megahertz and hour: what repeats within it is the same path, not new evidence."""
    groups: dict[tuple[Place, int, datetime], list[Heard]] = {}
    for one in heard:
        groups.setdefault((one.place, round(one.frequency_hz / 1e6), _hour(one)), []).append(one)
    out = []
    for group in groups.values():
        levels = [one.snr_db_hz for one in group if one.snr_db_hz is not None]
        out.append(replace(group[-1], snr_db_hz=float(np.median(levels)) if levels else None))
    return out


def _predicted(here: Place, heard: list[Heard], base: Conditions, own: Equipment, far: Equipment) -> list[FloatArray]:
    """Level of each under every shift of the index, all of them in one prediction a shift."""
    if not heard:
        return []
    places = list(dict.fromkeys(one.place for one in heard))
    hours = sorted({_hour(one) for one in heard})
    bands = sorted({_band_hz(one) for one in heard})
    at = [(places.index(one.place), hours.index(_hour(one)), bands.index(_band_hz(one))) for one in heard]
    power_db = [10.0 * np.log10(one.power_w / far.power_w) for one in heard]
    levels = []
    for shift in _SHIFTS:
        found = predict(here, places, hours, bands, replace(base, index_shift=float(shift)), own, far).heard_db_hz
        levels.append([found[index] + db for index, db in zip(at, power_db, strict=True)])
    return list(np.array(levels).T)


def _hour(one: Heard) -> datetime:
    return one.time.astimezone(UTC).replace(minute=30, second=0, microsecond=0)


def _band_hz(one: Heard) -> float:
    """To 100 kHz: nearer frequencies share a path."""
    return round(one.frequency_hz / 1e5) * 1e5


def _log_likelihood(one: Heard, levels: FloatArray) -> FloatArray:
    """Over the grid (index shifts, offsets), up to a constant. `levels`: shape of _SHIFTS."""
    level = np.interp(_FINE, _SHIFTS, levels)[:, None] + _OFFSETS_DB[None, :]
    if one.snr_db_hz is None:
        return np.asarray(log_ndtr((one.limit_db_hz - level) / ONE_SD_DB))
    return np.asarray(-0.5 * ((one.snr_db_hz - level) / ONE_SD_DB) ** 2)


class Listener:
    """Takes the engine's events and keeps what they say of paths. `start`: UTC of sample time zero.

    `dx`: where he is, if known. `place_of`: what a call tells of its place, if anything.
    """

    def __init__(self, start: datetime, dx: Place | None, place_of: Callable[[str], Place | None]) -> None:
        self.start, self.dx, self._place_of = start, dx, place_of
        self._heard: dict[tuple[str, int], Heard] = {}

    def feed(self, event: Event) -> None:
        """Take one event; an answer that is taken back is forgotten."""
        match event:
            case Over(snr_db=float(snr_db)) if self.dx is not None:
                self._keep(("over", event.id), self.dx, event.start_s, event.frequency_hz, snr_db)
            case Answer(retracted_at_s=float()):
                self._heard.pop(("answer", event.id), None)
            case Answer(snr_db=float(snr_db), call=str(call)):
                place = self._place_of(call)
                if place is not None:
                    self._keep(("answer", event.id), place, event.start_s, event.frequency_hz, snr_db)

    def heard(self) -> list[Heard]:
        """All that counts so far, in order of time."""
        return sorted(self._heard.values(), key=lambda one: one.time)

    def _keep(self, key: tuple[str, int], place: Place, time_s: float, frequency_hz: float, snr_db: float) -> None:
        when = self.start + timedelta(seconds=time_s)
        self._heard[key] = Heard(place, when, frequency_hz, snr_db + REFERENCE_DB)
