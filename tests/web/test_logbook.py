"""The contact by one key: who the DX is, what is filled in, duplicates before the call, and the page itself."""

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from conftest import until

from hearmark.errors import HearmarkError
from hearmark.events import Answer, Ear, KeyState, Over, OwnCall
from hearmark.log.contact import CALLS_MADE, HABIT, OFFSET, SECONDS
from hearmark.log.store import Store
from hearmark.settings import settings_from
from hearmark.web.actions import read_action
from hearmark.web.logbook import Entry, Logbook
from hearmark.web.server import Server

DX_HZ, OWN_HZ = 18_143_500.0, 18_148_500.0
NOW = datetime(2026, 3, 21, 18, 30, 5, tzinfo=UTC)
SETTINGS = settings_from({"station": {"call": "N0ZZ", "locator": "JO50", "power_w": 50.0}})


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "log.db", backup=False) as opened:
        yield opened


def book(store: Store, call: str = "") -> Logbook:
    return Logbook(store, SETTINGS, call=call, clock=lambda: NOW)


def over(number: int, text: str) -> Over:
    return Over(number, 10.0 * number, 10.0 * number + 2, DX_HZ, text)


def test_the_dx_is_who_signs_in_several_overs_and_no_caller(store: Store) -> None:
    logbook = book(store)
    logbook.notice(over(1, "K1AA 5NN"))
    logbook.notice(Answer(1, 12.0, None, 12.5, OWN_HZ, 0.9, call="K1AA"))
    logbook.notice(over(2, "K1AA TU VP8AA UP"))
    assert logbook.call == "", "once is not enough"
    logbook.notice(over(3, "QRZ VP8AA"))
    logbook.notice(over(3, "QRZ VP8AA UP"))
    assert logbook.call == "VP8AA"
    logbook.notice(over(4, "QRZ VP8AA"))
    logbook.notice(over(5, "VP8AA UP"))
    logbook.notice(Answer(2, 33.0, None, 33.5, OWN_HZ, 0.6, call="VP8AA"))
    assert logbook.call == "VP8AA", "one mark that took him for a caller does not hide him"
    logbook.name("t0st")
    assert logbook.call == "T0ST"
    logbook.name("")
    assert logbook.call == "VP8AA"
    with pytest.raises(HearmarkError, match="is no call"):
        logbook.name("hello")


def signed(number: int, text: str, sure: float = 0.95) -> Over:
    return replace(over(number, text), sure=(sure,) * len(text))


@pytest.mark.parametrize(
    "texts", [("CQ CQ DE T92H T92H UP",), ("QRZ? DE T92H UP", "CQ DE T92H UP K"), ("TU 73 DE T92H T92H UP",)]
)
def test_what_he_signs_twice_behind_de_is_his_call_at_once(store: Store, texts: tuple[str, ...]) -> None:
    logbook = book(store)
    for number, text in enumerate(texts, 1):
        assert logbook.call == ""
        logbook.notice(signed(number, text))
    assert logbook.call == "T92H"
    for number, text in enumerate(("K1AA 5NN", "K1AA TU", "K1AA TU UP"), 10):
        logbook.notice(signed(number, text))
    assert logbook.call == "T92H", "whom he names oftener is still not he"


@pytest.mark.parametrize(
    ("text", "sure"),
    [
        ("CQ CQ DE T92H T92H UP", 0.6),
        ("CQ CQ DE T92H T92S UP", 0.95),
        ("DE K1AA K1AA", 0.95),
        ("QRZ UP DE K1AA K1AA", 0.95),
        ("R DE K1AA 5NN TU DE K1AA", 0.95),
        ("K1AA K1AA 5NN UP", 0.95),
    ],
)
def test_what_is_doubtful_or_a_callers_is_not_his_call(store: Store, text: str, sure: float) -> None:
    logbook = book(store)
    logbook.notice(signed(1, text, sure))
    assert logbook.call == ""


