"""How far people must stay from an antenna: an estimate by 47 CFR 1.1310 and OET Bulletin 65 with its Supplement B.

Power density in the far field with the ground reflection that OET 65 takes from the EPA: S = 0.64 EIRP / (pi R²). The
limits below 300 MHz are those of the rule; those above, the mode factors of Supplement B and the duty of a pile-up are
from memory or common practice. It is an estimate: near-field limits apply close to the antenna, and local rules and
licensed practice decide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from hearmark.errors import HearmarkError

Who = Literal["controlled", "general"]
AVERAGING_MIN: dict[Who, float] = {"controlled": 6.0, "general": 30.0}
"""Averaging time: people who know and can act (the operator), and everybody else."""
MODE_FACTORS = {"ssb": 0.2, "ssb processed": 0.4, "cw": 0.4, "am": 0.5, "fm": 1.0, "data": 1.0}
"""Mean over peak power while sending (OET 65, Supplement B; from memory)."""
PILE_UP_DUTY = 0.25
"""Share of the time that a caller in a pile-up sends: 2 s of every 8. Common practice, no source."""
GROUND, FREE_SPACE = 2.56, 1.0
"""Gain in power density by the ground: EPA factor 1.6 squared; none."""
CAUTIONS = (
    "An estimate for the far field in the main beam: close to the antenna, within about a wavelength over 2 pi and "
    "within the size of the antenna, near-field limits apply and only a measurement or a field calculation helps.",
    "Your licence, local rules and licensed practice decide; the figures are no permission.",
)


@dataclass(frozen=True, slots=True)
class Exposure:
    """One compliance distance. `near_field`: it lies where the formula does not hold."""

    who: Who
    limit_mw_cm2: float
    averaging_min: float
    distance_m: float
    near_field: bool


def limit_mw_cm2(frequency_hz: float, who: Who) -> float:
    """Power density limit, mW/cm² (47 CFR 1.1310, table 1). Raises HearmarkError outside 0.3 MHz to 100 GHz."""
    f = frequency_hz / 1e6
    if not 0.3 <= f <= 100_000.0:
        raise HearmarkError(f"The limits are given from 0.3 MHz to 100 GHz; {f:g} MHz lies outside.")
    if who == "controlled":
        return 100.0 if f < 3.0 else 900.0 / f**2 if f < 30.0 else 1.0 if f < 300.0 else min(f / 300.0, 5.0)
    return 100.0 if f < 1.34 else 180.0 / f**2 if f < 30.0 else 0.2 if f < 300.0 else min(f / 1500.0, 1.0)


def mean_eirp_w(power_w: float, gain_dbi: float, loss_db: float = 0.0, factor: float = 1.0, duty: float = 1.0) -> float:
    """Effective power averaged over the averaging time. Raises HearmarkError for shares outside 0 to 1."""
    if not power_w >= 0.0 or not math.isfinite(power_w) or loss_db < 0.0:
        raise HearmarkError(f"{power_w:g} W with {loss_db:g} dB of loss cannot be; both are 0 or more.")
    if not -60.0 <= gain_dbi <= 80.0:
        raise HearmarkError(f"An antenna gain of {gain_dbi:g} dBi cannot be; give -60 to 80 dBi.")
    for name, share in (("mode factor", factor), ("duty", duty)):
        if not 0.0 < share <= 1.0:
            raise HearmarkError(f"A {name} of {share:g} cannot be; it lies above 0 and at most at 1.")
    return float(power_w * 10.0 ** ((gain_dbi - loss_db) / 10.0) * factor * duty)


def distance_m(eirp_w: float, density_mw_cm2: float, ground: float = GROUND) -> float:
    """Distance at which a mean EIRP falls to a power density, metres."""
    density_w_m2 = 10.0 * density_mw_cm2
    return math.sqrt(ground * eirp_w / (4.0 * math.pi * density_w_m2))


def exposures(frequency_hz: float, eirp_w: float, ground: float = GROUND) -> tuple[Exposure, ...]:
    """Both compliance distances."""
    out: list[Exposure] = []
    for who in ("controlled", "general"):
        limit = limit_mw_cm2(frequency_hz, who)
        away_m = distance_m(eirp_w, limit, ground)
        reactive_m = 299_792_458.0 / frequency_hz / (2.0 * math.pi)
        out.append(Exposure(who, limit, AVERAGING_MIN[who], away_m, away_m < reactive_m))
    return tuple(out)
