"""Servers that misbehave in place of Hamlib's daemon: each gives one clear sentence, and never a wrong frequency."""

import contextlib
import socket
import threading
import time
from collections.abc import Callable

import pytest

from hearmark.errors import HearmarkError
from hearmark.radio.daemon import DaemonRadio, address
from hearmark.radio.port import Abilities, RadioLost, RadioRefused

SAYS = {
    "get_freq": "Frequency: 18143500\nRPRT 0", "get_mode": "Mode: USB\nPassband: 2400\nRPRT 0",
    "get_vfo": "VFO: VFOA\nRPRT 0", "get_split_vfo": "Split: 1\nTX VFO: VFOB\nRPRT 0",
    "get_split_freq": "TX Frequency: 18151000\nRPRT 0", "get_split_mode": "TX Mode: USB\nTX Passband: 2400\nRPRT 0",
    "get_rit": "RIT: 0\nRPRT 0", "get_xit": "XIT: 0\nRPRT 0", "get_ptt": "PTT: 0\nRPRT 0", "get_func": "0\nRPRT 0",
    "get_level": "-10\nRPRT 0",
}  # fmt: skip
Reply = Callable[[str], str | None]


class Server:
    """Answers each command as `reply` says; None hangs up; a reply of "" is silence."""

    def __init__(self, reply: Reply) -> None:
        self.reply = reply
        self.lines: list[str] = []
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._server.accept()
            except OSError:
                return
            threading.Thread(target=self._serve, args=(client,), daemon=True).start()

    def _serve(self, client: socket.socket) -> None:
        with contextlib.suppress(ConnectionError), client, client.makefile("r") as wire:
            for line in wire:
                self.lines.append(line.strip())
                said = self.reply(line.strip().removeprefix("+\\").split(" ")[0])
                if said is None:
                    return
                try:
                    client.sendall(said.encode("latin-1"))
                except OSError:
                    return


def well(command: str, **others: str | None) -> str | None:
    """What a radio with everything says, but for `others`."""
    if command == "chk_vfo":
        return others.get("chk_vfo", "ChkVFO: 0\n")
    if command in others:
        said = others[command]
        return said if said is None or said == "" or "\n" in said else f"{command}:\n{said}\n"
    return f"{command}:\n{SAYS.get(command, 'RPRT 0')}\n"


def radio(timeout_s: float = 1.0, **others: str | None) -> tuple[DaemonRadio, dict[str, str | None], Server]:
    """A connected radio and what its server may be changed to say."""
    now: dict[str, str | None] = dict(others)
    server = Server(lambda command: well(command, **now))
    return DaemonRadio("127.0.0.1", server.port, timeout_s), now, server


def test_everything_is_read() -> None:
    port, _, _ = radio()
    dials = port.read()
    assert (dials.receive_hz, dials.transmit_hz, dials.split, dials.mode, dials.other_mode, dials.keyed) == (
        18_143_500.0, 18_151_000.0, True, "usb", "usb", False,
    )  # fmt: skip
    assert port.abilities == Abilities(other=False)
    assert port.signal_db() == -10.0


@pytest.mark.parametrize(
    ("others", "missing"),
    [
        ({"get_split_vfo": "RPRT -11"}, "split"),
        ({"get_rit": "RPRT -11"}, "rit"),
        ({"get_xit": "RPRT -4"}, "xit"),
        ({"get_func": "RPRT -11"}, "lock"),
        ({"get_ptt": "RPRT -11"}, "key"),
    ],
)
def test_a_radio_without_something_is_known_to_be_so(others: dict[str, str], missing: str) -> None:
    port, _, _ = radio(**others)
    assert getattr(port.abilities, missing) is False
    dials = port.read()
    assert dials.receive_hz == 18_143_500.0
    if missing == "key":
        assert dials.keyed is None
    if missing == "split":
        assert dials.split is False


def test_a_key_that_is_told_at_first_and_then_no_more_is_not_known() -> None:
    port, now, _ = radio()
    assert port.keyed() is False
    now["get_ptt"] = "RPRT -11"
    assert port.keyed() is None
    assert port.read().keyed is None
    now["get_ptt"] = "RPRT -6"
    with pytest.raises(RadioRefused, match="get_ptt"):
        port.keyed()


