"""What the fields of a record say, and what is refused."""

import pytest

from hearmark.errors import HearmarkError
from hearmark.log.adif import Field, Fields
from hearmark.log.contact import CREDIT, LOTW, PAPER, digest_of, fields_from, fields_json, read_contact

PLAIN = {"CALL": "T0ST", "QSO_DATE": "20260321", "TIME_ON": "1830", "BAND": "20m", "MODE": "CW"}


def fields(**given: str) -> Fields:
    return tuple(Field(name, text) for name, text in {**PLAIN, **given}.items())


def test_cross_band_contact_over_a_satellite() -> None:
    contact = read_contact(
        fields(BAND="70cm", BAND_RX="2m", FREQ="435.05", FREQ_RX="145.95", SAT_NAME="X-1", PROP_MODE="SAT")
    )
    assert (contact.band, contact.band_rx, contact.freq_hz, contact.freq_rx_hz) == ("70cm", "2m", 435.05e6, 145.95e6)
    assert (contact.sat_name, contact.prop_mode) == ("X-1", "SAT")


def test_band_from_the_frequency_and_mode_from_the_submode() -> None:
    given = fields(FREQ="18.1485", SUBMODE="USB")
    contact = read_contact(tuple(f for f in given if f.name not in ("BAND", "MODE")))
    assert (contact.band, contact.band_rx, contact.mode, contact.group) == ("17m", "17m", "USB", "phone")


@pytest.mark.parametrize(
    ("start", "more", "lasted_s"),
    [
        ("235950", {"TIME_OFF": "000010"}, 20),
        ("1200", {"TIME_OFF": "120030"}, 30),
        ("120030", {"TIME_OFF": "1200"}, 0),
        ("1200", {"TIME_OFF": "1201", "QSO_DATE_OFF": "20260322"}, 86_460),
    ],
    ids=["past midnight", "same minute", "end without seconds", "own day"],
)
def test_end(start: str, more: dict[str, str], lasted_s: int) -> None:
    contact = read_contact(fields(TIME_ON=start, **more))
    assert contact.stop_s is not None
    assert contact.stop_s - contact.start_s == lasted_s


@pytest.mark.parametrize(
    ("given", "why"),
    [
        ({"CALL": ""}, "CALL is missing"),
        ({"CALL": "T0 ST"}, 'CALL "T0 ST" is no call'),
        ({"QSO_DATE": "20260230"}, 'QSO_DATE "20260230" is no date'),
        ({"QSO_DATE": "2026-3-1"}, "is no date"),
        ({"TIME_ON": "2460"}, 'TIME_ON "2460" is no time'),
        ({"TIME_ON": ""}, "TIME_ON is missing"),
        ({"BAND": "21m"}, 'BAND "21m" is no band'),
        ({"FREQ": "14,05"}, 'FREQ "14,05" is no frequency'),
        ({"FREQ": "nan"}, 'FREQ "nan" is no frequency'),
        ({"BAND": "", "FREQ": "19"}, "FREQ lies in no band"),
        ({"BAND": ""}, "BAND is missing"),
        ({"MODE": ""}, "MODE is missing"),
    ],
)
def test_what_is_refused_and_why(given: dict[str, str], why: str) -> None:
    with pytest.raises(HearmarkError, match=why):
        read_contact(fields(**given))


def test_doubtful_things_are_remarked() -> None:
    contact = read_contact((*fields(BAND="20m", FREQ="7.01", MODE="WARBLE"), Field("CALL", "T1ST")))
    assert contact.call == "T0ST"
    assert len(contact.remarks) == 3


def test_ways_of_confirming() -> None:
    assert read_contact(fields(QSL_RCVD="Y", LOTW_QSL_RCVD="v")).confirmed == PAPER | LOTW
    assert read_contact(fields(QSL_RCVD="N", CREDIT_GRANTED="X")).confirmed == CREDIT
    assert read_contact(fields(QSL_RCVD="R")).confirmed == 0


def test_digest_does_not_depend_on_order_or_case_of_names() -> None:
    one = fields(COMMENT="x")
    other = tuple(Field(f.name.lower(), f.value) for f in reversed(one))
    assert digest_of(one) == digest_of((*other, Field("EMPTY", "")))
    assert digest_of(one) != digest_of(fields(COMMENT="X"))


def test_stored_fields_come_back() -> None:
    given = (Field("A", "é\n<"), Field("B", "1", "N"))
    assert fields_from(fields_json(given)) == given


def test_kilohertz_in_a_field_of_megahertz_are_noticed() -> None:
    contact = read_contact(fields(FREQ="14025"))
    assert (contact.band, contact.remarks) == (
        "20m", ("BAND 20m and its frequency of 14025 MHz, in no band, do not agree",),
    )  # fmt: skip
