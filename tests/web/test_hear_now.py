"""Something else to hear, from the set-up: the pages stay, the gap is shown, an error leaves all as it is."""

import json
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from conftest import no_serious_fault, reads, until
from script import CENTER_HZ, DX_HZ, RATE_HZ, VIEW, ScriptedEngine, stream

from hearmark.commands.live import Live
from hearmark.errors import HearmarkError
from hearmark.listening import Heard, Wish, begun, open_live
from hearmark.settings import Settings, settings_from
from hearmark.sources.recording import SigmfWriter
from hearmark.web.live import LiveSession
from hearmark.web.relay import Relay
from hearmark.web.server import Server
from hearmark.web.setup import SetUp, routes

MODEL = "globalThis.hearmark.model"
DX_KHZ = DX_HZ / 1000.0


def tape(folder: Path, name: str = "night") -> None:
    """Forty seconds of the script's tones, as a recording."""
    with SigmfWriter(folder / name, RATE_HZ) as writer:
        for block in stream(duration_s=40.0):
            writer.write(block)


def scripted(seconds: float = 600.0) -> Heard:
    low_hz, high_hz = VIEW.window_low_hz, VIEW.window_high_hz
    return Heard("Scripted", stream(0.0, seconds), DX_HZ, "usb", low_hz, high_hz, RATE_HZ, True, VIEW.transmit_hz, True)


class Tcp:
    """I/Q of noise over the network, to one who connects after the other."""

    def __init__(self, sends: bool = True) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.address = f"127.0.0.1:{self._listener.getsockname()[1]}"
        self.connections, self._sends = 0, sends
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            self.connections += 1
            if self._sends:
                threading.Thread(target=self._send, args=(client,), daemon=True).start()

    @staticmethod
    def _send(client: socket.socket) -> None:
        rng, sent, began = np.random.default_rng(7), 0, time.monotonic()
        with client:
            while True:
                noise = rng.standard_normal((2400, 2)) * 0.01
                try:
                    client.sendall(noise.astype("<f4").tobytes())
                except OSError:
                    return
                sent += 2400
                time.sleep(max(0.0, began + sent / RATE_HZ - time.monotonic()))

    def close(self) -> None:
        self._listener.close()


@pytest.fixture
def receiver() -> Iterator[Tcp]:
    server = Tcp()
    yield server
    server.close()


def over(address: str) -> Settings:
    given = {"kind": "tcp", "address": address, "format": "cf32_le", "center_khz": CENTER_HZ / 1000.0}
    return settings_from({"receiver": given})


@pytest.fixture
def live() -> Iterator[Live]:
    made = Live(scripted(), Settings())
    made.relay.start()
    yield made
    made.relay.stop()
    made.close()


def test_a_receiver_takes_the_place_of_the_demo_and_is_heard_on_for_another_dx(live: Live, receiver: Tcp) -> None:
    demo = live.relay.session
    said = live.change(over(receiver.address), DX_KHZ, "cw", "up 5 to 10")
    assert said == "Heard now: Live, the DX on 18143.50 kHz in CW, listening +5.0 to +10.0 kHz from him."
    first = live.relay.session
    assert first is not demo
    assert demo.join(0.0)
    assert first.unheard_s is not None
    assert 0.0 < first.unheard_s < 6.0
    assert (first.view.dx_hz, first.view.window_low_hz, first.view.pausable) == (DX_HZ, DX_HZ + 5000.0, False)
    reached_s = first._now_s
    live.change(over(receiver.address), DX_KHZ - 5.0, "cw", "up 2")
    assert live.relay.session is not first
    assert live.relay.session.view.dx_hz == DX_HZ - 5000.0
    assert receiver.connections == 1, "the receiver that runs is heard on"
    assert live.relay.session._now_s >= reached_s, "its clock goes on"


@pytest.mark.parametrize(
    ("dx_khz", "window", "sentence"),
    [
        (14_025.0, "up", "out of reach"),
        (DX_KHZ, "sideways", "is not understood"),
        (18.1435, "up", "looks like MHz; give it in kHz: 18143.5"),
        (DX_KHZ, "simplex", "no window to watch"),
        (float("nan"), "up", "is no frequency"),
        (None, "up", "The frequency of the DX is not known"),
    ],
)
def test_an_error_is_one_sentence_and_what_was_heard_goes_on(
    live: Live, receiver: Tcp, dx_khz: float | None, window: str, sentence: str
) -> None:
    before = live.relay.session
    with pytest.raises(HearmarkError, match=sentence) as caught:
        live.change(over(receiver.address), dx_khz, "cw", window)
    assert "\n" not in str(caught.value)
    assert "--" not in str(caught.value).replace("add --dx KHZ", "")
    now_s = before._now_s
    time.sleep(0.4)
    assert live.relay.session is before
    assert before._now_s > now_s


def test_a_receiver_that_does_not_answer_or_sends_nothing_leaves_all_as_it_is(live: Live) -> None:
    before, silent = live.relay.session, Tcp(sends=False)
    with pytest.raises(HearmarkError, match="Nothing answers at"):
        live.change(over("127.0.0.1:9"), DX_KHZ, "cw", "up")
    with pytest.raises(HearmarkError, match="no samples came"):
        begun(open_live(Wish(dx_hz=DX_HZ, mode="cw"), over(silent.address)), patience_s=0.5)
    silent.close()
    assert live.relay.session is before
    assert not before.join(0.0)


