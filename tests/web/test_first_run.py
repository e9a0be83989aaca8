"""From the first start to a contact in the log, by keyboard, with the program as it is started by everyone."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from conftest import until

from hearmark.settings import read_settings

MODEL = "globalThis.hearmark.model"


@pytest.fixture
def started(tmp_path: Path) -> Iterator[str]:
    """The address that `hearmark listen --demo` prints; ended as Ctrl+C would end it."""
    program = [str(Path(sys.executable).with_name("hearmark")), "listen", "--demo", "--port", "0"]
    given = {**os.environ, "XDG_CONFIG_HOME": str(tmp_path / "config")}
    child = subprocess.Popen(
        program, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=given, cwd=tmp_path
    )
    assert child.stdout is not None
    for line in child.stdout:
        if found := re.search(r"http://127\.0\.0\.1:\d+/", line):
            yield found[0]
            break
    else:
        pytest.fail("The program ended before it printed an address.")
    child.terminate()
    child.wait(20)


def test_from_first_run_to_a_logged_contact(started: str, tmp_path: Path, chromium: Any) -> None:
    context = chromium.new_context(viewport={"width": 1280, "height": 720})
    page = context.new_page()
    page.set_default_timeout(30_000)
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(started)
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
    page.goto(started + "after")
    until(page, "document.body.dataset.shown === 'now'")
    row = page.inner_text("#contacts tbody tr.now")
    assert "VP8QRX" in row
    assert "CW" in row
    assert "demo-log" in page.inner_text("#log-more"), "what is invented gets into no real log"
    assert page.evaluate("document.querySelectorAll('#answers tbody tr').length") >= 1
    assert errors == []
    context.close()
