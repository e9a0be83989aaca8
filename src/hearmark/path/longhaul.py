"""Circuits from 7000 km: one empirical field strength in place of hops (ITU-R P.533, section 5.3; from memory)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from hearmark.path.antenna import Antenna
from hearmark.path.circuit import Sky
from hearmark.path.geodesic import EARTH_KM
from hearmark.path.hops import elevation_rad, incidence_rad, pierce_km, ray_km
from hearmark.path.loss import winter_anomaly
from hearmark.path.muf import LONGEST_HOP_KM, f2_muf_mhz

FloatArray = npt.NDArray[np.float64]
BEGINS_KM, ALONE_KM = 7000.0, 9000.0
LAYER_KM = 300.0
MOST_FOCUS_DB = 15.0
OTHER_LOSS_DB = -0.17
_EAST_WEST = np.array([0.1, 1.2, 0.6])
_NORTH_SOUTH = np.array([0.2, 0.2, 0.4])


def hops_of(length_km: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Number and length of the hops, the fewest that serve."""
    hops = np.maximum(np.ceil(length_km / LONGEST_HOP_KM), 1.0)
    return hops, length_km / hops


class LongHaul:
    """The long paths among some routes; `gain_db` gives received over transmitted power for any scaling of the MUF.

    Frequencies: shape (F,), or each path's own, shape (P, 1, F). `day`: the same routes over one whole day, because the
    limits depend on the day's noon and least MUF.
    """

    def __init__(self, sky: Sky, day: Sky, frequency_hz: FloatArray, transmit: Antenna, receive: Antenna) -> None:
        length = sky.length_km
        self.mhz = frequency_hz / 1e6
        hops, hop_km = hops_of(length)
        self.elevation_rad = np.maximum(elevation_rad(hop_km, LAYER_KM), 0.0)
        path_km = hops * ray_km(hop_km, self.elevation_rad)
        self.muf_mhz, self.upper_mhz = self._upper(sky, day, hop_km)
        self.lower_mhz = self._lower(sky, hops.astype(int), hop_km, path_km)
        self.gyro_mhz = np.asarray(sky.at("gyro_mhz", 0.5))
        angle = length / EARTH_KM
        focus = 10.0 * np.log10(angle / np.maximum(np.abs(np.sin(angle)), 1e-3))
        self._focus_db = np.minimum(focus, MOST_FOCUS_DB)[:, None, None]
        self._free_dbu = (139.6 - 20.0 * np.log10(np.maximum(path_km, 1.0)))[:, None, None]
        low = np.radians([2.0, 4.0, 6.0, 8.0])[:, None, None, None]
        self._storm_db = sky.storm_db[:, None, None]
        self._antennas_db = transmit.gain_dbi(low, frequency_hz).max(axis=0) + receive.gain_dbi(low, frequency_hz).max(
            axis=0
        )

    def _upper(self, sky: Sky, day: Sky, hop_km: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Basic and upper limit frequency: the lower of those above the first and the last hop, (P, T)."""
        bearings = np.radians([r.bearing_deg for r in sky.routes])
        east = np.abs(np.sin(bearings))[:, None]
        w, x, y = (e * east**2 + n * (1.0 - east**2) for e, n in zip(_EAST_WEST, _NORTH_SOUTH, strict=True))
        half = hop_km / 2.0 / sky.length_km
        mufs, limits = [], []
        for share in (half, 1.0 - half):
            now, whole = (
                f2_muf_mhz(
                    hop_km[:, None], *(s.at(name, share) for name in ("fof2_mhz", "m3000", "foe_mhz", "gyro_mhz"))
                )
                for s in (sky, day)
            )
            noon_at = np.argmin(day.at("zenith_deg", share), axis=1)
            noon = whole[np.arange(len(whole)), noon_at][:, None]
            least = whole.min(axis=1, keepdims=True)
            k = 1.2 + w * now / noon + x * (np.cbrt(noon / now) - 1.0) + y * (least / noon) ** 2
            mufs.append(now)
            limits.append(k * 1.1 * sky.at("fof2_mhz", share) * sky.at("m3000", share))
        return np.minimum(*mufs), np.minimum(*limits)

    def _lower(self, sky: Sky, hops: npt.NDArray[np.int_], hop_km: FloatArray, path_km: FloatArray) -> FloatArray:
        """Lower limit frequency, (P, T): absorption summed over where the ray passes 90 km."""
        foot = pierce_km(self.elevation_rad, 90.0) / sky.length_km
        step = hop_km / sky.length_km
        total = np.zeros(np.broadcast_shapes(foot[:, None].shape, sky.at("zenith_deg", 0.5).shape))
        for hop in range(int(hops.max())):
            used = (hop < hops)[:, None]
            for share in (hop * step + foot, (hop + 1) * step - foot):
                cosine = np.cos(np.radians(sky.at("zenith_deg", share)))
                total = total + used * np.sqrt(np.maximum(cosine, 0.0))
        slant = np.cos(incidence_rad(self.elevation_rad, 90.0))
        reach = np.log(9.5e6 / np.maximum(path_km, 1.0))
        strength = (1.0 + 0.009 * sky.sunspots) * total / (slant * reach)[:, None]
        middle = sky.latitude_deg[:, sky.latitude_deg.shape[1] // 2]
        day = (5.3 * np.sqrt(strength) - sky.at("gyro_mhz", 0.5)) * winter_anomaly(middle, sky.month)[:, None]
        night = np.sqrt(sky.length_km / 3000.0)[:, None]
        return np.asarray(np.maximum(day, night))

    def gain_db(self, scale: float | FloatArray = 1.0) -> FloatArray:
        """Received over transmitted power, (P, T, F), with the upper limit times `scale`."""
        gyro = self.gyro_mhz[..., None]
        high = (self.upper_mhz * scale)[..., None] + gyro
        low = self.lower_mhz[..., None] + gyro
        f = self.mhz + gyro
        share = high**2 / (high**2 + low**2) * (low**2 / f**2 + f**2 / high**2)
        field_dbu = self._free_dbu * (1.0 - share) - 30.0 + self._focus_db - OTHER_LOSS_DB
        # an isotropic antenna takes up field - 20 log f - 107.2 dBW (P.533), here of 1 kW = 30 dBW
        power = field_dbu - 20.0 * np.log10(self.mhz) - 107.2 - 30.0 + self._antennas_db - self._storm_db
        return np.asarray(np.maximum(power, -400.0))
