"""Finding a radio's control on this machine, and trying whether its split can be set: everything is put back.

A trial moves the transmit side by a kilohertz and switches split on, reads both back, and leaves the radio as it was.
Split that is on stays on: switched off, a key-down would fall on the receive dial, and there may be a DX. Nothing is
written while the key is down, and nothing here could press it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from hearmark.duplex.bands import band_of
from hearmark.errors import HearmarkError
from hearmark.radio.daemon import PORT, DaemonRadio
from hearmark.radio.moves import Moves
from hearmark.radio.order import Step, same, shown
from hearmark.radio.port import Dials, KeyDown, Port, RadioLost

HERE = "127.0.0.1"
PORTS = tuple(range(PORT, PORT + 8, 2)) + tuple(range(PORT + 1, PORT + 8, 2))
"""Where radio control usually listens: rigctld(1) names the first; two apart for further radios, common practice."""
FIND_S = 1.5
"""So long an open port may think: one where nobody listens refuses at once; a daemon may be slow on a busy machine."""
AWAY_HZ = 1_000.0
TRIES = 3
"""Hamlib's daemon leaves out a command that would set what it remembers from half a second ago: said again, it acts."""
KEY_WAIT_S = 20.0
"""For so long a trial waits to put things back when the operator began to send in its middle."""


@dataclass(frozen=True, slots=True)
class Trial:
    """What came of it. `ok` None: the radio answers, and split can only be set at the radio itself."""

    ok: bool | None
    say: str
    dials: Dials


def find_control(ports: Iterable[int] = PORTS, host: str = HERE) -> list[str]:
    """Addresses on this machine where radio control answers, in order."""
    found = []
    for port in ports:
        try:
            DaemonRadio(host, port, FIND_S).close()
        except HearmarkError:
            continue
        found.append(f"{host}:{port}")
    return found


def try_split(
    port: Port,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> Trial:
    """Set split and the transmit side, read them back, put them back. Raises KeyDown, RadioLost, RadioRefused."""
    before = port.read()
    try:
        return _tried(port, before, clock, sleep)
    except RadioLost as error:
        raise RadioLost(f"Do not send before you have looked at the radio: it was lost in a test. {error}") from None


def _tried(port: Port, before: Dials, clock: Callable[[], float], sleep: Callable[[float], None]) -> Trial:
    if before.keyed:
        raise KeyDown("Nothing was tried: the transmitter is on. Check again when you have stopped sending.")
    abilities = port.abilities
    where = _where(before)
    if not abilities.split:
        shift = " or ".join(name for name, has in (("XIT", abilities.xit), ("RIT", abilities.rit)) if has)
        instead = f"; {shift} can, up to {abilities.limit_hz / 1e3:g} kHz" if shift else ""
        return Trial(None, f"radio answers ({where}); its split cannot be set from here{instead}", before)
    if before.dial_hz is None:
        return Trial(False, "radio answers, but does not say where its dial stands", before)
    moves = Moves(port, clock=clock, sleep=sleep)
    done: list[Step] = []
    why, found_hz = "", before.other_hz
    try:
        if not before.split and not abilities.other:
            # The other dial shows itself, and can be set, only while split is on
            why = _do(moves, Step("split", True), Step("split", False), done)
            found_hz = port.read().other_hz
        if not why and found_hz is not None:
            why = _do(moves, Step("other", _beside(before.dial_hz, found_hz)), Step("other", found_hz), done)
        if not why and not before.split and abilities.other:
            why = _do(moves, Step("split", True), Step("split", False), done)
    except KeyDown:
        why = "the transmitter came on in the middle, check again"
    except RadioLost:
        raise
    except HearmarkError as error:
        why = str(error).rstrip(".")
    left = _put_back(moves, done, clock, sleep)
    now = port.read()
    left = left or _differs(before, now)
    if left:
        return Trial(False, f"do not send: the radio was not put back as it was ({left}); set it by hand", now)
    if why:
        return Trial(False, f"radio answers ({where}), but split does not work: {why}; put back as it was", now)
    tried = "its transmit side moves, split was on and stayed on" if before.split else "split works"
    key = (
        ""
        if before.keyed is not None and now.keyed is not None
        else "; it does not report its key, so see to it that you do not send meanwhile"
    )
    return Trial(True, f"radio answers ({where}), {tried}: tested and put back{key}", now)


def _do(moves: Moves, step: Step, undo: Step, done: list[Step]) -> str:
    """One step, its undoing kept first; why it failed, or nothing."""
    done.append(undo)
    return _again(moves, step)


def _again(moves: Moves, step: Step) -> str:
    """A step, said again if the radio does not show it; why it failed, or nothing. Raises KeyDown."""
    why = ""
    for _ in range(TRIES):
        failed = moves.do(step)
        if failed is None:
            return ""
        why = failed.why
    return why


def _put_back(moves: Moves, done: list[Step], clock: Callable[[], float], sleep: Callable[[float], None]) -> str:
    """Undo in the opposite order, waiting for the key to be up; what could not be undone."""
    end_s = clock() + KEY_WAIT_S
    for step in reversed(done):
        if same(shown(moves.port.read(), step.what), step.value):
            continue
        while True:
            try:
                why = _again(moves, step)
            except KeyDown as error:
                if clock() >= end_s:
                    return str(error)
                sleep(0.1)
                continue
            if why:
                return why
            break
    return ""


def _beside(dial_hz: float, other_hz: float) -> float:
    """A place for the transmit side a kilohertz away, further into the band that the receive dial stands in."""
    band = band_of(dial_hz)
    base_hz = other_hz if band is None or band.low_hz <= other_hz <= band.high_hz else dial_hz
    if band is None:
        return base_hz + AWAY_HZ
    return base_hz + (AWAY_HZ if base_hz < (band.low_hz + band.high_hz) / 2 else -AWAY_HZ)


def _differs(before: Dials, now: Dials) -> str:
    names = {"dial_hz": "receive dial", "split": "split", "mode": "mode", "rit_hz": "RIT", "xit_hz": "XIT"}
    if before.other_hz is not None and now.other_hz is not None:
        names["other_hz"] = "transmit side"
    return ", ".join(word for name, word in names.items() if not same(getattr(now, name), getattr(before, name)))


def _where(dials: Dials) -> str:
    mode = dials.mode.upper() if dials.mode else dials.mode_name or "mode unknown"
    return "dial unknown" if dials.dial_hz is None else f"hears {(dials.receive_hz or 0.0) / 1e3:.2f} kHz {mode}"
