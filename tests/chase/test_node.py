"""A node that misbehaves, on this machine: floods, cuts, Telnet bytes, bad text, silence."""

import socket
import threading
import time
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hearmark.chase.node import LONGEST_LINE, MOST_SPOTS, Lines, Node, Stripper, address_of
from hearmark.errors import HearmarkError

GOOD = b"DX de N0AA:      18143.5  T0ST         up 5-10                        1828Z\r\n"
Behaviour = Callable[[socket.socket], None]


class Server:
    """Serves each link that comes with the next behaviour, on 127.0.0.1; keeps all that was sent to it."""

    def __init__(self, *behaviours: Behaviour) -> None:
        self.received = b""
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.address = f"127.0.0.1:{self._listener.getsockname()[1]}"
        self._thread = threading.Thread(target=self._serve, args=(behaviours,), daemon=True)
        self._thread.start()

    def _serve(self, behaviours: tuple[Behaviour, ...]) -> None:
        for behaviour in behaviours:
            link, _ = self._listener.accept()
            with link:
                try:
                    behaviour(link)
                    link.settimeout(0.3)
                    while data := link.recv(1000):
                        self.received += data
                except OSError:
                    pass

    def close(self) -> None:
        self._listener.close()


def wait_for(node: Node, ready: Callable[[], bool]) -> None:
    until = time.monotonic() + 10.0
    while not ready() and time.monotonic() < until:
        time.sleep(0.01)
    assert ready(), node.state()


def reads(node: Node, wanted: int) -> list[str]:
    calls: list[str] = []

    def ready() -> bool:
        calls.extend(spot.call for spot in node.take())
        return len(calls) >= wanted

    node.start()
    wait_for(node, ready)
    node.stop()
    return calls


def test_good_node_is_read_and_nothing_is_sent() -> None:
    server = Server(lambda link: link.sendall(b"login: " + b"\r\nWelcome\r\n" + GOOD * 3))
    assert reads(Node(server.address), 3) == ["T0ST"] * 3
    server.close()
    assert server.received == b""


def test_call_is_given_once_when_asked() -> None:
    def behave(link: socket.socket) -> None:
        link.sendall(b"\xff\xfb\x01Please enter your call: ")
        link.settimeout(5.0)
        assert link.recv(100) == b"N0ZZ\r\n"
        link.sendall(b"login: \r\n" + GOOD)

    server = Server(behave)
    assert reads(Node(server.address, "N0ZZ"), 1) == ["T0ST"]
    server.close()
    assert server.received == b""


def test_link_that_is_cut_is_tried_again() -> None:
    server = Server(
        lambda link: link.sendall(GOOD[:30]),
        lambda link: link.close(),
        lambda link: link.sendall(GOOD),
    )
    node = Node(server.address, first_wait_s=0.01)
    assert reads(node, 1) == ["T0ST"]
    assert node.state().tries >= 3
    server.close()


def test_flood_is_bounded_and_counted() -> None:
    total = MOST_SPOTS * 3
    server = Server(lambda link: link.sendall(GOOD * total))
    node = Node(server.address)
    node.start()
    wait_for(node, lambda: node.state().spots == total)
    assert len(node.take()) == MOST_SPOTS
    assert node.state().dropped_spots == total - MOST_SPOTS
    node.stop()
    server.close()


def test_endless_line_is_dropped_and_what_follows_is_read() -> None:
    server = Server(lambda link: link.sendall(b"x" * 3_000_000 + b"\r\n" + GOOD))
    node = Node(server.address)
    assert reads(node, 1) == ["T0ST"]
    assert node.state().dropped_lines == 1
    server.close()


def test_bad_text_and_telnet_bytes_do_no_harm() -> None:
    telnet = GOOD[:20] + b"\xff\xfb\x01" + GOOD[20:40] + b"\xff\xfa\x18\x00xx\xff\xf0" + GOOD[40:]
    umlaut = GOOD.replace(b"up 5-10", b"gr\xfc\xdf")
    server = Server(lambda link: link.sendall(b"\x00\x01\x80\xff\xff\x07\r\n" + telnet + umlaut))
    assert reads(Node(server.address), 2) == ["T0ST", "T0ST"]
    server.close()


def test_silence_ends_the_link_and_is_told() -> None:
    server = Server(lambda link: time.sleep(1.0))
    node = Node(server.address, first_wait_s=5.0, silent_s=0.2)
    node.start()
    wait_for(node, lambda: node.state().state == "away")
    assert "nothing came for" in node.state().trouble
    node.stop()
    server.close()


def test_node_that_is_not_there_is_told() -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        address = f"127.0.0.1:{free.getsockname()[1]}"
    node = Node(address, first_wait_s=5.0)
    node.start()
    wait_for(node, lambda: node.state().state == "away")
    assert "refused" in node.state().trouble
    node.stop()


@pytest.mark.parametrize("text", ["", "localhost", "localhost:", ":7300", "localhost:seven", "localhost:70000"])
def test_address_that_is_none(text: str) -> None:
    with pytest.raises(HearmarkError, match="is no address of a node"):
        address_of(text)


@settings(max_examples=200, derandomize=True)
@given(st.binary(max_size=300), st.lists(st.integers(1, 20), max_size=30))
def test_pieces_do_not_matter(data: bytes, sizes: list[int]) -> None:
    def read(pieces: list[bytes]) -> tuple[list[str], bytes]:
        stripper, lines = Stripper(), Lines()
        found = [line for piece in pieces for line in lines.feed(stripper.feed(piece))]
        return found, lines.pending

    pieces, rest = [], data
    for size in sizes:
        pieces.append(rest[:size])
        rest = rest[size:]
    assert read([*pieces, rest]) == read([data])


def test_longest_line_is_kept() -> None:
    assert Lines().feed(b"x" * LONGEST_LINE + b"\n") == ["x" * LONGEST_LINE]
