"""The adapter against Hamlib's own daemon with its dummy radio (Debian: libhamlib-utils; `rigctld -m 1`)."""

import shutil
import socket
import subprocess
import time
from collections.abc import Iterator

import pytest

from hearmark.events import Event, Plan
from hearmark.radio.daemon import DaemonRadio
from hearmark.radio.keeper import Keeper, Wish
from hearmark.radio.moves import Moves
from hearmark.radio.port import KeyDown, RadioLost
from hearmark.radio.trial import find_control, try_split

PLAN = Plan(18_143_500.0, 18_148_500.0, 18_153_500.0, "usb")
CALL = 18_151_000.0
DAEMON = shutil.which("rigctld")
pytestmark = pytest.mark.skipif(
    DAEMON is None, reason="rigctld is not installed (Debian: apt-get install libhamlib-utils)"
)


class Daemon:
    """The daemon on a free port, as a process that can be killed and started again."""

    def __init__(self, *options: str) -> None:
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port: int = free.getsockname()[1]
        self.options = options
        self.start()

    def start(self) -> None:
        self.process = subprocess.Popen(
            [str(DAEMON), "-m", "1", "-T", "127.0.0.1", "-t", str(self.port), *self.options],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        for _ in range(200):
            try:
                socket.create_connection(("127.0.0.1", self.port), 0.5).close()
                return
            except OSError:
                time.sleep(0.05)
        pytest.fail("the daemon did not start")

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()

    def say(self, line: str) -> None:
        """What another program, or the operator's hand, does to the radio."""
        with socket.create_connection(("127.0.0.1", self.port), 2.0) as wire:
            wire.sendall(f"+{line}\n".encode())
            reply = b""
            while b"RPRT" not in reply:
                reply += wire.recv(1000)
            assert b"RPRT 0" in reply, reply


@pytest.fixture(params=["plain", "names"])
def daemon(request: pytest.FixtureRequest) -> Iterator[Daemon]:
    running = Daemon(*(["--vfo"] if request.param == "names" else []))
    yield running
    running.kill()


def test_set_follow_peek_and_back(daemon: Daemon) -> None:
    radio = DaemonRadio("127.0.0.1", daemon.port)
    moves = Moves(radio)
    outcome = moves.set(PLAN, CALL)
    assert outcome.ok, outcome
    assert (outcome.dials.receive_hz, outcome.dials.transmit_hz, outcome.dials.split) == (18_143_500.0, CALL, True)
    assert (outcome.dials.mode, outcome.dials.transmit_mode) == ("usb", "usb")
    assert moves.follow(PLAN, CALL + 1_000.0).dials.transmit_hz == CALL + 1_000.0
    assert moves.peek(PLAN, 18_149_000.0).dials.receive_hz == 18_149_000.0
    back = moves.back(PLAN)
    assert (back.dials.receive_hz, back.dials.transmit_hz) == (18_143_500.0, CALL + 1_000.0)
    assert moves.lock(True).dials.locked is True
    assert radio.signal_db() is not None
    radio.close()


def test_it_cannot_report_its_key_and_that_is_known(daemon: Daemon) -> None:
    radio = DaemonRadio("127.0.0.1", daemon.port)
    assert radio.abilities.key is False
    assert radio.read().keyed is None


def test_rit_and_xit(daemon: Daemon) -> None:
    radio = DaemonRadio("127.0.0.1", daemon.port)
    radio.set_rit(500.0)
    radio.set_xit(-300.0)
    dials = radio.read()
    assert (dials.rit_hz, dials.xit_hz) == (500.0, -300.0)
    assert Moves(radio).set(PLAN, CALL).ok
    dials = radio.read()
    assert (dials.rit_hz, dials.xit_hz) == (0.0, 0.0)


def test_nothing_is_written_while_it_is_keyed() -> None:
    running = Daemon("--vfo", "-P", "RIG")
    try:
        radio = DaemonRadio("127.0.0.1", running.port)
        assert radio.read().keyed is False
        running.say(r"\set_ptt VFOA 1")
        assert radio.keyed() is True
        before = radio.read()
        with pytest.raises(KeyDown):
            Moves(radio).set(PLAN, CALL)
        assert radio.read() == before
        running.say(r"\set_ptt VFOA 0")
        assert Moves(radio).set(PLAN, CALL).ok
    finally:
        running.kill()


def test_daemon_killed_and_back(daemon: Daemon) -> None:
    events: list[Event] = []
    told: list[tuple[bool, str]] = []
    keeper = Keeper(lambda: DaemonRadio("127.0.0.1", daemon.port), events.append, lambda: 0.0)
    keeper.plan = PLAN
    keeper.step()
    keeper.ask(Wish("set", CALL, told=lambda ok, why: told.append((ok, why))))
    keeper.step()
    assert told[-1][0], told
    daemon.kill()
    keeper.step()
    assert not keeper.status().connected
    assert "radio lost" in dict(keeper.status().warnings)
    with pytest.raises(RadioLost):
        DaemonRadio("127.0.0.1", daemon.port)
    daemon.start()
    for _ in range(100):
        keeper.step()
        if keeper.status().connected:
            break
        time.sleep(0.05)
    keeper.step()
    status = keeper.status()
    assert status.connected
    assert not status.is_set
    assert status.dials is not None
    assert status.dials.dial_hz == 145_000_000.0  # the dummy's own start: nothing was written after the return


@pytest.mark.parametrize("split", [False, True])
def test_split_is_tried_and_put_back(daemon: Daemon, split: bool) -> None:
    assert find_control([daemon.port]) == [f"127.0.0.1:{daemon.port}"]
    radio = DaemonRadio("127.0.0.1", daemon.port)
    radio.set_dial(18_143_500.0)
    if split:
        radio.set_split(True)
        radio.set_other(18_150_000.0)
    before = radio.read()
    found = try_split(radio)
    assert found.ok is True, found.say
    assert "tested and put back" in found.say
    after = radio.read()
    for name in ("dial_hz", "other_hz", "split", "mode", "rit_hz", "xit_hz", "locked"):
        assert getattr(after, name) == getattr(before, name), name
    radio.set_split(True)
    assert radio.read().other_hz == (18_150_000.0 if split else 146_000_000.0)
    radio.close()
