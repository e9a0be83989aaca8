"""From the first start to a contact in the log, by keyboard, with the program as it is started by everyone."""

from pathlib import Path
from typing import Any

from conftest import reads, until

from hearmark.settings import read_settings

MODEL = "globalThis.hearmark.model"


def test_from_first_run_to_a_logged_contact(demo: str, tmp_path: Path, chromium: Any) -> None:
    context = chromium.new_context(viewport={"width": 1280, "height": 720})
    page = context.new_page()
    page.set_default_timeout(30_000)
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(demo)
    until(page, "globalThis.hearmark?.model.link === 'open'", 30.0)
    # The station, in the view that the link leads to
    with context.expect_page() as opened:
        page.focus("#views a[href='/setup']")
        page.keyboard.press("Enter")
    setup = opened.value
    until(setup, "document.body.dataset.ready === 'true'", 30.0)
    setup.keyboard.type("n0zz")
    setup.keyboard.press("Tab")
    setup.keyboard.press("Tab")
    setup.keyboard.type("EN34")
    setup.keyboard.press("Enter")
    until(setup, "document.getElementById('saved').textContent.startsWith('Saved in')")
    assert read_settings(tmp_path / "config" / "hearmark" / "settings.toml").station.call == "N0ZZ"
    # On the air: the radio is set, the advice followed, the contact logged
    page.bring_to_front()
    page.keyboard.press("t")
    until(page, f"{MODEL}.radio?.set === true", 30.0)
    until(page, f"{MODEL}.lastMark() !== null && {MODEL}.advice?.transmit_hz", 120.0)
    page.keyboard.press("Enter")
    until(page, f"Math.abs({MODEL}.transmitHz - {MODEL}.dxHz) > 300 && {MODEL}.radio.split === true")
    page.keyboard.press("Shift+G")
    until(page, "document.getElementById('contact').open")
    page.fill("#contact-call", "vp8qrx")
    page.keyboard.press("Enter")
    until(page, f"{MODEL}.notice.startsWith('Logged VP8QRX')")
    # Afterwards it stands there, as made by the station that was set up
    page.goto(demo + "after")
    until(page, "document.body.dataset.shown === 'now'")
    row = page.inner_text("#contacts tbody tr.now")
    assert "VP8QRX" in row
    assert "CW" in row
    reads(page, "#log-more", "demo-log")
    assert page.evaluate("document.querySelectorAll('#answers tbody tr').length") >= 1
    assert errors == []
    context.close()