def test_a_call_that_goes_on_is_not_his_yet_and_a_new_reading_does_not_lose_it(store: Store) -> None:
    logbook = book(store)
    logbook.notice(replace(signed(1, "CQ DE T92 CQ DE T92H T92H"), stop_s=None))
    assert logbook.call == ""
    logbook.notice(replace(signed(1, "CQ DE T92 CQ DE T92HX T92HX "), stop_s=None))
    assert logbook.call == "T92HX"
    logbook.notice(signed(1, "CQCQDE T92HX T92HX UP"))
    assert logbook.call == "T92HX"


def test_a_caller_who_was_answered_and_signs_on_his_frequency_is_not_he(store: Store) -> None:
    logbook = book(store)
    logbook.notice(Answer(1, 12.0, None, 12.5, OWN_HZ, 0.9, call="K1AA"))
    logbook.notice(signed(1, "CQ DE K1AA K1AA"))
    assert logbook.call == ""


@pytest.mark.parametrize("text", ["K1AA K1AA 5NN", "K1AA AGN", "K1AA?"])
def test_whom_he_gives_a_report_or_asks_again_in_two_overs_is_a_caller(store: Store, text: str) -> None:
    logbook = book(store)
    for number in (1, 2):
        logbook.notice(over(number, text))
    assert logbook.call == ""


def test_one_key_writes_all_that_is_known(store: Store) -> None:
    logbook = book(store, "VP8AA")
    logbook.notice(Ear(1.0, np.arange(3.0), np.ones(3), "step"))
    for second in (100.0, 110.0, 125.0):
        logbook.notice(KeyState(second, True))
        logbook.notice(KeyState(second + 2, False))
    done = logbook.log(Entry(), DX_HZ, OWN_HZ, "usb", 160.0)
    assert done["text"].startswith("Logged VP8AA at 18:30 UTC on 18148.50 kHz, +5.00 from him; ")
    (kept,) = store.find()
    assert (kept.call, kept.band, kept.mode, kept.submode, kept.entity) == ("VP8AA", "17m", "SSB", "USB", 141)
    assert (kept.freq_hz, kept.freq_rx_hz, kept.own_call) == (OWN_HZ, DX_HZ, "N0ZZ")
    assert (kept.text("RST_SENT"), kept.text("MY_GRIDSQUARE"), kept.number("TX_PWR")) == ("59", "JO50", 50.0)
    assert [kept.text(name) for name in (OFFSET, CALLS_MADE, SECONDS, HABIT)] == ["5000", "3", "60", "step"]
    assert datetime.fromtimestamp(kept.start_s, UTC) == NOW


def test_second_press_does_not_log_twice(store: Store) -> None:
    logbook = book(store, "VP8AA")
    logbook.log(Entry(), DX_HZ, OWN_HZ, "usb", 1.0)
    with pytest.raises(HearmarkError, match="VP8AA is in the log already, at 18:30 UTC"):
        logbook.log(Entry(), DX_HZ, OWN_HZ, "usb", 2.0)
    logbook.log(Entry(again=True, notes="once more"), DX_HZ, OWN_HZ, "usb", 3.0)
    assert store.count() == 2


def test_unknown_call_is_asked_for(store: Store) -> None:
    with pytest.raises(HearmarkError, match="Whose call"):
        book(store).log(Entry(), DX_HZ, OWN_HZ, "usb", 1.0)
    assert store.count() == 0


def test_a_contact_of_which_no_answer_was_heard_says_so_and_how_it_goes_out_again(store: Store) -> None:
    logbook = book(store, "VP8AA")
    said = logbook.log(Entry(), DX_HZ, OWN_HZ, "usb", 1.0)
    assert said["text"].endswith(
        f"he was not heard to answer you. Logged too soon? After tells how to take number {said['id']} out again."
    )
    with pytest.raises(HearmarkError, match=r"Shift\+G looks first and can log it again"):
        logbook.log(Entry(), DX_HZ, OWN_HZ, "usb", 2.0)
    logbook.notice(OwnCall(1, 3.0, "N0ZZ", "N0ZT", "near", "N0Z.", 0.2, "not us"))
    assert "not heard" in logbook.log(Entry(again=True), DX_HZ, OWN_HZ, "usb", 3.0)["text"]
    logbook.notice(OwnCall(2, 4.0, "N0ZZ", "N0ZZ", "whole", "N0ZZ", 0.97, "he sent your call"))
    assert "not heard" not in logbook.log(Entry(again=True), DX_HZ, OWN_HZ, "usb", 5.0)["text"]


