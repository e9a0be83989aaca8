"""The view Set-up: each part checked with what was measured, the file written whole, and all of it by keyboard."""

import json
import re
import socket
import sys
import threading
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from conftest import AXE, no_serious_fault, until
from script import VIEW, ScriptedEngine, stream

from hearmark.errors import HearmarkError
from hearmark.events import Block
from hearmark.settings import Receiver, Settings, read_settings, write_settings
from hearmark.sources.recording import SigmfWriter
from hearmark.web import receiving
from hearmark.web.live import LiveSession
from hearmark.web.receiving import check_receiver, recordings
from hearmark.web.server import Server
from hearmark.web.setup import PARTS, SetUp, routes

RATE_HZ = 48_000.0


def asked(part: str, **values: Any) -> bytes:
    return json.dumps({"part": part, "values": {k.replace("__", "."): v for k, v in values.items()}}).encode()


@pytest.fixture
def setup(tmp_path: Path) -> SetUp:
    return SetUp(Settings(), tmp_path / "new" / "settings.toml", find=lambda: ["127.0.0.1:4532"])


class IqServer:
    """Sends noise at a level with an image k, at the pace of life, to whoever connects."""

    def __init__(self, level_dbfs: float, k: complex, rate_hz: float = RATE_HZ, wave: str = "iq") -> None:
        self._level, self._k, self._rate_hz, self._wave = 10 ** (level_dbfs / 20), k, rate_hz, wave
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.address = f"127.0.0.1:{self._listener.getsockname()[1]}"
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        client, _ = self._listener.accept()
        rng, sent, begun = np.random.default_rng(4), 0, time.monotonic()
        with client:
            while self._wave != "nothing":
                x = (rng.standard_normal(2400) + 1j * rng.standard_normal(2400)) * self._level / np.sqrt(2)
                if self._wave == "mono":
                    x = x.real * (1 + 1j)
                y = 0 * x if self._wave == "zeros" else x + self._k * np.conj(x)
                try:
                    client.sendall(y.astype("<c8").tobytes())
                except OSError:
                    return
                sent += 2400
                time.sleep(max(0.0, begun + sent / self._rate_hz - time.monotonic()))
            time.sleep(30)

    def close(self) -> None:
        self._listener.close()


@pytest.fixture
def iq(request: pytest.FixtureRequest) -> Iterator[IqServer]:
    server = IqServer(**request.param)
    yield server
    server.close()


def over_tcp(address: str, **more: Any) -> Receiver:
    return Receiver(**{"kind": "tcp", "address": address, "format": "cf32_le", "center_khz": 14_025.0, **more})


@pytest.mark.parametrize("iq", [{"level_dbfs": -73.0, "k": 10 ** (-31 / 20)}], indirect=True)
def test_a_receiver_is_heard_and_measured(iq: IqServer, tmp_path: Path) -> None:
    ok, say = check_receiver(over_tcp(iq.address), tmp_path)
    assert ok, say
    # The spread of the blind estimate over four seconds of noise
    assert re.match(r"hearing -73 dBFS, image rejected (30|31|32) dB as it comes, peaks ", say), say
    assert "thousand samples a second" in say


@pytest.mark.parametrize(
    ("iq", "sentence"),
    [
        ({"level_dbfs": -50.0, "k": 0.0, "rate_hz": 96_000.0}, "samples come a second, not 48000"),
        ({"level_dbfs": -50.0, "k": 0.0, "wave": "mono"}, "one channel says what the other says"),
        ({"level_dbfs": -50.0, "k": 0.0, "wave": "zeros"}, "silence: every sample is zero"),
    ],
    indirect=["iq"],
)
def test_what_is_wrong_with_a_receiver_is_named(iq: IqServer, sentence: str, tmp_path: Path) -> None:
    ok, say = check_receiver(over_tcp(iq.address), tmp_path)
    assert not ok
    assert sentence in say


