"""No module can put a transmit command on the wire: shown from the source, and from what goes over the wire."""

import ast
import inspect
import re
import socket
import threading
from pathlib import Path
from typing import Any, get_type_hints

import pytest

import hearmark
from hearmark.errors import HearmarkError
from hearmark.events import Plan
from hearmark.radio.daemon import COMMANDS, DaemonRadio
from hearmark.radio.moves import Moves
from hearmark.radio.port import Port

PACKAGE = Path(hearmark.__file__).parent
SOURCES = {path.relative_to(PACKAGE).as_posix(): ast.parse(path.read_text()) for path in PACKAGE.rglob("*.py")}
TRANSMITS = re.compile(
    r"set_ptt|send_morse|stop_morse|wait_morse|send_voice|send_dtmf|send_cmd|vfo_op|set_powerstat|VOX|TUNER?\b|set_parm",
    re.I,
)
"""Commands and switches of the daemon's manual page that transmit, can start a transmission, or pass raw bytes on."""


def strings(tree: ast.AST) -> list[str]:
    docs = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef))
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs
    ]


def test_the_port_has_no_call_that_transmits() -> None:
    calls = {name for name, _ in inspect.getmembers(Port, inspect.isfunction) if not name.startswith("_")}
    assert calls == {
        "read", "keyed", "set_dial", "set_other", "set_split", "set_mode", "set_other_mode", "set_rit", "set_xit",
        "set_lock", "signal_db", "close",
    }  # fmt: skip
    assert "key" not in get_type_hints(Port)


def test_no_source_of_the_room_names_a_transmit_command() -> None:
    found = {
        (name, text)
        for name, tree in SOURCES.items()
        if name.startswith(("radio/", "commands/radio"))
        for text in strings(tree)
        if TRANSMITS.search(text)
    }
    assert found == set()
    assert not any(TRANSMITS.search(command) for command in COMMANDS)


def test_only_one_place_writes_to_a_radio() -> None:
    """Radios are written to in `DaemonRadio._send` alone; no serial lines, no subprocess, no foreign library."""
    writes = {
        (name, function.name)
        for name, tree in SOURCES.items()
        for function in ast.walk(tree)
        if isinstance(function, (ast.FunctionDef, ast.AsyncFunctionDef))
        for node in ast.walk(function)
        if isinstance(node, ast.Attribute) and node.attr in ("sendall", "sendto", "sendmsg", "makefile")
    }
    # the reader of spots gives the user's call once, when a node's prompt asks for it: no radio control prompts
    assert writes == {("radio/daemon.py", "_send"), ("chase/node.py", "_answer")}
    imported = {
        alias.name.split(".")[0]
        for name, tree in SOURCES.items()
        if name.startswith(("radio/", "duplex/", "commands/", "web/"))
        for node in ast.walk(tree)
        if isinstance(node, (ast.Import, ast.ImportFrom))
        for alias in (node.names if isinstance(node, ast.Import) else [ast.alias(node.module or "")])
    }
    assert not imported & {"serial", "Hamlib", "subprocess", "usb", "ctypes", "cffi", "pty", "termios", "RPi"}


VALUES = {
    "get_freq": "Frequency: 18143500", "get_mode": "Mode: USB\nPassband: 2400", "get_vfo": "VFO: VFOA",
    "get_split_vfo": "Split: 1\nTX VFO: VFOB", "get_split_freq": "TX Frequency: 18151000",
    "get_split_mode": "TX Mode: USB\nTX Passband: 2400", "get_rit": "RIT: 0", "get_xit": "XIT: 0",
    "get_ptt": "PTT: 0",
    "get_func": "0", "get_level": "-10",
}  # fmt: skip


class Recorder:
    """Answers like a radio that has everything, and keeps every byte that was sent to it."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        client, _ = self._server.accept()
        with client, client.makefile("rw", newline="\n") as wire:
            for line in wire:
                self.lines.append(line)
                command = line.strip().removeprefix("+\\").split(" ")[0]
                if command == "chk_vfo":
                    wire.write("ChkVFO: 0\n")
                else:
                    value = VALUES.get(command)
                    wire.write(f"{command}:\n" + (f"{value}\n" if value else "") + "RPRT 0\n")
                wire.flush()


def test_everything_that_can_be_done_sends_only_listed_commands() -> None:
    recorder = Recorder()
    radio = DaemonRadio("127.0.0.1", recorder.port)
    plan = Plan(18_143_500.0, 18_148_500.0, 18_153_500.0, "usb")
    moves = Moves(radio)
    moves.set(plan, 18_151_000.0)
    moves.follow(plan, 18_151_000.0)
    moves.peek(plan, 18_143_500.0)
    moves.back(plan)
    moves.lock(True)
    for mode in ("cw", "usb", "lsb", "am", "fm"):
        radio.set_mode(mode)
        radio.set_other_mode(mode)
    radio.set_split(False)
    radio.set_rit(100.0)
    radio.set_xit(-100.0)
    radio.signal_db()
    radio.keyed()
    radio.close()
    assert len(recorder.lines) > 30
    word = r"(-?\d+|VFO[AB]|CW|USB|LSB|AM|FM|LOCK|RIT|XIT|STRENGTH)"
    for line in recorder.lines:
        assert re.fullmatch(rf"\+\\({'|'.join(sorted(COMMANDS))})( {word})*\n", line), line
        assert not TRANSMITS.search(line)
        assert "set_ptt" not in line


@pytest.mark.parametrize(
    "bad", ["set_ptt", "T 1", "send_morse", "get_freq\n\\set_ptt 1", "w", "", "set_func VOX 1", "dump_caps"]
)
def test_no_other_command_and_no_second_line_can_be_smuggled_in(bad: Any) -> None:
    recorder = Recorder()
    radio = DaemonRadio("127.0.0.1", recorder.port)
    before = len(recorder.lines)
    with pytest.raises(HearmarkError, match="is no command that this program sends to a radio"):
        radio._send(bad, ())
    for words in (("1\n\\set_ptt", "1"), ("1;T", "1"), ("1\r",), ("",), ("ä",)):
        with pytest.raises(HearmarkError, match="is no command"):
            radio._send("set_freq", words)
    for value in (float("nan"), float("inf"), -1.0, 1e15):
        with pytest.raises(HearmarkError):
            radio.set_dial(value)
    with pytest.raises(KeyError):
        radio.set_mode("USB\n\\set_ptt 1")  # type: ignore[arg-type]
    radio.close()
    assert len(recorder.lines) == before