def test_duplicate_and_needs_are_told_before_the_call(store: Store) -> None:
    first = book(store, "VP8AA").station(DX_HZ, "usb")
    assert (first["name"], first["level"], first["duplicate"], first["report"]) == ("Falkland Is.", "new", False, "59")
    assert first["needs"].startswith("Falkland Is. never worked")
    book(store, "VP8AA").log(Entry(), DX_HZ, OWN_HZ, "usb", 1.0)
    later = book(store, "VP8AA")
    assert later.station(DX_HZ, "usb")["slots"] == [{"band": "17m", "phone": "worked"}]
    assert later.station(DX_HZ, "usb")["duplicate"]
    elsewhere = later.station(14_195_000.0, "usb")
    assert (elsewhere["duplicate"], elsewhere["worked"], elsewhere["level"]) == (False, 1, "band")


@pytest.mark.parametrize(
    ("text", "entry"),
    [
        ('{"verb":"log"}', Entry()),
        ('{"verb":"log","call":"t0st","sent":"57","again":true}', Entry("t0st", "57", again=True)),
        ('{"verb":"name","call":"T0ST"}', Entry("T0ST")),
    ],
)
def test_requests_of_the_page(text: str, entry: Entry) -> None:
    assert read_action(text).entry == entry


@pytest.mark.parametrize("text", ['{"verb":"log","call":5}', json.dumps({"verb": "log", "notes": "x" * 501})])
def test_bad_requests_are_refused(text: str) -> None:
    with pytest.raises(HearmarkError, match="must be a text of at most 500"):
        read_action(text)


def test_page_logs_with_one_key_and_warns_of_a_duplicate(
    serve: Callable[..., Server], new_page: Callable[..., Any], store: Store
) -> None:
    page = new_page(serve(start_s=30.0, logbook=book(store, "VP8AA")).url)
    until(page, "document.getElementById('dx-who').textContent.includes('Falkland Is. never worked')")
    page.keyboard.press("g")
    until(page, "document.getElementById('notice').textContent.startsWith('Logged VP8AA')")
    until(page, "document.getElementById('dx-who').textContent.includes('in the log since 18:30 UTC')")
    assert [contact.call for contact in store.find()] == ["VP8AA"]
    page.keyboard.press("g")
    until(page, "document.getElementById('notice').textContent.includes('in the log already')")
    assert store.count() == 1
    page.keyboard.press("Shift+G")
    until(page, "document.getElementById('contact').open")
    page.keyboard.press("m")
    assert page.evaluate("document.getElementById('contact-slots').innerText").split() == [
        "Morse", "phone", "digital", "17m", "·", "worked", "·",
    ]  # fmt: skip
    sent = page.evaluate("document.getElementById('contact-sent').value")
    assert sent == "m", "keys go into the sheet, not to the radio"
    page.fill("#contact-call", "t0st")
    page.fill("#contact-notes", "a good one")
    page.keyboard.press("Enter")
    until(page, "document.getElementById('notice').textContent.startsWith('Logged T0ST')")
    logged = list(store.in_file_order())
    assert (logged[1].call, logged[1].text("COMMENT"), logged[1].text("RST_SENT")) == ("T0ST", "a good one", "m")


def test_page_without_a_log_has_no_such_key(serve: Callable[..., Server], new_page: Callable[..., Any]) -> None:
    page = new_page(serve(start_s=30.0).url)
    assert page.evaluate("document.querySelector('button[data-key=\"g\"]').disabled")
    assert page.evaluate("document.getElementById('dx-who').textContent") == ""


def test_contact_can_be_logged_after_the_stream_has_ended(
    serve: Callable[..., Server], new_page: Callable[..., Any], store: Store
) -> None:
    page = new_page(serve(duration_s=1.0, logbook=book(store, "VP8AA")).url)
    until(page, "globalThis.hearmark.model.status?.state === 'ended'")
    page.keyboard.press("g")
    until(page, "document.getElementById('notice').textContent.startsWith('Logged VP8AA')")
    assert replace(next(store.find()), id=None).call == "VP8AA"
