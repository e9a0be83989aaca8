"""Real radios through Hamlib's network daemon, over TCP, in its extended response protocol (manual page rigctld(1)).

Only the commands of `COMMANDS` can be put on the wire, with numbers and names made here: none of them transmits, and
no text from outside is ever part of a command. A reply that is late or not understood ends the connection, so that an
old reply is never taken for a new one.
"""

from __future__ import annotations

import contextlib
import math
import socket
import time
from typing import Literal, NoReturn, get_args

from hearmark.errors import HearmarkError
from hearmark.events import PlanMode
from hearmark.radio.port import Abilities, Dials, RadioLost, RadioRefused

PORT = 4532
TIMEOUT_S = 1.0
GREETINGS_S = (0.05, 0.2, 0.5)
"""Waits before another greeting: when one program leaves while the next comes, Hamlib 4.5's daemon closes the radio
and the newcomer's connection with it (measured: 4 in 100 connections straight after another's end)."""
Command = Literal[
    "get_freq", "set_freq", "get_mode", "set_mode", "get_split_vfo", "set_split_vfo", "get_split_freq",
    "set_split_freq", "get_split_mode", "set_split_mode", "get_rit", "set_rit", "get_xit", "set_xit", "get_func",
    "set_func", "get_ptt", "get_level", "get_vfo", "chk_vfo",
]  # fmt: skip
COMMANDS: frozenset[str] = frozenset(get_args(Command))
"""All that is ever sent. The key is read ("get_ptt") and never set."""
_OTHER = {"VFOA": "VFOB", "VFOB": "VFOA", "Main": "Sub", "Sub": "Main", "MainA": "MainB", "MainB": "MainA"}
_MODES: dict[str, PlanMode] = {"CW": "cw", "CWR": "cw", "USB": "usb", "LSB": "lsb", "AM": "am", "FM": "fm", "FMN": "fm"}
_NAMES: dict[PlanMode, str] = {"cw": "CW", "usb": "USB", "lsb": "LSB", "am": "AM", "fm": "FM"}
_LONGEST = 4096
_HIGHEST_HZ = 300e9


def address(text: str) -> tuple[str, int]:
    """HOST:PORT or HOST; raises HearmarkError."""
    host, _, port = text.rpartition(":") if ":" in text else (text, "", str(PORT))
    if not host or not port.isdigit() or not 0 < int(port) < 65_536:
        raise HearmarkError(f"'{text}' is no address of radio control; give HOST:PORT, like 127.0.0.1:{PORT}.")
    return host, int(port)


NOT_THERE = ("RPRT -4", "RPRT -11")
"""Not implemented, not available (Hamlib's rig.h, rig_errcode_e)."""


class NotThere(RadioRefused):
    """The radio has no such thing."""


class HungUp(RadioLost):
    """The other end has closed a connection that it had taken."""


