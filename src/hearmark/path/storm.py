"""What a disturbed magnetic field does to the F2 layer and the auroral zone: one simple correction by Kp.

No published formula: the size follows the broad findings on storms (from memory: in the main phase foF2 falls by some
15 to 30 % at middle and high latitudes, more in summer than in winter, and hardly changes near the equator). It holds
for some six hours to two days after the Kp that is given.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
QUIET_KP = 3.0
LOSS_PER_KP = 0.045
AURORAL_DB_PER_KP = 3.0


def _over(kp: float | None) -> float:
    return 0.0 if kp is None else max(min(kp, 9.0) - QUIET_KP, 0.0)


def muf_factor(kp: float | None, geomagnetic_deg: npt.ArrayLike, latitude_deg: npt.ArrayLike, month: int) -> FloatArray:
    """Factor on foF2, 1 for a quiet field, not below 0.6."""
    reach = np.clip((np.abs(np.asarray(geomagnetic_deg)) - 20.0) / 25.0, 0.0, 1.0)
    summer = np.cos((month - 7) * np.pi / 6.0) * np.sign(np.asarray(latitude_deg))
    return np.asarray(np.maximum(1.0 - LOSS_PER_KP * _over(kp) * reach * (1.0 + 0.35 * summer), 0.6))


def auroral_extra_db(kp: float | None, geomagnetic_deg: npt.ArrayLike) -> FloatArray:
    """Extra loss where a path comes near the auroral zone, which widens towards the equator with Kp."""
    over = _over(kp)
    zone = 66.0 - 1.5 * over
    near = np.clip(1.0 - np.abs(np.abs(np.asarray(geomagnetic_deg)) - zone) / (8.0 + over), 0.0, 1.0)
    return np.asarray(AURORAL_DB_PER_KP * over * near)