@pytest.mark.parametrize("iq", [{"level_dbfs": -50.0, "k": 0.0, "wave": "nothing"}], indirect=True)
def test_a_receiver_that_is_silent_is_not_waited_for_without_end(
    iq: IqServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(receiving, "PATIENCE_S", 0.5)
    with pytest.raises(HearmarkError, match="sends no samples"):
        check_receiver(over_tcp(iq.address), tmp_path)


class Cards:
    """In place of the sound library: two cards, of which one has two inputs and brings noise at the pace of life."""

    class PortAudioError(Exception): ...

    @staticmethod
    def query_devices() -> list[dict[str, Any]]:
        return [{"name": "Speakers", "max_input_channels": 0}, {"name": "Receiver I/Q", "max_input_channels": 2}]

    class InputStream:
        def __init__(self, rate_hz: float, _: int, device: Any, channels: int, __: str, callback: Any) -> None:
            if device != "Receiver I/Q":
                raise Cards.PortAudioError("no such device")
            self._ends = threading.Event()
            self._thread = threading.Thread(target=self._run, args=(rate_hz, channels, callback), daemon=True)

        def _run(self, rate_hz: float, channels: int, callback: Any) -> None:
            rng, begun, sent = np.random.default_rng(3), time.monotonic(), 0
            while not self._ends.wait(max(0.0, begun + sent / rate_hz - time.monotonic())):
                data = (rng.standard_normal((960, channels)) * 0.01 / np.sqrt(2)).astype(np.float32)
                moment = SimpleNamespace(inputBufferAdcTime=sent / rate_hz)
                callback(data, 960, moment, SimpleNamespace(input_overflow=False))
                sent += 960

        def start(self) -> None:
            self._thread.start()

        def close(self) -> None:
            self._ends.set()


def test_a_sound_card_is_offered_and_heard(monkeypatch: pytest.MonkeyPatch, setup: SetUp) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", Cards)  # type: ignore[arg-type]
    assert setup.form()["cards"] == ["Receiver I/Q"]
    card = {"receiver__kind": "card", "receiver__device": "Receiver I/Q", "receiver__center_khz": "14025"}
    told = setup.check(asked("receiver", **card))
    assert told["ok"] is True, told["say"]
    assert told["say"].startswith("hearing -40 dBFS, ")
    untold = setup.check(asked("receiver", **{**card, "receiver__center_khz": "0"}))
    assert untold["ok"] is None
    assert "give the centre of its band" in untold["say"]
    other = setup.check(asked("receiver", **{**card, "receiver__device": "Line"}))
    assert other["ok"] is False
    assert "The sound card cannot be opened" in other["say"]


def recorded(folder: Path, name: str = "night") -> None:
    rng = np.random.default_rng(2)
    with SigmfWriter(folder / name, RATE_HZ) as writer:
        for n in range(5):
            noise = rng.standard_normal((2, 48_000)) * 0.01 / np.sqrt(2)
            writer.write(Block(n * 48_000, RATE_HZ, 14_025e3, (noise[0] + 1j * noise[1]).astype(np.complex64)))


def test_a_recording_is_chosen_from_its_folder_and_from_nowhere_else(tmp_path: Path) -> None:
    folder, outside = tmp_path / "in", tmp_path / "out"
    folder.mkdir()
    outside.mkdir()
    recorded(folder)
    recorded(outside, "secret")
    (folder / "link.sigmf-meta").symlink_to(outside / "secret.sigmf-meta")
    assert recordings(folder) == ["night.sigmf-meta"]
    ok, say = check_receiver(Receiver(kind="recording", file="night.sigmf-meta"), folder)
    assert ok
    assert say.startswith("hearing -40 dBFS, ")
    assert "14001.0 to 14049.0 kHz, 0.1 minutes" in say
    for name in ("../out/secret.sigmf-meta", str(outside / "secret.sigmf-meta"), "link.sigmf-meta", "", "none.wav"):
        with pytest.raises(HearmarkError, match="There is no recording"):
            check_receiver(Receiver(kind="recording", file=name), folder)


def test_each_part_says_what_it_found(setup: SetUp) -> None:
    given = {"station__call": "n0zz", "station__locator": "EN34", "station__licence": "us-general"}
    given |= {"radio__address": "simulated", "station__power_w": "100", "receiver__kind": "demo"}
    said = {part: setup.check(asked(part, **given)) for part in PARTS}
    assert [one["ok"] for one in said.values()] == [True] * 7
    assert said["call"]["say"] == "N0ZZ is in United States of America, CQ zone 4, ITU zone 7"
    assert said["place"]["say"].startswith("EN34 is 44.50° N, 93.00° W")
    assert "kHz for Morse" in said["licence"]["say"]
    assert "79.4 W at the antenna" in said["power"]["say"]
    assert "keep everybody" in said["power"]["say"]
    assert "at 12° on 10m" in said["antenna"]["say"]
    assert said["radio"]["say"].endswith("split works: tested and put back")
    nothing = {part: setup.check(asked(part))["ok"] for part in ("call", "place", "licence", "radio")}
    assert set(nothing.values()) == {None}
    far = setup.check(asked("place", station__call="VK2AA", station__locator="JO50"))
    assert far["ok"] is None
    assert "is it the place" in far["say"]


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"station.call": "nobody"}, "Own call sign: expected a call sign"),
        ({"station.locator": "here"}, "Own Maidenhead locator, 4 to 8 characters: expected"),
        ({"station.power_w": "much"}, "'much' is no number"),
        ({"station.power_w": "-5"}, "Transmitter output in watts: input should be greater"),
        ({"receiver.rate_hz": "nan"}, "Sample rate: "),
        ({"receiver.kind": "wish"}, "What to listen to: "),
        ({"receiver.swap_iq": "yes"}, "is yes or no"),
        ({"station.privileges": "/etc/passwd"}, "is not set here"),
        ({"receiver.folder": "/"}, "is not set here"),
        ({"log.store": "/tmp/x"}, "is not set here"),
        ({"antenna.name": "x" * 300}, "at most 200 characters"),
        ({"antenna.name": 'a"\nb'}, "one line"),
        ({"station.licence": "../../etc/passwd"}, ""),
    ],
)
def test_a_fault_is_one_sentence_and_nothing_is_written(setup: SetUp, values: dict[str, Any], sentence: str) -> None:
    body = json.dumps({"values": values}).encode()
    if not sentence:
        told = setup.check(json.dumps({"part": "licence", "values": values}).encode())
        assert told["ok"] is False
        assert "There is no privileges table" in told["say"]
        return
    with pytest.raises(HearmarkError, match=sentence) as caught:
        setup.save(body)
    assert "\n" not in str(caught.value)
    assert not setup.path.exists()


