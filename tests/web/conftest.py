"""A running server with a scripted session, and one Chromium for all tests of the page."""

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from script import VIEW, ScriptedEngine, stream

from hearmark.web.live import LiveSession
from hearmark.web.server import Server

CHROMIUM = shutil.which("chromium")
AXE = Path(__file__).parents[2] / "node_modules/axe-core/axe.min.js"
ARGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
]  # fmt: skip


def until(page: Any, expression: str, limit_s: float = 15.0) -> None:
    """Waits for something in the page; asks from outside, as the page's policy forbids eval inside."""
    end = time.monotonic() + limit_s
    while not page.evaluate(expression):
        if time.monotonic() > end:
            pytest.fail(f"In {limit_s:g} s this did not become true in the page: {expression}")
        page.wait_for_timeout(50)


def reads(page: Any, where: str, text: str, limit_s: float = 15.0) -> None:
    """Waits until this text stands there: the page draws what its model knows in the next frame, not at once."""
    end = time.monotonic() + limit_s
    while text not in (found := page.inner_text(where)):
        if time.monotonic() > end:
            pytest.fail(f"In {limit_s:g} s {where} did not come to read {text!r}; it reads {found!r}")
        page.wait_for_timeout(50)


def hold(page: Any) -> None:
    """The page takes nothing more but what the radio says: what it shows now stands, as a pause would not leave it."""
    page.evaluate(
        """() => { const model = globalThis.hearmark.model, take = model.apply.bind(model);
        model.apply = (message) => { if (message.type === "radio") take(message); }; model.addLine = () => {}; }"""
    )


def no_serious_fault(page: Any, where: str = "html") -> None:
    """Fails unless axe finds nothing serious or critical there."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    run = "async (where) => (await axe.run(where)).violations.map((v) => [v.impact, v.id, v.nodes[0].html])"
    assert [found for found in page.evaluate(run, where) if found[0] in ("serious", "critical")] == []


def small(path: Path) -> None:
    """The picture with few colours: half of the size, and nobody sees it."""
    from PIL import Image

    picture = Image.open(path).convert("RGB")
    picture.quantize(192, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE).save(path, optimize=True)


@pytest.fixture
def serve() -> Iterator[Callable[..., Server]]:
    """Starts servers on free ports; ends them all after the test."""
    running: list[Server] = []

    def start(start_s: float = 0.0, duration_s: float = 600.0, **options: Any) -> Server:
        session = LiveSession(stream(start_s, duration_s), ScriptedEngine(), VIEW, **options)
        server = Server(session, port=0)
        server.start()
        running.append(server)
        return server

    yield start
    for server in running:
        server.stop()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip("chromium is not installed (Debian: apt-get install chromium)")
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        yield browser
        browser.close()


@pytest.fixture
def new_page(chromium: Any) -> Iterator[Callable[..., Any]]:
    """Opens pages of 1280 by 720 in contexts of their own; fails the test when a page reports an error."""
    contexts: list[Any] = []
    errors: list[str] = []

    def start(url: str, **options: Any) -> Any:
        context = chromium.new_context(viewport={"width": 1280, "height": 720}, **options)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.goto(url)
        until(page, "globalThis.hearmark?.model.link === 'open'")
        return page

    yield start
    for context in contexts:
        context.close()
    assert errors == []


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[str]:
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
