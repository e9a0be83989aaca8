"""The station: who we are, what we send with, how the radio counts, where samples come from.

One TOML file. The models below are the one table of name, default and meaning; `page` writes the
documentation from it (`python -m hearmark.settings` prints it), and a test holds the two together.
"""

from __future__ import annotations

import json
import os
import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from hearmark.errors import HearmarkError
from hearmark.files import write_whole

LOCATOR = re.compile(r"[A-Ra-r]{2}[0-9]{2}([A-Xa-x]{2}([0-9]{2})?)?")
"""Maidenhead locator of 4, 6 or 8 characters (IARU Region 1 conference, 1980 and later extensions; from memory)."""
CALL = re.compile(r"(?=.*[0-9])(?=.*[A-Z])[A-Z0-9]+(/[A-Z0-9]+)*")


class _Section(BaseModel):
    """Unknown names and wrong types are refused; values do not change."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class Station(_Section):
    """The operator and the licence."""

    call: str = Field(default="", description="Own call sign; empty while not given.")
    locator: str = Field(default="", description="Own Maidenhead locator, 4 to 8 characters; empty while not given.")
    licence: str = Field(default="", description="Name of the privileges table that applies; empty: not known.")
    privileges: str = Field(default="", description="TOML file with a privileges table of your own; empty: none.")
    band_plan: str = Field(default="", description="Name of a band plan to compare with, like iaru-1; it is no law.")
    power_w: float = Field(default=100.0, ge=0.0, le=10_000.0, description="Transmitter output in watts.")
    feed_loss_db: float = Field(default=1.0, ge=0.0, le=60.0, description="Loss from transmitter to antenna.")

    @field_validator("call")
    @classmethod
    def _call(cls, value: str) -> str:
        call = value.strip().upper()
        if call and not CALL.fullmatch(call):
            raise ValueError("expected a call sign of letters, digits and /")
        return call

    @field_validator("locator")
    @classmethod
    def _locator(cls, value: str) -> str:
        if value and not LOCATOR.fullmatch(value):
            raise ValueError("expected a Maidenhead locator like JO50 or JO50ab")
        return value


class Antenna(_Section):
    """One antenna; give one [[antenna]] section for each."""

    name: str = Field(default="dipole", description="What you call it.")
    low_mhz: float = Field(default=1.8, gt=0.0, description="Lowest frequency it is used on.")
    high_mhz: float = Field(default=30.0, gt=0.0, description="Highest frequency it is used on.")
    gain_dbi: float = Field(default=2.15, ge=-40.0, le=60.0, description="Gain, as in free space; 2.15 is a dipole.")
    height_m: float = Field(default=10.0, ge=0.0, le=1_000.0, description="Height above ground.")
    upright: bool = Field(default=False, description="A vertical; else a horizontal wire or beam.")


class Radio(_Section):
    """How the transceiver is reached, and how its dial counts."""

    address: str = Field(default="", description="HOST:PORT of radio control; empty: frequencies are set by hand.")
    put_back: bool = Field(
        default=False, description="Put the receive dial back on the DX by itself when it was moved."
    )
    cw_dial: Literal["carrier", "suppressed"] = Field(
        default="carrier", description="What the dial shows in CW: the carrier, or the beat oscillator a pitch off."
    )
    cw_sideband: Literal["usb", "lsb"] = Field(default="usb", description="Side on which the radio receives CW.")
    cw_pitch_hz: float = Field(default=600.0, ge=0.0, le=2_000.0, description="Tone of a station tuned exactly.")


class Receiver(_Section):
    """Where samples come from when nothing else is said."""

    kind: Literal["demo", "card", "tcp", "stdin", "recording"] = Field(default="demo", description="What to listen to.")
    device: str = Field(default="", description="Sound card by name or number; empty: the system's own choice.")
    address: str = Field(default="127.0.0.1:5000", description="HOST:PORT of an I/Q server, for tcp.")
    format: str = Field(default="ci16_le", description="Sample format of a stream, as SigMF names it.")
    rate_hz: float = Field(default=48_000.0, ge=1_000.0, le=1e8, description="Sample rate.")
    center_khz: float = Field(default=0.0, ge=0.0, le=1e9, description="Centre of the I/Q band; 0: must be told.")
    file: str = Field(default="", description="Name of a recording in the folder below, for recording.")
    folder: str = Field(default="", description="Folder of recordings; empty: the one in which the program is started.")
    swap_iq: bool = Field(default=False, description="Exchange I and Q, if the spectrum appears mirrored.")


class Log(_Section):
    """The log of contacts, and whom to chase."""

    store: str = Field(default="", description="The log file; empty: must be told.")
    exceptions: str = Field(default="", description="Own exceptions from the tables of entities, TOML or CSV.")
    wanted: str = Field(default="", description="Own list of what is wanted, TOML or CSV.")
    watch: str = Field(default="", description="Announced operations, TOML or CSV.")
    confirmed_by: tuple[Literal["paper", "lotw", "eqsl", "dcl", "credit"], ...] = Field(
        default=("paper", "lotw", "credit"), strict=False, description="Ways of confirming that count."
    )
    node: str = Field(default="", description="HOST:PORT of a node that passes spots; empty: none.")


class Page(_Section):
    """The local page."""

    port: int = Field(default=4327, ge=0, le=65_535, description="Port on this machine; 0: any free one.")


class Settings(_Section):
    """Everything that can be set."""

    station: Station = Station()
    antenna: tuple[Annotated[Antenna, Field(strict=False)], ...] = Field(default=(Antenna(),), strict=False)
    radio: Radio = Radio()
    receiver: Receiver = Receiver()
    log: Log = Log()
    page: Page = Page()


SECTIONS: dict[str, type[_Section]] = {
    "station": Station,
    "antenna": Antenna,
    "radio": Radio,
    "receiver": Receiver,
    "log": Log,
    "page": Page,
}


def usual_file() -> Path:
    """Where the settings lie when nothing else is said (XDG Base Directory Specification 0.8)."""
    base = os.environ.get("XDG_CONFIG_HOME", "")
    return (Path(base) if base.startswith("/") else Path.home() / ".config") / "hearmark" / "settings.toml"


def read_settings(path: Path | None) -> Settings:
    """Settings from a TOML file; None: from the usual one, or the defaults if there is none.

    Raises HearmarkError that names the setting at fault.
    """
    if path is None:
        path = usual_file()
        if not path.is_file():
            return Settings()
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise HearmarkError(f"Cannot read the settings {path}: {error.strerror}; give a TOML file.") from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise HearmarkError(f"The settings {path} are not TOML ({error}); mend that place.") from error
    return settings_from(content, str(path))


def settings_from(content: dict[str, Any], where: str = "given") -> Settings:
    """Settings from TOML values."""
    try:
        return Settings.model_validate(content)
    except ValidationError as error:
        first = error.errors()[0]
        name = ".".join(str(part) for part in first["loc"])
        raise HearmarkError(
            f"The settings {where} have a fault at {name}: {first['msg'].lower().removeprefix('value error, ')}; "
            "docs/settings.md lists what may stand there."
        ) from error


def write_settings(path: Path, changes: Mapping[str, Mapping[str, Any]]) -> Settings:
    """Changes some settings by section and name; what else stands in the file stays, comments too.

    Of the antennas the first is changed. Nothing is written unless the whole is right. Raises HearmarkError.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        text = path.read_text(encoding="utf-8") if path.is_file() else "# Settings of Hearmark: docs/settings.md\n"
        content = tomlkit.parse(text)
    except OSError as error:
        raise HearmarkError(f"Cannot read the settings {path}: {error.strerror}; mend its permissions.") from error
    except (UnicodeDecodeError, TOMLKitError) as error:
        raise HearmarkError(f"The settings {path} are not TOML ({error}); mend that place.") from error
    for section, values in changes.items():
        model = SECTIONS[section]
        if section == "antenna":
            antennas: Any = content.setdefault("antenna", tomlkit.aot())
            if not len(antennas):
                antennas.append(tomlkit.table())
            held: Any = antennas[0]
        else:
            held = content.setdefault(section, tomlkit.table())
        for name, value in values.items():
            # What is as it would be anyhow needs no line
            if name in held or value != model.model_fields[name].default:
                held[name] = value
        if not len(held) and section != "antenna":
            del content[section]
    made = tomlkit.dumps(content)
    settings = settings_from(tomllib.loads(made), str(path))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise HearmarkError(f"Cannot write {path}: {error.strerror}; give another with --settings.") from error
    write_whole(path, made)
    return settings


def table() -> Iterator[tuple[str, str, str, str]]:
    """Section, name, default as TOML, meaning: one entry for each setting."""
    for section, model in SECTIONS.items():
        for name, field in model.model_fields.items():
            default = field.default
            yield section, name, json.dumps(default, ensure_ascii=False), field.description or ""


def page() -> str:
    """docs/settings.md."""
    lines = [
        "# Settings",
        "",
        "One TOML file, given with `--settings FILE`; else `~/.config/hearmark/settings.toml` (or below",
        "`$XDG_CONFIG_HOME`), if it is there. The page's view Set-up writes it, and keeps what else stands in it.",
        "Every setting may be left out. Made from the code: `python -m hearmark.settings > docs/settings.md`.",
    ]
    section = ""
    for part, name, default, meaning in table():
        if part != section:
            section = part
            head = f"[[{part}]]" if part == "antenna" else f"[{part}]"
            lines += ["", f"## `{head}`", "", (SECTIONS[part].__doc__ or "").strip(), ""]
            lines += ["| name | default | meaning |", "| --- | --- | --- |"]
        lines.append(f"| `{name}` | `{default}` | {meaning} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    print(page(), end="")
