"""What the set-up can say of each part of the station: computed or measured, in one sentence a part."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
from geographiclib.geodesic import Geodesic

from hearmark.duplex import exposure
from hearmark.duplex.bands import BANDS
from hearmark.duplex.privileges import intervals_hz, table
from hearmark.errors import HearmarkError
from hearmark.log.entities import Entities
from hearmark.path.antenna import Antenna
from hearmark.path.places import locator_of, place_from_locator
from hearmark.radio.counted import CountedRadio
from hearmark.radio.daemon import DaemonRadio, address
from hearmark.radio.port import Port
from hearmark.radio.simulated import SimulatedRadio
from hearmark.radio.trial import try_split
from hearmark.settings import Settings
from hearmark.web.receiving import check_receiver

Said = tuple[bool | None, str]
"""Whether it is well (None: so so), and the sentence."""
FAR_KM = 3_000.0
LOCATOR_KM = {4: 70.0, 6: 3.5, 8: 0.4}
"""From the middle of a locator's area to about its corner, in middle latitudes."""


def check_call(settings: Settings) -> Said:
    """Which entity the call tells."""
    call = settings.station.call
    if not call:
        return None, "no call given: nothing tells you when he answers you, and the log has no call of yours"
    place = Entities().lookup(call)
    if place is None:
        return None, f"{call} is written like a call, but belongs to no entity that the tables know"
    if place.entity == 0:
        return True, f"{call} counts for no entity"
    return True, f"{call} is in {place.name}, CQ zone {place.cq_zone}, ITU zone {place.itu_zone}"


def check_place(settings: Settings) -> Said:
    """Where the locator lies, and whether that goes with the call."""
    text = settings.station.locator
    if not text:
        return None, "no locator given: paths, distances and bearings are not computed"
    here = place_from_locator(text)
    ns, ew = "NS"[here.latitude_deg < 0], "EW"[here.longitude_deg < 0]
    said = (
        f"{locator_of(here, len(text))} is {abs(here.latitude_deg):.2f}° {ns}, {abs(here.longitude_deg):.2f}° {ew}, "
        f"within {LOCATOR_KM[len(text)]:g} km or so"
    )
    told = Entities().lookup(settings.station.call) if settings.station.call else None
    if told is None or told.latitude_deg is None or told.longitude_deg is None:
        return True, said
    line = Geodesic.WGS84.Inverse(here.latitude_deg, here.longitude_deg, told.latitude_deg, told.longitude_deg)
    away_km = line["s12"] / 1e3
    said += f"; the middle of {told.name} is {away_km:.0f} km away"
    if away_km > FAR_KM:
        return None, f"{said}: is it the place from which you send?"
    return True, said


def check_licence(settings: Settings) -> Said:
    """What the privileges table allows, in figures that can be compared with the licence on paper."""
    station = settings.station
    if not station.licence and not station.privileges:
        return None, "no licence named: nothing can tell you whether you may send where he listens"
    held = table(station.licence, Path(station.privileges).expanduser() if station.privileges else None)
    kinds = {"cw": "Morse", "usb": "voice"}
    widths = {}
    for mode, name in kinds.items():
        parts = intervals_hz(held, "cw" if mode == "cw" else "usb")
        widths[name] = sum(high - low for low, high in parts if high < 30e6) / 1e3
    spans = " and ".join(f"{khz:.0f} kHz for {name}" for name, khz in widths.items())
    decides = "your licence and local rules decide"
    if held.kind == "plan":
        return None, f"{held.title} is a band plan and no licence: {decides}"
    return True, f"{held.title} of {held.as_of}: below 30 MHz {spans}; {decides}"


