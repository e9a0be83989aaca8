"""The command line: parse, call, print."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from hearmark.commands import duplex
from hearmark.commands import path as paths
from hearmark.commands import radio as radio_command
from hearmark.commands.chase import chase
from hearmark.commands.exposure import exposure
from hearmark.commands.log import log
from hearmark.commands.practice import open_room, practice
from hearmark.commands.repeaters import repeaters
from hearmark.commands.report import report
from hearmark.commands.satellites import passes
from hearmark.commands.shared import (
    FLOAT,
    FiniteRange,
    absolute_window_hz,
    checked_call,
    hz,
    progress,
    recording_files,
    sigmf_pair,
)
from hearmark.commands.store import log_files
from hearmark.commands.study import study
from hearmark.errors import HearmarkError
from hearmark.events import Mode, Plan
from hearmark.units import counted

MODES = click.Choice(["cw", "usb", "lsb"])
FILE = click.Path(path_type=Path)
PITCH = FiniteRange(0.0, 3_000.0)
"""0: the dial shows the suppressed carrier."""


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="hearmark", prog_name="hearmark")
def commands() -> None:
    """Finds whom a split-working station answers, where it listens next, and says when to call.

    Hearmark never keys a transmitter.
    """


@commands.command()
@click.argument("recording", type=FILE)
@click.option("--dx", "dx_khz", type=FLOAT, help="Frequency of the DX in kHz.")
@click.option("--mode", type=MODES, help="Estimated if left out.")
@click.option("--window", help='Where he says he listens, like "up 5-10"; estimated if left out.')
@click.option("--center", "center_khz", type=FLOAT, help="Centre of the recording in kHz, if the file does not say.")
@click.option("--dial", type=FILE, help="CSV time_s,receive_hz,keyed, for mono audio of one receiver.")
@click.option("--pitch", "pitch_hz", type=PITCH, default=600.0, show_default=True, help="CW pitch of mono audio, Hz.")
@click.option("--licence", help="Privileges table, like us-general: the advice keeps to it.")
@click.option("--own-call", default="", help="Your own call, listened for in what the DX sends in Morse.")
@click.option("--cut", is_flag=True, help="Read a damaged recording as far as it goes.")
@click.option("--json", "json_path", type=FILE, help="Write what was found here.")
@click.option("--picture", type=FILE, help="Write the ladder here, as PNG.")
def review(
    recording: Path, dx_khz: float | None, mode: Mode | None, window: str | None, center_khz: float | None,
    dial: Path | None, pitch_hz: float, licence: str | None, own_call: str, cut: bool,
    json_path: Path | None, picture: Path | None,
) -> None:  # fmt: skip
    """Find the answers in a SigMF recording, an I/Q WAV, or mono audio with a dial log."""
    from hearmark import report
    from hearmark.engine import Engine, EngineConfig
    from hearmark.files import check_outputs, write_whole
    from hearmark.listening import check_band
    from hearmark.review import dialled_window_hz, far_words, hear
    from hearmark.sources.audio import read_dial_log
    from hearmark.sources.recording import open_recording

    check_outputs([json_path, picture], [*recording_files(recording), dial])
    if dx_khz is None:
        raise HearmarkError("The frequency of the DX is not known; add --dx KHZ.")
    dx_hz = hz(dx_khz, "--dx")
    window_hz = absolute_window_hz(window, dx_hz, mode)
    center_hz = None if center_khz is None else hz(center_khz, "--center")
    if dial is not None and mode is None:
        raise HearmarkError("The sideband and the pitch of audio depend on the mode; add --mode cw, usb or lsb.")
    pitch_hz = pitch_hz if mode == "cw" else 0.0
    source = open_recording(recording, center_hz, dial, "lsb" if mode == "lsb" else "usb", pitch_hz, cut)
    if dial is None:
        check_band(source, dx_hz, window_hz)
    elif window_hz is None and mode is not None:
        window_hz = dialled_window_hz(read_dial_log(dial), dx_hz, mode)
    low_hz, high_hz = window_hz or (None, None)
    engine = Engine(EngineConfig(dx_hz, mode, low_hz, high_hz, checked_call(own_call)))
    if licence:
        engine.feed(duplex.allowed_event(licence, dx_hz, mode))
    with progress("Listening", source.duration_s or 1.0) as advance:
        events = hear(source, engine, advance)
    about = report.Recording(source.sample_rate_hz, source.center_hz, source.duration_s or 0.0)
    plan = next((event for event in events if isinstance(event, Plan)), None)
    if plan is not None:
        mode = plan.heard_as
        window_hz = window_hz if window else (plan.listen_low_hz, plan.listen_high_hz)
    content = report.document(events, about, dx_hz, mode)
    click.echo(report.readable(content), nl=False)
    if dial is not None and mode is not None and not content["dx"]["overs"]:
        click.echo(far_words(read_dial_log(dial), dx_hz, mode, about.duration_s), nl=False)
    if window and window_hz is not None:
        click.echo(report.outside_words(content, window_hz), nl=False)
    if json_path:
        write_whole(json_path, report.to_json(content))
    if picture:
        from hearmark.picture import ladder_png

        works = content["dx"].get("works")
        if works is not None and not window:
            # nothing was announced: where those call who respond to him, none if he works simplex
            window_hz = works["window_hz"]
        write_whole(picture, ladder_png(events, dx_hz, mode or "usb", window_hz))


@commands.command()
@click.argument("out", type=FILE)
@click.option("--mode", type=MODES, default="cw", show_default=True)
@click.option("--level", type=click.Choice(["easy", "hard", "brutal", "varied"]), default="hard", show_default=True)
@click.option("--habit", help="How the DX moves, like stay, step or jump; drawn from the seed if left out.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True)
@click.option("--duration", "duration_s", type=FLOAT, default=240.0, show_default=True, help="Seconds.")
@click.option("--rate", "rate_hz", type=FLOAT, default=48_000.0, show_default=True, help="Samples a second.")
@click.option("--truth/--no-truth", default=True, show_default=True, help="Put the true contacts into the metadata.")
def simulate(
    out: Path, mode: Mode, level: Any, habit: Any, seed: int, duration_s: float, rate_hz: float, truth: bool
) -> None:
    """Write an invented pile-up as a SigMF recording: OUT.sigmf-meta and OUT.sigmf-data."""
    from hearmark.files import check_outputs, check_writable
    from hearmark.listening import invented
    from hearmark.simulate import recording

    check_writable(out)
    check_outputs(sigmf_pair(out))
    recording.refuse_over_heard(out)
    session = invented(level, mode, seed, habit, duration_s)
    with progress("Simulating", 1.0) as advance:
        meta = recording.write(session, out, rate_hz, datatype="ci16_le", truth=truth, progress=advance)
    scenario = session.scenario
    done = sum(contact.completed for contact in session.contacts)
    click.echo(
        f"{meta}: the DX on {scenario.dx_hz / 1000:.2f} kHz, {mode.upper()}, listening "
        f"{(scenario.window_low_hz - scenario.dx_hz) / 1000:+.1f} to "
        f"{(scenario.window_high_hz - scenario.dx_hz) / 1000:+.1f} kHz; "
        f"{counted(done, 'contact')} completed."
    )


@commands.command()
@click.option("--demo", is_flag=True, help="An invented pile-up in place of a receiver.")
@click.option("--file", "recording", type=FILE, help="A recording, at the speed of life.")
@click.option("--dial", type=FILE, help="With --file of one receiver's audio: CSV time_s,receive_hz,keyed.")
@click.option("--pitch", "pitch_hz", type=PITCH, default=600.0, show_default=True, help="CW pitch of such audio, Hz.")
@click.option("--card", is_flag=True, help="The sound card, I and Q on its two channels.")
@click.option("--tcp", "address", help="I/Q from a server at HOST:PORT.")
@click.option("--stdin", "from_stdin", is_flag=True, help="I/Q over standard input.")
@click.option("--dx", "dx_khz", type=FLOAT, help="Frequency of the DX in kHz.")
@click.option("--mode", type=MODES, help="By the band's custom if left out.")
@click.option("--window", default="up", show_default=True, help='Where he says he listens, like "up 5-10".')
@click.option("--center", "center_khz", type=FLOAT, help="Centre of the I/Q band in kHz.")
@click.option("--rate", "rate_hz", type=FLOAT, help="Samples a second.")
@click.option("--format", "datatype", help="Sample format of a stream: ci16_le, cu8, cf32_le ...")
@click.option("--device", help="Sound card by name or number.")
@click.option(
    "--level",
    type=click.Choice(["easy", "hard", "brutal", "varied"]),
    default="easy",
    show_default=True,
    help="Of the demo.",
)
@click.option("--seed", type=click.IntRange(0), default=8, show_default=True, help="Of the demo.")
@click.option("--radio", "radio_address", help='Radio control at HOST:PORT, or "simulated"; else from the settings.')
@click.option("--licence", help="Privileges table, like us-general; from the settings if left out.")
@click.option("--call", "dx_call", default="", help="Call of the DX, if you know it.")
@click.option("--own-call", default="", help="Your own call; from the settings if left out.")
@click.option("--store", "log_path", type=FILE, help="Log that G on the page writes to; from the settings if left out.")
@click.option("--record", "record_path", type=FILE, help="Also record as SigMF, with the marks as annotations.")
@click.option("--port", type=int, help="Port of the page; 0 takes any free one.")
@click.option(
    "--host", default="127.0.0.1", show_default=True, help="Address of this machine to serve on; wider: with a key."
)
@click.option("--settings", "settings_path", type=FILE, help="Settings file (TOML); else the usual one.")
def listen(**options: Any) -> None:
    """Listen live and show the page on this machine."""
    from hearmark.commands.live import Live, check_beside
    from hearmark.files import check_outputs, check_writable
    from hearmark.listening import Wish, is_invented, open_live
    from hearmark.practice.lesson import levels
    from hearmark.practice.served import routes
    from hearmark.settings import read_settings, usual_file
    from hearmark.web import after, setup
    from hearmark.web.server import check_port, serve

    settings_path = options.pop("settings_path")
    settings = read_settings(settings_path)
    host, port = options.pop("host"), options.pop("port")
    own_call = checked_call(options.pop("own_call"))
    beside = {name: options.pop(name) for name in ("dx_call", "log_path", "record_path", "radio_address", "licence")}
    record_path: Path | None = beside["record_path"]
    if record_path:
        read = [*recording_files(options["recording"]), options["dial"], *log_files(beside["log_path"], settings)]
        check_writable(record_path)
        check_outputs(sigmf_pair(record_path), [*read, settings_path or usual_file()])
    for name in ("dx", "center"):
        khz = options.pop(f"{name}_khz")
        options[f"{name}_hz"] = None if khz is None else hz(khz, f"--{name}")
    # What can be refused at once is: an invented pile-up takes seconds to prepare
    port = settings.page.port if port is None else port
    check_port(host, port)
    if beside["radio_address"]:
        radio_command.check_address(beside["radio_address"])
    wish = Wish(**options)
    demo = is_invented(wish, settings)
    check_beside(settings, demo, beside["log_path"], beside["radio_address"], beside["licence"])
    # What is no invented pile-up is opened soon, and may be refused
    opened = None if demo else open_live(wish, settings)
    what = "an invented pile-up" if demo else "the recording" if options["recording"] else "the receiver"
    click.echo(f"Preparing {what}; the address of the page follows in a few seconds ...")
    heard = open_live(wish, settings) if opened is None else opened
    told = any(options[name] for name in ("demo", "recording", "card", "address", "from_stdin", "device", "datatype"))
    told = told or options["center_hz"] is not None or options["rate_hz"] is not None
    live = Live(heard, settings, own_call=own_call, receiver=None if told else settings.receiver, **beside)
    room = open_room(levels(), settings.station.call, alone=False)
    room.start()
    station = setup.SetUp(settings, settings_path, live.saved, hear=live.change)
    more = [*routes(room), *setup.routes(station), *after.routes(live.after)]
    try:
        serve(live.relay, host, port, more)
    finally:
        room.stop()
        live.close()


commands.add_command(duplex.split)
commands.add_command(log)
log.add_command(report)
commands.add_command(paths.path)
commands.add_command(radio_command.radio)
commands.add_command(repeaters)
commands.add_command(passes)
commands.add_command(exposure)
commands.add_command(chase)
commands.add_command(practice)
commands.add_command(study)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run a command. Exit code 0, or 2 with one line on bad input, or 130 when interrupted."""
    try:
        code = commands.main(arguments, prog_name="hearmark", standalone_mode=False)
    except HearmarkError as error:
        click.echo(f"hearmark: {error}", err=True)
        sys.exit(2)
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        sys.exit(2)
    except click.ClickException as error:
        click.echo(f"hearmark: {error.format_message()}", err=True)
        sys.exit(2)
    except (click.Abort, KeyboardInterrupt):
        sys.exit(130)
    sys.exit(code if isinstance(code, int) else 0)