def test_no_file_outside_the_chosen_folder_is_heard(tmp_path: Path) -> None:
    folder, outside = tmp_path / "in", tmp_path / "out"
    folder.mkdir()
    outside.mkdir()
    tape(outside, "secret")
    heard: list[object] = []
    setup = SetUp(
        settings_from({"receiver": {"folder": str(folder)}}), tmp_path / "s.toml", hear=lambda *a: str(heard.append(a))
    )
    for name in ("../out/secret.sigmf-meta", str(outside / "secret.sigmf-meta"), "", "/etc/passwd"):
        body = {
            "values": {"receiver.kind": "recording", "receiver.file": name},
            "dx_khz": "18143.5",
            "mode": "",
            "says": "",
        }
        with pytest.raises(HearmarkError, match="There is no recording"):
            setup.hear(json.dumps(body).encode())
    assert heard == []


def test_a_recording_of_the_folder_is_heard_and_the_page_shows_the_gap(tmp_path: Path, new_page: Any) -> None:
    tape(tmp_path)
    settings = settings_from({"receiver": {"folder": str(tmp_path)}})
    live = Live(scripted(), settings)
    engine = ScriptedEngine()
    relay = Relay(LiveSession(stream(24.0), engine, VIEW))
    live.relay = relay
    setup = SetUp(settings, tmp_path / "s.toml", hear=live.change)
    with Server(relay, port=0, more=routes(setup)) as server:
        air = new_page(server.url)
        until(air, f"{MODEL}.turns.size > 1 && {MODEL}.answers.size > 0")
        form = air.context.new_page()
        form.goto(server.url + "setup")
        until(form, "document.body.dataset.ready === 'true'")
        form.select_option("[name='receiver.kind']", "recording")
        form.select_option("[name='receiver.file']", "night.sigmf-meta")
        # Too far away first: one sentence, and the pile-up goes on
        form.fill("#hear-dx", "14025")
        form.click("#hear-now")
        until(form, "document.getElementById('hear-told').dataset.ok === 'false'")
        reads(form, "#hear-told", "out of reach: the samples cover 18123.0 to 18171.0 kHz")
        at = air.evaluate(f"{MODEL}.nowS")
        until(air, f"{MODEL}.nowS > {at} + 0.3 && {MODEL}.title === 'Scripted pile-up'")
        # The same DX: what was marked before stands above the gap
        form.fill("#hear-dx", "18143,5")
        form.select_option("#hear-mode", "usb")
        form.fill("#hear-says", "up 5 to 10")
        form.press("#hear-says", "Enter")
        until(form, "document.getElementById('hear-told').dataset.ok === 'true'", 40.0)
        reads(form, "#hear-told", "Heard now: night.sigmf-meta, the DX on 18143.50 kHz in USB")
        assert form.inner_text("#saved").startswith("Nothing saved yet")
        no_serious_fault(form)
        until(air, f"{MODEL}.title === 'night.sigmf-meta'")
        assert air.evaluate(f"{MODEL}.link") == "open", "the link was never lost"
        gap = air.evaluate(f"{MODEL}.unlinked.at(-1)")
        assert gap["why"] == "changed"
        assert gap["stop_s"] > gap["start_s"]
        assert air.evaluate(f"[...{MODEL}.answers.values()].some((a) => a.earlier)")
        assert "were not heard" in air.evaluate(f"{MODEL}.notice")
        until(air, f"{MODEL}.nowS > 3 && {MODEL}.status.state === 'running'")
        # Another DX: nothing of the one before, but the gap
        form.fill("#hear-dx", "18140")
        form.click("#hear-now")
        until(air, f"{MODEL}.dxHz === 18140000", 40.0)
        assert air.evaluate(f"{MODEL}.answers.size") == 0
        assert air.evaluate(f"{MODEL}.rungs().length") >= 1, "the gap has a rung of its own"
        assert "Another DX" in air.evaluate(f"{MODEL}.notice")
        air.bring_to_front()
        air.screenshot(path=str(tmp_path / "gap.png"))
        form.bring_to_front()
        form.screenshot(path=str(tmp_path / "form.png"), full_page=True)


@pytest.fixture
def started(demo: str, tmp_path: Path) -> str:
    """`hearmark listen --demo` in a folder with a recording."""
    tape(tmp_path)
    return demo


def test_from_the_demo_to_a_recording_without_a_new_start(started: str, new_page: Any) -> None:
    air = new_page(started)
    until(air, f"{MODEL}.title.startsWith('Demo') && {MODEL}.nowS > 1", 40.0)
    form = air.context.new_page()
    form.goto(started + "setup")
    until(form, "document.body.dataset.ready === 'true'")
    form.select_option("[name='receiver.kind']", "recording")
    form.select_option("[name='receiver.file']", "night.sigmf-meta")
    form.fill("#hear-dx", "18143.5")
    form.fill("#hear-says", "up 5 to 10")
    form.click("#hear-now")
    until(form, "document.getElementById('hear-told').dataset.ok === 'true'", 60.0)
    until(air, f"{MODEL}.title === 'night.sigmf-meta' && {MODEL}.mode === 'usb' && {MODEL}.nowS > 2", 40.0)
    window = air.evaluate(f"[{MODEL}.window.low_hz - {MODEL}.dxHz, {MODEL}.window.high_hz - {MODEL}.dxHz]")
    assert window == [5000, 10_000]
    form.select_option("[name='receiver.kind']", "demo")
    form.click("#hear-now")
    until(air, f"{MODEL}.title.startsWith('Demo') && {MODEL}.status.state === 'running'", 60.0)
