"""Conversions at the edges: inside, everything is hertz, seconds and decibels."""

import numpy as np
import numpy.typing as npt

HZ_PER_KHZ = 1_000.0
HZ_PER_MHZ = 1_000_000.0


def hz_from_khz(khz: float) -> float:
    """Kilohertz to hertz, to the nearest millihertz (so that 18143.5 is exact)."""
    return round(khz * HZ_PER_KHZ, 3)


def khz_from_hz(hz: float) -> float:
    """Hertz to kilohertz."""
    return hz / HZ_PER_KHZ


def db_from_power(power: npt.ArrayLike, floor: float = 1e-30) -> npt.NDArray[np.float64]:
    """Power ratio to decibels; values below `floor` are held there, so that silence is finite."""
    return 10.0 * np.log10(np.maximum(np.asarray(power, dtype=np.float64), floor))


def power_from_db(db: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Decibels to power ratio."""
    return np.asarray(10.0 ** (np.asarray(db, dtype=np.float64) / 10.0))


def percent(share: float, digits: int = 0) -> str:
    """0.37 -> "37 %": a share as people read it, the same on every page."""
    return f"{100.0 * share:.{digits}f} %"


def counted(number: int, name: str) -> str:
    """As "1 answer", "2 answers"."""
    return f"{number} {name}{'' if number == 1 else 's'}"


def dit_s(wpm: float) -> float:
    """Length of one Morse unit in seconds: PARIS is 50 units (ITU-R M.1677-1; facts of the trade)."""
    return 1.2 / wpm
