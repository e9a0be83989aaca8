"""A new contact from what the operator and the program know, as the fields of its ADIF record."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from hearmark.duplex.bands import band_name
from hearmark.errors import HearmarkError
from hearmark.log.adif import Field, Fields
from hearmark.log.calls import parts_of
from hearmark.log.contact import CALLS_MADE, HABIT, OFFSET, SECONDS
from hearmark.log.modes import adif_mode, is_known_mode, mode_group
from hearmark.settings import LOCATOR

WAYS = frozenset((
    "AS", "AUE", "AUR", "BS", "ECH", "EME", "ES", "F2", "FAI", "GWAVE", "INTERNET", "ION", "IRL", "LOS", "MS", "RPT",
    "RS", "SAT", "TEP", "TR",
))  # fmt: skip
"""Propagation modes of ADIF 3.1.6, enumeration Propagation_Mode."""
SATELLITE = "SAT"
"""ADIF's propagation mode for contacts over a satellite."""


@dataclass(frozen=True, slots=True)
class Draft:
    """What goes into a new contact. `frequency_hz`: where we send; `receive_hz`: where he sends, if elsewhere.

    `offset_hz`, `calls_made`, `seconds`, `habit`: what the program knew: how far from his frequency it worked, how
    often we called, how long it took from the first call, and how the DX moved.
    """

    call: str
    frequency_hz: float
    mode: str
    start: datetime
    stop: datetime | None = None
    receive_hz: float | None = None
    sent: str = ""
    received: str = ""
    power_w: float | None = None
    locator: str = ""
    own_call: str = ""
    own_locator: str = ""
    prop_mode: str = ""
    sat_name: str = ""
    notes: str = ""
    offset_hz: float | None = None
    calls_made: int | None = None
    seconds: float | None = None
    habit: str = ""
    more: tuple[tuple[str, str], ...] = ()


def usual_report(mode: str) -> str:
    """What is sent when nothing else is said: 599 or 59. Common practice, no source."""
    return "59" if mode_group(*adif_mode(mode)) == "phone" else "599"


def fields_of(draft: Draft) -> Fields:
    """The ADIF fields of a draft. Raises HearmarkError that names what is wrong in it."""
    call = draft.call.strip().upper()
    if parts_of(call) is None:
        raise HearmarkError(f'"{draft.call}" is no call; a call has letters and at least one figure, like T0ST.')
    band = _band(draft.frequency_hz, "transmit")
    mode, submode = adif_mode(draft.mode)
    if not is_known_mode(mode):
        raise HearmarkError(f'"{draft.mode}" is no mode of ADIF; write it like cw, usb, FT8, RTTY or FM.')
    if draft.prop_mode and draft.prop_mode.upper() not in WAYS:
        raise HearmarkError(f'"{draft.prop_mode}" is no propagation mode of ADIF; they are {", ".join(sorted(WAYS))}.')
    if draft.power_w is not None and not 0.0 <= draft.power_w < 1e7:
        raise HearmarkError(f"A power of {draft.power_w:g} W cannot be; give 0 or more.")
    start, stop = _utc(draft.start), _utc(draft.stop) if draft.stop else None
    if stop is not None and stop < start:
        raise HearmarkError("The contact would end before it begins; look at its times.")
    for locator in filter(None, (draft.locator, draft.own_locator)):
        if not LOCATOR.fullmatch(locator):
            raise HearmarkError(f'"{locator}" is no locator; write it like JO50 or JO50ab.')
    said: list[tuple[str, str]] = [
        ("CALL", call),
        ("QSO_DATE", f"{start:%Y%m%d}"),
        ("TIME_ON", f"{start:%H%M%S}"),
        ("QSO_DATE_OFF", f"{stop:%Y%m%d}" if stop else ""),
        ("TIME_OFF", f"{stop:%H%M%S}" if stop else ""),
        ("BAND", band),
        ("FREQ", _mhz(draft.frequency_hz)),
    ]
    if draft.receive_hz is not None and draft.receive_hz != draft.frequency_hz:
        said += [("BAND_RX", _band(draft.receive_hz, "receive")), ("FREQ_RX", _mhz(draft.receive_hz))]
    said += [
        ("MODE", mode),
        ("SUBMODE", submode),
        ("RST_SENT", draft.sent or usual_report(draft.mode)),
        ("RST_RCVD", draft.received or usual_report(draft.mode)),
        ("TX_PWR", "" if draft.power_w is None else f"{draft.power_w:g}"),
        ("GRIDSQUARE", draft.locator),
        ("PROP_MODE", draft.prop_mode.upper() or (SATELLITE if draft.sat_name else "")),
        ("SAT_NAME", draft.sat_name.upper()),
        ("STATION_CALLSIGN", draft.own_call.upper()),
        ("MY_GRIDSQUARE", draft.own_locator),
        ("COMMENT", draft.notes),
    ]
    known = [
        (OFFSET, None if draft.offset_hz is None else f"{draft.offset_hz:.0f}", "N"),
        (CALLS_MADE, None if draft.calls_made is None else f"{draft.calls_made:d}", "N"),
        (SECONDS, None if draft.seconds is None else f"{draft.seconds:.0f}", "N"),
        (HABIT, draft.habit, "S"),
    ]
    fields = [Field(name, text) for name, text in said if text]
    fields += [Field(name, text, kind) for name, text, kind in known if text]
    return (*fields, *_more(draft.more, {field.name for field in fields}))


def _more(given: tuple[tuple[str, str], ...], taken: set[str]) -> Fields:
    found = []
    for name, text in given:
        upper = name.strip().upper()
        if not upper or any(sign in upper for sign in "<>:,{} ") or upper in taken or upper in ("EOR", "EOH"):
            raise HearmarkError(f'"{name}" cannot be given as a further field: it is no field name, or is set already.')
        taken.add(upper)
        found.append(Field(upper, text))
    return tuple(found)


def with_changes(fields: Fields, changes: tuple[tuple[str, str], ...]) -> Fields:
    """The fields with some set anew, at their old places; an empty value takes a field out."""
    found = list(fields)
    for name, text in changes:
        upper = name.strip().upper()
        if not upper or any(sign in upper for sign in "<>:,{} ") or upper in ("EOR", "EOH"):
            raise HearmarkError(f'"{name}" is no field name of ADIF, like RST_RCVD.')
        place = next((number for number, field in enumerate(found) if field.name.upper() == upper), None)
        if place is None:
            found.append(Field(upper, text))
        else:
            found[place] = Field(found[place].name, text, found[place].kind)
    return tuple(field for field in found if field.value)


def _utc(moment: datetime) -> datetime:
    return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)


def _mhz(frequency_hz: float) -> str:
    return f"{frequency_hz / 1e6:.6f}".rstrip("0").rstrip(".")


def _band(frequency_hz: float, which: str) -> str:
    band = band_name(frequency_hz)
    if not band:
        raise HearmarkError(f"The {which} frequency {frequency_hz / 1000:.2f} kHz lies in no amateur band.")
    return band
