"""How much of the daytime absorption a ray meets that the E layer turns back, integrated through a profile.

Electrons up to 85 km: the exponential profile of Wait and Spies (NBS Technical Note 300, 1964) with the height and
sharpness that low-frequency measurements give for midday (McRae and Thomson, J. Atmos. Sol.-Terr. Phys. 62, 609, 2000:
about 71 km and 0.38 per km); from there a parabola-like rise to the E peak at 110 km. Collision frequency of Wait and
Spies, 1.816e11 exp(-0.15 h / km) per second. Figures from memory.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
REFERENCE_KM, SHARPNESS_PER_KM = 71.0, 0.38
PEAK_KM, JOIN_KM = 110.0, 85.0
ES_DEPTH = 0.85
"""Share of the whole absorption below sporadic E, 110 km up."""
_FOE_MHZ = 4.0
_STEP_KM = 0.05


def _profile() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Height in km, electrons per cubic metre, collisions per second."""
    height = np.arange(60.0, 140.0, _STEP_KM)
    peak = 1.24e10 * _FOE_MHZ**2
    low = 1.43e13 * np.exp(-0.15 * REFERENCE_KM) * np.exp((SHARPNESS_PER_KM - 0.15) * (height - REFERENCE_KM))
    join = 1.43e13 * np.exp(-0.15 * REFERENCE_KM) * np.exp((SHARPNESS_PER_KM - 0.15) * (JOIN_KM - REFERENCE_KM))
    # in the logarithm a parabola from the join to the peak: steep below, flat at the top
    rise = np.clip((PEAK_KM - height) / (PEAK_KM - JOIN_KM), 0.0, 1.0) ** 2
    electrons = np.where(height < JOIN_KM, low, peak * (join / peak) ** rise)
    return height, electrons, 1.816e11 * np.exp(-0.15 * height)


@lru_cache(maxsize=1)
def table() -> tuple[FloatArray, FloatArray]:
    """Equivalent vertical frequency over foE, and the share of the whole absorption, slowing down included."""
    height, electrons, collisions = _profile()
    weight = electrons * collisions
    below = height <= PEAK_KM
    ratios = np.linspace(0.05, 0.99, 48)
    shares = []
    for ratio in ratios:
        density = electrons[below] / (electrons.max() * ratio**2)
        turn = int(np.argmax(density >= 1.0))
        index = np.sqrt(np.maximum(1.0 - density[:turn], 0.05))
        shares.append(float((weight[below][:turn] / index).sum()))
    return ratios, np.asarray(shares) / float(weight.sum())


def depth_factor(ratio: npt.ArrayLike) -> FloatArray:
    """Share of the whole absorption at an equivalent vertical frequency / foE (P.533 has such a factor as a drawing).

    Low frequencies turn below most of it; near 1 the wave slows down in it, and the share exceeds 1.
    """
    return np.asarray(np.interp(np.asarray(ratio), *table()))