class DaemonRadio:
    """A port over the daemon's connection. Raises RadioLost when nobody answers at `host`:`port`."""

    def __init__(self, host: str, port: int = PORT, timeout_s: float = TIMEOUT_S) -> None:
        self._where = f"{host}:{port}"
        self._socket: socket.socket | None = None
        self._rest = b""
        self._addressed = False
        self._main, self._other = "VFOA", "VFOB"
        self._has = Abilities()
        for patience_s in (*GREETINGS_S, None):
            try:
                self._connect(host, port, timeout_s)
                self._learn()
            except HungUp:
                if patience_s is None:
                    raise
                time.sleep(patience_s)
            except BaseException:
                self.close()
                raise
            else:
                break

    @property
    def abilities(self) -> Abilities:
        """What the radio answered to."""
        return self._has

    def read(self) -> Dials:
        """All dials now."""
        dial_hz = self._frequency(self._ask("get_freq", self._main), "Frequency")
        name = self._field(self._ask("get_mode", self._main), "Mode")
        split, other_hz, other_name = False, None, ""
        if self._has.split:
            split = self._is_split()
            with contextlib.suppress(RadioRefused):
                if self._addressed:
                    other_hz = self._frequency(self._ask("get_freq", self._other), "Frequency")
                    other_name = self._field(self._ask("get_mode", self._other), "Mode")
                elif split:
                    other_hz = self._frequency(self._ask("get_split_freq", self._main), "TX Frequency")
                    other_name = self._field(self._ask("get_split_mode", self._main), "TX Mode")
        return Dials(
            dial_hz,
            other_hz,
            split,
            _MODES.get(name),
            _MODES.get(other_name),
            self._shift("get_rit", "RIT") if self._has.rit else None,
            self._shift("get_xit", "XIT") if self._has.xit else None,
            self._switch() if self._has.lock else None,
            self.keyed(),
            name,
        )

    def keyed(self) -> bool | None:
        """The key; None when the radio does not report it."""
        if not self._has.key:
            return None
        try:
            return self._number(self._field(self._ask("get_ptt", self._main), "PTT")) != 0
        except NotThere:
            # The daemon answers from its memory for a while even for a radio that cannot tell
            return None

    def set_dial(self, hz: float) -> None:
        """Main dial."""
        self._tell("set_freq", self._main, self._hz(hz))

    def set_other(self, hz: float) -> None:
        """Transmit side: by its own name where the daemon takes names, else as the split frequency."""
        if self._addressed:
            self._tell("set_freq", self._other, self._hz(hz))
        else:
            self._tell("set_split_freq", self._main, self._hz(hz))

    def set_split(self, on: bool) -> None:
        """Split, transmit on the other dial."""
        self._tell("set_split_vfo", self._main, "1" if on else "0", self._other if on else self._main)

    def set_mode(self, mode: PlanMode) -> None:
        """Mode of the main dial; the width of its filter stays."""
        self._tell("set_mode", self._main, _NAMES[mode], "-1")

    def set_other_mode(self, mode: PlanMode) -> None:
        """Mode of the transmit side."""
        if self._addressed:
            self._tell("set_mode", self._other, _NAMES[mode], "-1")
        else:
            self._tell("set_split_mode", self._main, _NAMES[mode], "-1")

    def set_rit(self, hz: float) -> None:
        """RIT."""
        self._shift_to("set_rit", "RIT", hz)

    def set_xit(self, hz: float) -> None:
        """XIT."""
        self._shift_to("set_xit", "XIT", hz)

    def set_lock(self, on: bool) -> None:
        """Lock."""
        self._tell("set_func", self._main, "LOCK", "1" if on else "0")

    def signal_db(self) -> float | None:
        """Received level over S9."""
        try:
            return self._number(self._value(self._ask("get_level", self._main, "STRENGTH")))
        except RadioRefused:
            return None

    def close(self) -> None:
        """End the connection; the radio stays as it is."""
        gone, self._socket = self._socket, None
        if gone is not None:
            with contextlib.suppress(OSError):
                gone.close()

    # What the radio has

    def _connect(self, host: str, port: int, timeout_s: float) -> None:
        try:
            self._socket = socket.create_connection((host, port), timeout_s)
        except OSError as error:
            raise RadioLost(
                f"No radio control answers at {self._where} ({error.strerror or error}); start it, or mend the address."
            ) from None
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def _learn(self) -> None:
        self._send("chk_vfo", ())
        said = self._line()
        if not said.startswith("ChkVFO:") and said not in ("0", "1") and not said.startswith("CHKVFO"):
            self._lose(f"answers '{said[:40]}', which no radio control says")
        self._addressed = said.endswith("1")
        try:
            self._main = self._field(self._ask("get_vfo", self._main, named=False), "VFO")
        except RadioRefused:
            self._main = "VFOA"
        if self._main not in _OTHER:
            self._main = "VFOA"
        self._other = _OTHER[self._main]
        has = {
            "split": self._answers("get_split_vfo"), "rit": self._answers("get_rit"), "xit": self._answers("get_xit"),
            "lock": self._answers("get_func", "LOCK"), "key": self._answers("get_ptt"),
        }  # fmt: skip
        self._has = Abilities(**has, other=self._addressed)

    def _answers(self, command: Command, *words: str) -> bool:
        try:
            self._ask(command, self._main, *words)
        except RadioRefused:
            return False
        return True

    # Values

    def _is_split(self) -> bool:
        lines = self._ask("get_split_vfo", self._main)
        split = self._number(self._field(lines, "Split")) != 0
        side = self._field(lines, "TX VFO")
        # with transmit on the main dial, split is off whatever the switch says
        return split and side != self._main

    def _shift(self, command: Command, name: str) -> float:
        """RIT or XIT; a shift that is set but switched off counts as none, where the radio tells the switch."""
        shift_hz = self._number(self._field(self._ask(command, self._main), name))
        if shift_hz == 0.0:
            return 0.0
        try:
            return shift_hz if self._number(self._value(self._ask("get_func", self._main, name))) else 0.0
        except RadioRefused:
            return shift_hz

    def _shift_to(self, command: Command, name: str, hz: float) -> None:
        if not math.isfinite(hz) or abs(hz) > self._has.limit_hz:
            raise RadioRefused(f"{name} of {hz:g} Hz is beyond {self._has.limit_hz:g} Hz.")
        self._tell(command, self._main, f"{round(hz)}")
        with contextlib.suppress(RadioRefused):  # some switch by the shift alone
            self._tell("set_func", self._main, name, "1" if hz else "0")

    def _switch(self) -> bool:
        return self._number(self._value(self._ask("get_func", self._main, "LOCK"))) != 0

    def _frequency(self, lines: list[str], name: str) -> float:
        hz = self._number(self._field(lines, name))
        if not 0.0 < hz < _HIGHEST_HZ:
            self._lose(f"says {name} {hz:g}")
        return hz

    def _hz(self, hz: float) -> str:
        if not math.isfinite(hz) or not 0.0 < hz < _HIGHEST_HZ:
            raise RadioRefused(f"{hz!r} Hz is no frequency for a radio.")
        return f"{round(hz)}"

    def _field(self, lines: list[str], name: str) -> str:
        for line in lines:
            key, colon, value = line.partition(":")
            if colon and key.strip() == name:
                return value.strip()
        self._lose(f"leaves out '{name}'")

    def _value(self, lines: list[str]) -> str:
        """The last line of a reply that has no name in front of its value."""
        return lines[-1].partition(":")[2].strip() or lines[-1].strip() if lines else ""

    def _number(self, text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            self._lose(f"says '{text[:40]}' where a number belongs")
        return value

    # The wire

    def _tell(self, command: Command, *words: str) -> None:
        self._ask(command, *words)

    def _ask(self, command: Command, vfo: str, *words: str, named: bool = True) -> list[str]:
        """Send one command; the lines of its reply between the echo and the result."""
        self._send(command, (vfo, *words) if self._addressed and named else words)
        echo = self._line()
        if echo == "RPRT 0" or not echo:  # the end of an earlier reply that some versions send and others do not
            echo = self._line()
        if not echo.startswith(f"{command}:"):
            self._lose(f"answers '{echo[:40]}' to {command}")
        lines: list[str] = []
        while True:
            line = self._line()
            if line.startswith("RPRT"):
                break
            lines.append(line)
            if len(lines) > 50:
                self._lose("does not end its reply")
        if line in NOT_THERE:
            raise NotThere(f"The radio refuses {command} ({line}).")
        if line != "RPRT 0":
            raise RadioRefused(f"The radio refuses {command} ({line}).")
        return lines

    def _send(self, command: Command, words: tuple[str, ...]) -> None:
        """The only place that writes to the daemon."""
        if command not in COMMANDS or not all(word.isascii() and word and not word.isspace() for word in words):
            raise HearmarkError(f"'{command}' is no command that this program sends to a radio.")
        line = " ".join((f"+\\{command}", *words))
        if any(mark in line for mark in "\r\n;"):
            raise HearmarkError(f"'{command}' is no command that this program sends to a radio.")
        if self._socket is None:
            raise RadioLost(f"The connection to {self._where} is closed.")
        try:
            self._socket.sendall(line.encode("ascii") + b"\n")
        except OSError as error:
            self._lose(f"is gone ({error.strerror or error})", HungUp)

    def _line(self) -> str:
        while b"\n" not in self._rest:
            if self._socket is None:
                raise RadioLost(f"The connection to {self._where} is closed.")
            if len(self._rest) > _LONGEST:
                self._lose("sends a line without end")
            try:
                more = self._socket.recv(_LONGEST)
            except TimeoutError:
                self._lose("does not answer in time")
            except OSError as error:
                self._lose(f"is gone ({error.strerror or error})", HungUp)
            if not more:
                self._lose("has hung up", HungUp)
            self._rest += more
        line, _, self._rest = self._rest.partition(b"\n")
        return line.decode("ascii", "replace").strip()

    def _lose(self, what: str, kind: type[RadioLost] = RadioLost) -> NoReturn:
        self.close()
        self._rest = b""
        raise kind(f"The radio control at {self._where} {what}.")
