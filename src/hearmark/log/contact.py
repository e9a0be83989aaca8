"""One contact: the fields of its ADIF record, and what they say as values that can be compared and sorted.

The fields are the truth and are kept as they came; the values are read from them. Times are UTC, seconds since 1970.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from hashlib import blake2b

from hearmark.duplex.bands import EDGES_HZ, band_name
from hearmark.errors import HearmarkError
from hearmark.log.adif import Field, Fields
from hearmark.log.modes import is_known_mode, mode_group

_CALL = re.compile(r"[A-Z0-9]+(?:/[A-Z0-9]+)*")
_MHZ = re.compile(r"\d{1,7}(?:\.\d{0,20})?|\.\d{1,20}", re.ASCII)
PAPER, LOTW, EQSL, DCL, CREDIT = 1, 2, 4, 8, 16
_CONFIRMING = {"QSL_RCVD": PAPER, "LOTW_QSL_RCVD": LOTW, "EQSL_QSL_RCVD": EQSL, "DCL_QSL_RCVD": DCL}
CONFIRMED_BY = {"paper": PAPER, "lotw": LOTW, "eqsl": EQSL, "dcl": DCL, "credit": CREDIT}
"""Ways in which a contact is confirmed, as bits of `Contact.confirmed`; the names are those of ADIF's fields."""
OFFSET, CALLS_MADE, SECONDS, HABIT = (
    f"APP_HEARMARK_{name}" for name in ("OFFSET_HZ", "CALLS_MADE", "SECONDS_TO_WORK", "HABIT")
)
"""What the program knew of the contact."""
EARLIEST = date(1900, 1, 1)
_DAY_S = 86_400
_ENCODER = json.JSONEncoder(separators=(",", ":"))


@dataclass(frozen=True, slots=True)
class Contact:
    """A contact in the log. Zone 0 and entity None: not known; entity 0: known to be none, such as a ship at sea.

    `digest`: the same for records of the same content, whatever the order and case of names.
    """

    fields: Fields
    call: str
    start_s: int
    stop_s: int | None
    band: str
    band_rx: str
    freq_hz: float | None
    freq_rx_hz: float | None
    mode: str
    submode: str
    group: str
    own_call: str
    locator: str
    prop_mode: str
    sat_name: str
    confirmed: int
    entity: int | None = None
    continent: str = ""
    cq_zone: int = 0
    itu_zone: int = 0
    id: int | None = None
    remarks: tuple[str, ...] = ()
    digest: bytes = b""

    @property
    def day(self) -> date:
        """The UTC day on which it began."""
        return datetime.fromtimestamp(self.start_s, UTC).date()

    def text(self, name: str) -> str:
        """The value of an ADIF field by its name in upper case; empty if it has none."""
        return next((field.value.strip() for field in self.fields if field.name.upper() == name and field.value), "")

    def number(self, name: str) -> float | None:
        """The value of a field as a number; None if it has none or is none."""
        try:
            return float(self.text(name))
        except ValueError:
            return None


def digest_of(fields: Fields) -> bytes:
    """Sixteen bytes that stand for the content of a record."""
    content = sorted((field.name.upper(), field.value, field.kind.upper()) for field in fields if field.value)
    return blake2b(_ENCODER.encode(content).encode(), digest_size=16).digest()


def read_contact(fields: Fields) -> Contact:
    """What the fields of one record say. Entity and zones are taken from the record only; see `entities`.

    Raises HearmarkError with one clause if there is no call, date, time, band or mode, or one of them is not valid.
    """
    said: dict[str, str] = {}
    remarks: list[str] = []
    for field in fields:
        name = field.name.upper()
        if name not in said and field.value:
            said[name] = field.value.strip()
        elif field.value and said.get(name) != field.value.strip():
            remarks.append(f"{name} is given twice; the first counts")
    call = said.get("CALL", "").upper()
    if not _CALL.fullmatch(call) or len(call) > 32:
        raise HearmarkError("CALL is missing" if not call else f'CALL "{call[:32]}" is no call')
    start_s = _moment(said.get("QSO_DATE", ""), said.get("TIME_ON", ""), "QSO_DATE", "TIME_ON")
    freq_hz = _frequency_hz(said.get("FREQ", ""), "FREQ")
    freq_rx_hz = _frequency_hz(said.get("FREQ_RX", ""), "FREQ_RX")
    band = _band(said.get("BAND", ""), freq_hz, "BAND", remarks)
    mode, submode = said.get("MODE", "").upper(), said.get("SUBMODE", "").upper()
    if not mode and not submode:
        raise HearmarkError("MODE is missing")
    if mode and not is_known_mode(mode):
        remarks.append(f'MODE "{mode}" is not among those of ADIF')
    if not band:
        raise HearmarkError("BAND is missing, and FREQ too" if freq_hz is None else "FREQ lies in no band")
    return Contact(
        fields=fields,
        call=call,
        start_s=start_s,
        stop_s=_stop(said, start_s, remarks),
        band=band,
        band_rx=_band(said.get("BAND_RX", ""), freq_rx_hz, "BAND_RX", remarks) or band,
        freq_hz=freq_hz,
        freq_rx_hz=freq_rx_hz,
        mode=mode or submode,
        submode=submode,
        group=mode_group(mode, submode),
        own_call=said.get("STATION_CALLSIGN", "").upper() or said.get("OPERATOR", "").upper(),
        locator=said.get("GRIDSQUARE", "").upper(),
        prop_mode=said.get("PROP_MODE", "").upper(),
        sat_name=said.get("SAT_NAME", "").upper(),
        confirmed=_confirmed(said),
        entity=_whole(said, "DXCC"),
        continent=said.get("CONT", "").upper(),
        cq_zone=_whole(said, "CQZ") or 0,
        itu_zone=_whole(said, "ITUZ") or 0,
        remarks=tuple(remarks),
        digest=digest_of(fields),
    )


