"""A node that passes spots over TCP, read only: we never send it a spot, nor any command.

The one thing ever sent is the user's call, once, if he gave one and the node asks for it. Whatever comes is bounded:
lines have a greatest length, the spots a greatest number, and what is dropped is counted. A node that goes silent or
away is tried again, each time later.
"""

from __future__ import annotations

import socket
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

from hearmark.chase.spots import SpotLine, read_spot
from hearmark.errors import HearmarkError

LONGEST_LINE = 1000
MOST_SPOTS = 5000
FIRST_WAIT_S, LAST_WAIT_S = 1.0, 60.0
CONNECT_S, SILENT_S = 10.0, 600.0
_IAC, _SB, _SE = 255, 250, 240
_WITH_OPTION = range(251, 255)
_ASKS = (b"login:", b"call:", b"callsign:", b"enter your call")


class Stripper:
    """Takes Telnet's own bytes (RFC 854) out of a stream, whatever pieces it comes in; nothing is answered."""

    def __init__(self) -> None:
        self._state = "text"

    def feed(self, data: bytes) -> bytes:
        """The text in these bytes."""
        if self._state == "text" and _IAC not in data:
            return data
        out = bytearray()
        for byte in data:
            if self._state == "text":
                if byte == _IAC:
                    self._state = "command"
                else:
                    out.append(byte)
            elif self._state == "command":
                self._state = "text"
                if byte == _IAC:
                    out.append(byte)
                elif byte in _WITH_OPTION:
                    self._state = "option"
                elif byte == _SB:
                    self._state = "inside"
            elif self._state == "option":
                self._state = "text"
            elif self._state == "inside":
                self._state = "inside command" if byte == _IAC else "inside"
            else:
                self._state = "text" if byte == _SE else "inside"
        return bytes(out)


class Lines:
    """Bytes to lines: ended by CR, LF or both; longer ones than LONGEST_LINE are dropped and counted."""

    def __init__(self) -> None:
        self._rest = bytearray()
        self._skipping = False
        self.dropped = 0

    @property
    def pending(self) -> bytes:
        """What came since the last line end."""
        return bytes(self._rest)

    def feed(self, data: bytes) -> list[str]:
        """The lines that these bytes end."""
        lines = []
        for piece in data.replace(b"\r", b"\n").splitlines(keepends=True):
            ended = piece.endswith(b"\n")
            if not self._skipping:
                self._rest += piece.rstrip(b"\n") if ended else piece
                if len(self._rest) > LONGEST_LINE:
                    self._rest.clear()
                    self._skipping = True
                    self.dropped += 1
            if ended:
                if not self._skipping and self._rest:
                    lines.append(_text(bytes(self._rest)))
                self._rest.clear()
                self._skipping = False
        return lines


def _text(raw: bytes) -> str:
    try:
        return raw.decode()
    except UnicodeDecodeError:
        return raw.decode("latin-1")


@dataclass(frozen=True, slots=True)
class NodeState:
    """What a person should see of the link. `dropped_spots`: oldest ones let go in a flood."""

    state: str
    spots: int
    lines: int
    dropped_spots: int
    dropped_lines: int
    tries: int
    trouble: str


def address_of(text: str) -> tuple[str, int]:
    """HOST:PORT. Raises HearmarkError if it is none."""
    host, colon, port = text.rpartition(":")
    if not colon or not host or not port.isascii() or not port.isdigit() or not 0 < int(port) < 65536:
        raise HearmarkError(f'"{text}" is no address of a node; write it like localhost:7300.')
    return host.strip("[]"), int(port)


class Node:
    """Reads a node in a thread of its own, from `start` to `stop`; `take` gives what came since."""

    def __init__(
        self,
        address: str,
        call: str = "",
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
        first_wait_s: float = FIRST_WAIT_S,
        silent_s: float = SILENT_S,
    ) -> None:
        self.host, self.port = address_of(address)
        self._call, self._clock, self._first_wait_s, self._silent_s = call, clock, first_wait_s, silent_s
        self._spots: deque[SpotLine] = deque(maxlen=MOST_SPOTS)
        self._lock = threading.Lock()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="hearmark-node", daemon=True)
        self._state, self._trouble = "waiting", ""
        self._lines = self._all = self._dropped_spots = self._dropped_lines = self._tries = 0

    def start(self) -> None:
        """Begins to read."""
        self._thread.start()

    def stop(self, timeout_s: float = 5.0) -> None:
        """Ends; returns when the thread has, or after `timeout_s`."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(timeout_s)

    def take(self) -> list[SpotLine]:
        """The spots that came since the last time, oldest first."""
        with self._lock:
            spots = list(self._spots)
            self._spots.clear()
        return spots

    def state(self) -> NodeState:
        """How the link is."""
        with self._lock:
            return NodeState(
                self._state,
                self._all,
                self._lines,
                self._dropped_spots,
                self._dropped_lines,
                self._tries,
                self._trouble,
            )

    def _run(self) -> None:
        wait_s = self._first_wait_s
        while not self._stopping.is_set():
            heard = 0
            try:
                self._set("connecting", self._trouble)
                with socket.create_connection((self.host, self.port), CONNECT_S) as link:
                    heard = self._read(link)
                why = "the node closed the link"
            except OSError as error:
                why = error.strerror or str(error) or "no answer"
            if self._stopping.is_set():
                break
            # A node that sent something was a real one: the next try may come soon
            wait_s = self._first_wait_s if heard else min(wait_s * 2, LAST_WAIT_S)
            self._set("away", why)
            self._stopping.wait(wait_s)
        self._set("ended", self._trouble)

    def _set(self, state: str, trouble: str) -> None:
        with self._lock:
            self._tries += state == "connecting"
            self._state, self._trouble = state, trouble

    def _read(self, link: socket.socket) -> int:
        """Reads until the link ends or says nothing for long; how many lines came."""
        link.settimeout(0.2)
        stripper, lines, count, silent_since, asked = Stripper(), Lines(), 0, self._clock(), False
        self._set("listening", "")
        while not self._stopping.is_set():
            try:
                data = link.recv(65536)
            except TimeoutError:
                if (self._clock() - silent_since).total_seconds() > self._silent_s:
                    raise OSError(f"nothing came for {self._silent_s:.0f} s") from None
                continue
            if not data:
                return count
            silent_since = self._clock()
            for line in lines.feed(stripper.feed(data)):
                count += 1
                self._keep(line)
                asked = self._answer(link, line.encode(), asked)
            asked = self._answer(link, lines.pending, asked)
            with self._lock:
                self._dropped_lines += lines.dropped
            lines.dropped = 0
        return count

    def _answer(self, link: socket.socket, said: bytes, asked: bool) -> bool:
        """Gives the user's call when the node asks who is there, once."""
        if asked or not self._call or not said.strip().lower().endswith(_ASKS):
            return asked
        link.sendall(self._call.encode("ascii", "ignore") + b"\r\n")
        return True

    def _keep(self, line: str) -> None:
        spot = read_spot(line, self._clock()) if line.lstrip()[:3].upper() == "DX " else None
        with self._lock:
            self._lines += 1
            if spot is not None:
                self._all += 1
                self._dropped_spots += len(self._spots) == MOST_SPOTS
                self._spots.append(spot)