def check_power(settings: Settings) -> Said:
    """What reaches the antenna, and how far people must stay away: an estimate."""
    station, antenna = settings.station, settings.antenna[0]
    fed_w = station.power_w * 10.0 ** (-station.feed_loss_db / 10.0)
    if station.power_w == 0.0:
        return None, "no power: nothing is sent"
    worst, away_m = 0.0, 0.0
    for band in BANDS:
        middle_hz = (band.low_hz + band.high_hz) / 2.0
        if antenna.low_mhz <= middle_hz / 1e6 <= antenna.high_mhz:
            eirp_w = exposure.mean_eirp_w(
                station.power_w, antenna.gain_dbi, station.feed_loss_db, exposure.MODE_FACTORS["cw"],
                exposure.PILE_UP_DUTY,
            )  # fmt: skip
            found = max(exposure.exposures(middle_hz, eirp_w), key=lambda one: one.distance_m)
            if found.distance_m > away_m:
                worst, away_m = middle_hz / 1e6, found.distance_m
    said = f"{station.power_w:g} W, {fed_w:.3g} W at the antenna after {station.feed_loss_db:g} dB of loss"
    if not away_m:
        return True, said
    return True, (
        f"{said}; keep everybody {math.ceil(away_m * 10) / 10:.1f} m away (calling in Morse at {worst:.1f} MHz, an "
        "estimate for the far field: local rules decide)"
    )


def check_antenna(settings: Settings) -> Said:
    """Where such an antenna sends best: what decides over long paths."""
    antenna = settings.antenna[0]
    if antenna.low_mhz > antenna.high_mhz:
        raise HearmarkError(
            f"The antenna's lowest frequency, {antenna.low_mhz:g} MHz, lies above its highest, {antenna.high_mhz:g}."
        )
    bands = [band for band in BANDS if antenna.low_mhz * 1e6 <= band.high_hz and band.low_hz <= antenna.high_mhz * 1e6]
    if not bands:
        return None, f"{antenna.name}: no amateur band between {antenna.low_mhz:g} and {antenna.high_mhz:g} MHz"
    names = f"{bands[0].name} to {bands[-1].name}" if len(bands) > 1 else bands[0].name
    said = f"{antenna.name}: {len(bands)} bands, {names}"
    if antenna.height_m <= 0.0 and not antenna.upright:
        return True, f"{said}, {antenna.gain_dbi:g} dBi"
    degrees = np.arange(1.0, 91.0)
    shown = []
    for band in (bands[0], bands[-1]) if len(bands) > 1 else bands:
        middle_hz = (band.low_hz + band.high_hz) / 2.0
        if middle_hz > 60e6:
            continue
        gain = Antenna("vertical" if antenna.upright else "dipole", antenna.height_m).gain_dbi(
            np.radians(degrees), middle_hz
        )
        best = degrees[np.argmax(gain >= gain.max() - 0.5)]
        shown.append((f"at {best:.0f}°" if best < 60.0 else "steeply upwards") + f" on {band.name}")
    wire = "a vertical" if antenna.upright else f"a horizontal wire {antenna.height_m:g} m up"
    angles = f"; {wire} sends best {' and '.join(shown)}" if shown else ""
    return True, said + angles


def check_radio(settings: Settings, connect: Callable[[str], Port] | None = None) -> Said:
    """Whether the radio answers and split can be set: tried and put back."""
    where = settings.radio.address
    if not where:
        return None, "no radio control: you set the frequencies by hand, and nothing warns when split is off"
    port = (connect or _reach)(where)
    try:
        if settings.radio.cw_dial == "suppressed":
            side = 1.0 if settings.radio.cw_sideband == "usb" else -1.0
            mode = port.read().mode
            port = CountedRadio(port, side * settings.radio.cw_pitch_hz, lambda: mode == "cw")
        found = try_split(port)
    finally:
        port.close()
    return found.ok, found.say


def _reach(where: str) -> Port:
    return SimulatedRadio() if where == "simulated" else DaemonRadio(*address(where))


def check_heard(settings: Settings, folder: Path) -> Said:
    """Whether the receiver hears."""
    ok, say = check_receiver(settings.receiver, folder)
    if settings.receiver.kind in ("card", "tcp") and not settings.receiver.center_khz:
        return None, f"{say}; give the centre of its band as well, else it must be told at each start"
    return ok, say