def with_fields(contact: Contact, fields: Fields) -> Contact:
    """The contact as other fields say it, under the same number."""
    return replace(read_contact(fields), id=contact.id)


def fields_json(fields: Fields) -> str:
    """Fields as they are stored."""
    return _ENCODER.encode([field if field.kind else field[:2] for field in fields])


def fields_from(text: str) -> Fields:
    """Stored fields back."""
    return tuple(Field(*field) for field in json.loads(text))


def _whole(said: dict[str, str], name: str) -> int | None:
    text = said.get(name, "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 6 else None


@lru_cache(maxsize=4096)
def _day_s(text: str) -> int | None:
    """Seconds of midnight of a date YYYYMMDD; None if it is none."""
    try:
        day = date(int(text[:4]), int(text[4:6]), int(text[6:]))
    except ValueError:
        return None
    return (day - date(1970, 1, 1)) // timedelta(days=1) * _DAY_S if day >= EARLIEST else None


def _moment(day: str, time: str, day_name: str, time_name: str) -> int:
    if not day or not time:
        raise HearmarkError(f"{day_name if not day else time_name} is missing")
    day_s = _day_s(day) if len(day) == 8 and day.isascii() and day.isdigit() else None
    if day_s is None:
        raise HearmarkError(f'{day_name} "{day[:20]}" is no date like 20260321')
    time_s = _time_s(time)
    if time_s is None:
        raise HearmarkError(f'{time_name} "{time[:20]}" is no time like 1830 or 183000')
    return day_s + time_s


def _time_s(text: str) -> int | None:
    if len(text) not in (4, 6) or not text.isascii() or not text.isdigit():
        return None
    hour, minute, second = int(text[:2]), int(text[2:4]), int(text[4:] or 0)
    return hour * 3600 + minute * 60 + second if hour < 24 and minute < 60 and second < 60 else None


def _stop(said: dict[str, str], start_s: int, remarks: list[str]) -> int | None:
    """The end; past midnight if it would lie before the start and no day is given."""
    text = said.get("TIME_OFF", "")
    if not text:
        return None
    time_s = _time_s(text)
    day = said.get("QSO_DATE_OFF", "")
    day_s = _day_s(day) if len(day) == 8 and day.isascii() and day.isdigit() else None
    if time_s is None or (day and day_s is None):
        remarks.append("the end of the contact is not understood")
        return None
    stop_s = (start_s // _DAY_S * _DAY_S if day_s is None else day_s) + time_s
    # A start without seconds may seem to lie after an end with them
    if stop_s < start_s and day_s is None and start_s - stop_s >= 60:
        stop_s += _DAY_S
    return max(stop_s, start_s)


def _frequency_hz(text: str, name: str) -> float | None:
    """MHz to hertz; None for none, and for the 0 that stands for none in many files."""
    if not text:
        return None
    if not _MHZ.fullmatch(text):
        raise HearmarkError(f'{name} "{text[:20]}" is no frequency in MHz')
    return round(float(text) * 1e6, 3) or None


def _band(text: str, frequency_hz: float | None, name: str, remarks: list[str]) -> str:
    by_frequency = band_name(frequency_hz) if frequency_hz else ""
    said = text.lower()
    if not said:
        return by_frequency
    if said in EDGES_HZ:
        if by_frequency and by_frequency != said:
            remarks.append(f"{name} {said} and its frequency on {by_frequency} do not agree")
        if frequency_hz and not by_frequency:
            remarks.append(f"{name} {said} and its frequency of {frequency_hz / 1e6:g} MHz, in no band, do not agree")
        return said
    if not by_frequency:
        raise HearmarkError(f'{name} "{text[:20]}" is no band like 20m')
    remarks.append(f'{name} "{text[:20]}" is no band; its frequency says {by_frequency}')
    return by_frequency


def _confirmed(said: dict[str, str]) -> int:
    """Which ways have confirmed it: Y, or the older V for verified."""
    bits = 0
    for name, bit in _CONFIRMING.items():
        if said.get(name, "").upper() in ("Y", "V"):
            bits |= bit
    return bits | CREDIT if said.get("CREDIT_GRANTED") else bits