@pytest.mark.parametrize("body", [b"", b"[]", b"{", b'{"values": 3}', b'{"part": "x", "values": {}}', b"[" * 9000])
def test_nonsense_from_a_page_is_one_sentence(setup: SetUp, body: bytes) -> None:
    with pytest.raises(HearmarkError, match="reload the page"):
        setup.check(body)


def test_what_else_stands_in_the_file_stays(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text(
        '# mine\n[station]\ncall = "N0ZZ"  # since 1996\n[log]\nstore = "my.db"\n[[antenna]]\nname = "beam"\n'
        '[[antenna]]\nname = "wire"\nheight_m = 7\n'
    )
    told: list[Settings] = []
    setup = SetUp(read_settings(path), path, told.append)
    setup.save(asked("", station__locator="EN34", antenna__height_m="18", station__power_w="100"))
    text = path.read_text()
    assert "# mine" in text
    assert "# since 1996" in text
    assert "power_w" not in text, "what is as by default needs no line"
    found = read_settings(path)
    assert (found.station.locator, found.log.store) == ("EN34", "my.db")
    assert [(one.name, one.height_m) for one in found.antenna] == [("beam", 18.0), ("wire", 7.0)]
    assert told == [found]
    assert [entry.name for entry in tmp_path.iterdir()] == ["s.toml"]
    setup.save(asked("", station__power_w="50"))
    setup.save(asked("", station__power_w="100"))
    assert tomllib.loads(path.read_text())["station"]["power_w"] == 100.0


def test_a_file_that_is_broken_or_barred_is_named_and_left(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text("[station\n")
    with pytest.raises(HearmarkError, match="are not TOML"):
        write_settings(path, {"station": {"call": "N0ZZ"}})
    assert path.read_text() == "[station\n"
    (tmp_path / "file").write_text("")
    with pytest.raises(HearmarkError, match="Cannot write"):
        write_settings(tmp_path / "file" / "s.toml", {"station": {"call": "N0ZZ"}})


def test_the_usual_file_is_read_when_none_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert read_settings(None) == Settings()
    setup = SetUp(Settings())
    setup.save(asked("", station__call="n0zz"))
    assert read_settings(None).station.call == "N0ZZ"
    assert setup.path == tmp_path / "hearmark" / "settings.toml"


@pytest.fixture
def served(setup: SetUp) -> Iterator[Server]:
    with Server(LiveSession(stream(), ScriptedEngine(), VIEW), port=0, more=routes(setup)) as server:
        yield server


def opened(served: Server, chromium: Any, **options: Any) -> Any:
    page = chromium.new_context(viewport={"width": 1280, "height": 720}, **options).new_page()
    page.set_default_timeout(15_000)
    page.goto(served.url + "setup")
    until(page, "document.body.dataset.ready === 'true'")
    return page


def found(part: str) -> str:
    return f"document.querySelector('[data-part={part}] .found')"


def test_first_run_by_keyboard_alone(served: Server, setup: SetUp, chromium: Any) -> None:
    page = opened(served, chromium)

    def tab_to(name: str) -> None:
        for _ in range(60):
            if page.evaluate("document.activeElement.name || document.activeElement.ariaLabel") == name:
                return
            page.keyboard.press("Tab")
        pytest.fail(f"{name} is not reached by the Tab key")

    assert page.evaluate("document.activeElement.name") == "station.call"
    page.keyboard.type("n0zz")
    tab_to("Check call")
    page.keyboard.press("Enter")
    until(page, f"{found('call')}.dataset.ok === 'true'")
    assert "United States" in page.inner_text("[data-part=call] .found")
    tab_to("station.locator")
    page.keyboard.type("nowhere")
    page.keyboard.press("Enter")
    until(page, "document.getElementById('trouble').textContent.includes('locator')")
    assert page.inner_text("#saved") == "Not saved."
    assert not setup.path.exists()
    page.keyboard.press("Control+A")
    page.keyboard.type("EN34")
    tab_to("station.licence")
    page.keyboard.type("United States, G")
    tab_to("radio.address")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    until(page, f"{found('radio')}.textContent.includes('radio control answers at 127.0.0.1:4532')")
    assert page.evaluate("document.querySelector('[name=\"radio.address\"]').value") == "127.0.0.1:4532"
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Control+A")
    page.keyboard.type("simulated")
    tab_to("Check radio")
    page.keyboard.press("Enter")
    until(page, f"{found('radio')}.textContent.endsWith('split works: tested and put back')")
    page.focus("[name='station.call']")
    page.keyboard.press("Enter")
    until(page, "document.getElementById('saved').textContent.startsWith('Saved in')")
    assert page.inner_text("#trouble") == ""
    saved = read_settings(setup.path)
    assert (saved.station.call, saved.station.licence, saved.radio.address) == ("N0ZZ", "us-general", "simulated")
    page.reload()
    until(page, "document.querySelector('[name=\"station.locator\"]').value === 'EN34'")
    page.context.close()


def test_only_what_the_receiver_needs_is_asked_for(served: Server, chromium: Any) -> None:
    page = opened(served, chromium)
    shown = "[...document.querySelectorAll('[data-part=receiver] label')].filter((l) => l.offsetParent).length"
    counts = {}
    for kind in ("demo", "card", "tcp", "recording"):
        page.select_option("[name='receiver.kind']", kind)
        counts[kind] = page.evaluate(shown)
    assert counts == {"demo": 1, "card": 5, "tcp": 5, "recording": 3}
    page.context.close()


@pytest.mark.skipif(not AXE.is_file(), reason="axe-core is not installed (npm ci)")
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(served: Server, chromium: Any, scheme: str) -> None:
    page = opened(served, chromium, color_scheme=scheme)
    page.click("#all")
    until(page, f"{found('receiver')}.dataset.ok === 'true'")
    no_serious_fault(page)
    page.set_viewport_size({"width": 1024, "height": 768})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.context.close()
