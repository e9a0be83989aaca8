"""hearmark radio: show the radio, set it to a plan, watch it in a terminal."""

from __future__ import annotations

import json as jsons
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hearmark.commands.duplex import licence_table
from hearmark.commands.shared import FLOAT, Announced, FiniteRange, hz
from hearmark.errors import HearmarkError
from hearmark.events import Allowed, Event, Mode, Plan, Warned

if TYPE_CHECKING:
    from hearmark.listening import Heard
    from hearmark.radio.port import Dials, Port
    from hearmark.settings import Settings

FILE = click.Path(path_type=Path)


def connect(where: str) -> Port:
    """The radio at HOST:PORT, or the simulated one for "simulated"."""
    from hearmark.radio.daemon import DaemonRadio, address
    from hearmark.radio.simulated import SimulatedRadio

    if where == "simulated":
        return SimulatedRadio()
    if not where:
        raise HearmarkError(
            "Where the radio is controlled is not known; add --address HOST:PORT, or give it in the settings."
        )
    return DaemonRadio(*address(where))


def check_address(where: str) -> None:
    """Raise HearmarkError if no radio can ever be at this address; one that is not there yet may come."""
    import socket

    from hearmark.radio.daemon import address

    if where == "simulated":
        return
    host, port = address(where)
    try:
        socket.getaddrinfo(host, port)
    except (OSError, UnicodeError):
        raise HearmarkError(
            f"No machine {host!r} is known; give radio control as HOST:PORT, like 127.0.0.1:4532, or simulated."
        ) from None


def counted(port: Port, settings: Settings, morse: Callable[[], bool]) -> Port:
    """The radio with carriers in place of what its dial shows in Morse, as the settings have it."""
    from hearmark.radio.counted import CountedRadio

    if settings.radio.cw_dial == "carrier":
        return port
    side = 1.0 if settings.radio.cw_sideband == "usb" else -1.0
    return CountedRadio(port, side * settings.radio.cw_pitch_hz, morse)


def plan_of(announcement: str, on_khz: float | None, mode: Mode | None) -> Plan:
    """The likeliest plan of an announcement."""
    from hearmark.duplex.announcement import best
    from hearmark.duplex.bands import usual_mode

    if on_khz is None:
        raise HearmarkError("The frequency of the DX is not known; add --on KHZ.")
    on_hz = hz(on_khz, "--on")
    return best(announcement, on_hz, mode or usual_mode(on_hz)).plan


def call_hz(plan: Plan, may: Allowed, at_khz: float | None) -> float:
    """Where to begin to call: as asked, else the middle of what may be used.

    Raises HearmarkError if nothing may, and outside the bands.
    """
    from hearmark.duplex.privileges import cut
    from hearmark.duplex.setting import start_hz
    from hearmark.radio.refusal import refuse_band

    parts = cut(plan, may)
    if not parts:
        raise HearmarkError(f"Nothing was set: no part of that window may be used, {may.why}.")
    if at_khz is not None:
        wanted_hz = hz(at_khz, "--at")
        if may.known and not any(low - 0.5 <= wanted_hz <= high + 0.5 for low, high in may.intervals_hz):
            raise HearmarkError(f"Nothing was set: {at_khz:.2f} kHz lies outside what you may use, {may.why}.")
        refuse_band(plan, wanted_hz)
        return wanted_hz
    found_hz = start_hz(plan, parts)
    refuse_band(plan, found_hz)
    return found_hz


def dials_as_values(dials: Dials) -> dict[str, Any]:
    """What the radio says, for JSON."""
    return {
        "receive_hz": dials.receive_hz, "transmit_hz": dials.transmit_hz, "split": dials.split, "mode": dials.mode,
        "transmit_mode": dials.transmit_mode, "rit_hz": dials.rit_hz, "xit_hz": dials.xit_hz, "locked": dials.locked,
        "keyed": dials.keyed,
    }  # fmt: skip


def in_words(dials: Dials) -> str:
    """One line for people."""

    def khz(value_hz: float | None) -> str:
        return "unknown" if value_hz is None else f"{value_hz / 1e3:.2f} kHz"

    split = {True: "split on", False: "split off", None: "split unknown"}[dials.split]
    key = {True: "SENDING", False: "not sending", None: "its key is not reported"}[dials.keyed]
    mode = dials.mode.upper() if dials.mode else dials.mode_name or "mode unknown"
    shifts = "".join(
        f", {name} {value:+.0f} Hz" for name, value in (("RIT", dials.rit_hz), ("XIT", dials.xit_hz)) if value
    )
    lock = ", locked" if dials.locked else ""
    return f"hears {khz(dials.receive_hz)} {mode}, sends on {khz(dials.transmit_hz)}, {split}{shifts}{lock}, {key}"


def set_radio(port: Port, plan: Plan, transmit_hz: float) -> Dials:
    """Set it, say what it shows; raises HearmarkError when it did not come right."""
    from hearmark.radio.moves import Moves

    outcome = Moves(port, lambda hold: click.echo(f"{hold}.", err=True) if hold else None).set(plan, transmit_hz)
    if not outcome.ok:
        raise HearmarkError(f"Do not send: {outcome.why}. The radio {in_words(outcome.dials)}.")
    return outcome.dials