@pytest.mark.parametrize(
    ("command", "says", "sentence"),
    [
        ("get_freq", "Frequency: nonsense\nRPRT 0", "where a number belongs"),
        ("get_freq", "Frequency: nan\nRPRT 0", "where a number belongs"),
        ("get_freq", "Frequency: 0\nRPRT 0", "says Frequency 0"),
        ("get_freq", "Frequency: -5\nRPRT 0", "says Frequency -5"),
        ("get_freq", "RPRT 0", "leaves out 'Frequency'"),
        ("get_freq", "get_mode:\nMode: USB\nRPRT 0\n", "answers 'get_mode:' to get_freq"),
        ("get_freq", "\x00\xff\xfe garbage\n", "answers '"),
        ("get_freq", "x" * 9000, "sends a line without end"),
        ("get_freq", "get_freq:\n" + "more\n" * 100, "does not end its reply"),
        ("get_freq", "", "does not answer in time"),
        ("get_freq", "get_freq:\nFreq", "does not answer in time"),
        ("get_freq", None, "has hung up"),
        ("get_ptt", "PTT: maybe\nRPRT 0", "where a number belongs"),
    ],
)
def test_garbled_slow_or_missing_replies_end_the_connection(command: str, says: str | None, sentence: str) -> None:
    port, now, server = radio()
    if says is not None and "\n" in says and not says.startswith(("get_", "\x00", "x")):
        says = f"{command}:\n{says}\n"
    now[command] = says
    with pytest.raises(RadioLost, match=sentence):
        port.read()
    sent = len(server.lines)
    with pytest.raises(RadioLost, match="is closed"):
        port.set_dial(18_150_000.0)
    assert len(server.lines) == sent


def test_a_refused_command_is_told_and_the_connection_stays() -> None:
    port, now, _ = radio()
    now["set_freq"] = "RPRT -9"
    with pytest.raises(RadioRefused, match=r"refuses set_freq \(RPRT -9\)"):
        port.set_dial(18_150_000.0)
    now.clear()
    assert port.read().dial_hz == 18_143_500.0


def test_a_late_reply_is_never_taken_for_a_new_one() -> None:
    port, _, server = radio()

    def slow(command: str) -> str | None:
        if command == "get_freq":
            time.sleep(1.5)
        return well(command)

    server.reply = slow
    with pytest.raises(RadioLost, match="in time"):
        port.read()
    time.sleep(1.0)
    with pytest.raises(RadioLost, match="is closed"):
        port.read()


@pytest.mark.parametrize(("command", "times"), [("chk_vfo", 1), ("get_split_vfo", 2), ("get_vfo", 3)])
def test_a_daemon_that_closes_with_the_last_to_leave_is_greeted_again(command: str, times: int) -> None:
    hung_up = 0

    def leaving(said: str) -> str | None:
        nonlocal hung_up
        if said == command and hung_up < times:
            hung_up += 1
            return None
        return well(said)

    server = Server(leaving)
    assert DaemonRadio("127.0.0.1", server.port).read().dial_hz == 18_143_500.0
    assert hung_up == times


def test_one_that_always_hangs_up_is_no_radio() -> None:
    server = Server(lambda _: None)
    with pytest.raises(RadioLost, match="has hung up"):
        DaemonRadio("127.0.0.1", server.port)
    assert len(server.lines) == 4


def test_nobody_there() -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        number = free.getsockname()[1]
    with pytest.raises(
        RadioLost, match=r"No radio control answers at 127\.0\.0\.1:\d+ .*start it, or mend the address"
    ):
        DaemonRadio("127.0.0.1", number)


def test_some_other_server() -> None:
    server = Server(lambda _: "HTTP/1.1 400 Bad Request\n")
    with pytest.raises(RadioLost, match=r"answers 'HTTP/1\.1 400 Bad Request', which no radio control says"):
        DaemonRadio("127.0.0.1", server.port)


def test_transmit_on_the_main_dial_is_no_split() -> None:
    port, _, _ = radio(get_split_vfo="get_split_vfo:\nSplit: 1\nTX VFO: VFOA\nRPRT 0\n")
    assert port.read().split is False


@pytest.mark.parametrize(
    ("text", "expected"), [("127.0.0.1:4532", ("127.0.0.1", 4532)), ("shack", ("shack", 4532)), ("a:1", ("a", 1))]
)
def test_addresses(text: str, expected: tuple[str, int]) -> None:
    assert address(text) == expected


@pytest.mark.parametrize("text", ["", ":", "a:", "a:b", "a:0", "a:99999", ":4532"])
def test_what_is_no_address(text: str) -> None:
    with pytest.raises(HearmarkError, match="is no address of radio control"):
        address(text)