def beside(heard: Heard, settings: Settings, address: str | None, licence: str | None) -> dict[str, Any]:
    """Radio and licence for a live session: `rig` and `allowed` of LiveSession, as far as they are known."""
    from hearmark.duplex.privileges import allowed
    from hearmark.web.rig import Rig

    held = licence_table(licence, None, settings)
    simplex = heard.window_low_hz == heard.window_high_hz == heard.dx_hz
    plan = Plan(heard.dx_hz, heard.window_low_hz, heard.window_high_hz, heard.mode)
    plan = Plan(heard.dx_hz, heard.dx_hz, heard.dx_hz, heard.mode, "simplex", "simplex") if simplex else plan

    def may(now: Plan) -> Allowed:
        return allowed(held, now.transmit_mode or now.mode, now.listen_low_hz)

    where = settings.radio.address if address is None else address
    if not where and heard.transmit_hz is not None:
        where = "simulated"  # only an invented pile-up knows beforehand where we send
    if not where:
        return {"allowed": may(plan)}
    if where == "simulated":
        from hearmark.radio.port import Dials
        from hearmark.radio.simulated import SimulatedRadio

        start = Dials(plan.receive_hz, heard.transmit_hz, heard.transmit_hz is not None, plan.mode, plan.mode)
        simulated = SimulatedRadio(start)
        return {"rig": Rig(lambda: simulated, plan, may, settings.radio.put_back)}
    from hearmark.radio.daemon import address as address_of

    address_of(where)  # what is no address is told now; a radio that is not there yet may come
    made: list[Rig] = []
    morse = lambda: (made[0].plan if made else plan).mode == "cw"  # noqa: E731
    made.append(Rig(lambda: counted(connect(where), settings, morse), plan, may, settings.radio.put_back))
    return {"rig": made[0]}


@click.command(cls=Announced)
@click.argument("announcement", nargs=-1)
@click.option("--address", help='Where the radio is controlled, HOST:PORT, or "simulated"; else from the settings.')
@click.option("--on", "on_khz", type=FLOAT, help="Where the DX sends, in kHz.")
@click.option("--mode", type=click.Choice(["cw", "usb", "lsb"]), help="By the band's custom if left out.")
@click.option(
    "--at", "at_khz", type=FLOAT, help="Where you want to call, in kHz; the middle of the window if left out."
)
@click.option("--licence", help="Privileges table; from the settings if left out.")
@click.option("--privileges", "own", type=FILE, help="TOML file with a table of your own.")
@click.option("--lock/--unlock", "lock", default=None, help="Lock or free the dial, where the radio has that.")
@click.option("--watch", is_flag=True, help="Run the guard here until interrupted.")
@click.option("--seconds", type=FiniteRange(0.0), help="With --watch: end after so long.")
@click.option("--settings", "settings_path", type=FILE, help="Settings file (TOML).")
@click.option("--json", "as_json", is_flag=True, help="Print what the radio says as JSON.")
def radio(
    announcement: tuple[str, ...], address: str | None, on_khz: float | None, mode: Mode | None, at_khz: float | None,
    licence: str | None, own: Path | None, lock: bool | None, watch: bool, seconds: float | None,
    settings_path: Path | None, as_json: bool,
) -> None:  # fmt: skip
    """Show the radio; with an announcement like "up 5 to 10" and --on, set it; with --watch, guard it.

    It sets frequencies, split, mode and lock only, writes nothing while the transmitter is on, and never keys it.
    """
    from hearmark.duplex.privileges import allowed
    from hearmark.radio.moves import Moves
    from hearmark.settings import read_settings

    settings = read_settings(settings_path)
    where = settings.radio.address if address is None else address
    held = licence_table(licence, own, settings)
    plan = plan_of(" ".join(announcement), on_khz, mode) if announcement else None
    may = allowed(held, plan.transmit_mode or plan.mode, plan.listen_low_hz) if plan else None
    transmit_hz = call_hz(plan, may, at_khz) if plan and may else None

    def reach() -> Port:
        return counted(connect(where), settings, lambda: plan is not None and plan.mode == "cw")

    port = reach()
    try:
        if plan is not None and transmit_hz is not None:
            set_radio(port, plan, transmit_hz)
        if lock is not None:
            Moves(port).lock(lock)
        dials, level_db = port.read(), port.signal_db()
        level = "" if level_db is None else f", S9 {level_db:+.0f} dB"
        values = dials_as_values(dials) | {"signal_over_s9_db": level_db}
        click.echo(jsons.dumps(values, indent=2) if as_json else f"The radio {in_words(dials)}{level}.")
    finally:
        if not watch:
            port.close()
    if watch:
        _watch(port, reach, plan, may, seconds)


def _watch(
    first: Port, reach: Callable[[], Port], plan: Plan | None, may: Allowed | None, seconds: float | None
) -> None:
    from hearmark.radio.keeper import Keeper

    ports = [first]
    begin_s = time.monotonic()

    def show(event: Event) -> None:
        stamp = time.strftime("%H:%M:%S", time.gmtime())
        if isinstance(event, Warned):
            bell = "\a" if event.active else ""
            click.echo(f"{stamp}  {'WARNING' if event.active else 'over   '}  {event.kind}: {event.why}{bell}")

    keeper = Keeper(lambda: ports.pop() if ports else reach(), show, lambda: time.monotonic() - begin_s)
    keeper.plan, keeper.allowed = plan, may
    click.echo("Watching; Ctrl+C ends it." if plan else "Watching without a plan: only whether the radio answers.")
    keeper.start()
    try:
        while seconds is None or time.monotonic() - begin_s < seconds:
            time.sleep(0.1)
    finally:
        keeper.stop()
