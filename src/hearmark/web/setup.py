"""The view Set-up: the station's settings as a form, a check for each part, and the settings file."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from threading import Lock
from typing import Any

from pydantic import ValidationError
from starlette.routing import BaseRoute

from hearmark.duplex.privileges import names, table
from hearmark.errors import HearmarkError
from hearmark.events import Mode
from hearmark.radio.trial import find_control
from hearmark.settings import SECTIONS, Settings, settings_from, usual_file, write_settings
from hearmark.web import checks
from hearmark.web.door import asked_route, page_route, posted_route
from hearmark.web.receiving import recording_in, recordings, sound_cards

PARTS: dict[str, tuple[str, ...]] = {
    "call": ("station.call",),
    "place": ("station.locator",),
    "licence": ("station.licence",),
    "power": ("station.power_w", "station.feed_loss_db"),
    "antenna": ("antenna.name", "antenna.low_mhz", "antenna.high_mhz", "antenna.gain_dbi", "antenna.height_m",
                "antenna.upright"),
    "radio": ("radio.address", "radio.cw_dial", "radio.cw_sideband", "radio.cw_pitch_hz"),
    "receiver": (
        "receiver.kind", "receiver.device", "receiver.address", "receiver.format", "receiver.rate_hz",
        "receiver.center_khz", "receiver.swap_iq", "receiver.file",
    ),
}  # fmt: skip
"""The parts of the view, and the settings that each holds. Other settings are for the file alone: a page may not
make the program read or write files of its choice."""
LONGEST = 200
MODES: tuple[Mode, ...] = ("cw", "usb", "lsb")
Hear = Callable[[Settings, float | None, Mode | None, str], str]


class SetUp:
    """One settings file. May be called from several threads; one check of a radio or receiver runs at a time.

    `saved` is told the new settings. `hear` begins to hear what they name: the DX in kHz (None: the demo), mode,
    what he says. `find`: where radio control answers on this machine.
    """

    def __init__(
        self,
        settings: Settings,
        path: Path | None = None,
        saved: Callable[[Settings], None] = lambda _: None,
        find: Callable[[], list[str]] = find_control,
        hear: Hear | None = None,
    ) -> None:
        self.path = usual_file() if path is None else path
        self.settings = settings
        self._saved, self._find, self._hear = saved, find, hear
        self._writing, self._checking = Lock(), Lock()

    @property
    def folder(self) -> Path:
        """The one folder whose recordings can be chosen."""
        return Path(self.settings.receiver.folder or ".").expanduser()

    def form(self) -> dict[str, Any]:
        """The values, what can be chosen, and whether anything was ever saved."""
        cards, why = sound_cards()
        values = {name: self._value(name) for part in PARTS.values() for name in part}
        return {
            "parts": {part: list(fields) for part, fields in PARTS.items()},
            "values": values,
            "meanings": {name: _field(name).description for name in values},
            "licences": [{"name": name, "title": table(name).title} for name in names()],
            "cards": cards,
            "cards_trouble": why,
            "recordings": recordings(self.folder),
            "folder": str(self.folder.resolve()),
            "file": str(self.path),
            "begun": self.path.is_file(),
            "hears": self._hear is not None,
        }

    def _value(self, name: str) -> Any:
        section, _, field = name.partition(".")
        held: Any = self.settings.antenna[0] if section == "antenna" else getattr(self.settings, section)
        return getattr(held, field)

    def check(self, body: bytes) -> dict[str, Any]:
        """One part with the values of the form: whether it is well, and the sentence."""
        asked = _read(body)
        part = asked.get("part")
        if part not in PARTS:
            raise HearmarkError("The page asked for a check that this program does not know; reload the page.")
        settings = self._with(_changes(asked.get("values")))
        if part in ("radio", "receiver") and not self._checking.acquire(blocking=False):
            raise HearmarkError("A check of the radio or the receiver runs already; wait until it has ended.")
        try:
            ok, say = self._checked(part, settings)
        except HearmarkError as error:
            return {"part": part, "ok": False, "say": str(error)}
        finally:
            if part in ("radio", "receiver"):
                self._checking.release()
        return {"part": part, "ok": ok, "say": say}

    def _checked(self, part: str, settings: Settings) -> checks.Said:
        match part:
            case "call":
                return checks.check_call(settings)
            case "place":
                return checks.check_place(settings)
            case "licence":
                return checks.check_licence(settings)
            case "power":
                return checks.check_power(settings)
            case "antenna":
                return checks.check_antenna(settings)
            case "radio":
                return checks.check_radio(settings)
            case _:
                return checks.check_heard(settings, self.folder)

    def find(self, _: bytes) -> dict[str, Any]:
        """Where radio control answers."""
        found = self._find()
        say = f"radio control answers at {', '.join(found)}" if found else (
            "no radio control answers on this machine: start it for your radio (Hamlib's daemon), then look again"
        )  # fmt: skip
        return {"found": found, "say": say}

    def save(self, body: bytes) -> dict[str, Any]:
        """Writes what was changed into the settings file."""
        changes = _changes(_read(body).get("values"))
        self._with(changes)
        with self._writing:
            self.settings = write_settings(self.path, changes)
        self._saved(self.settings)
        receiver = self.settings.receiver
        start = "hearmark listen" + ("" if receiver.kind == "demo" else " --dx KHZ")
        return {
            "say": f"Saved in {self.path}. Call, place, power and antenna count from now on; radio, receiver and "
            f"licence from the next time something is heard, or the next start: {start}"
        }

    def hear(self, body: bytes) -> dict[str, Any]:
        """Hears the receiver of the form from now on, saved or not. Raises HearmarkError; what was heard goes on."""
        asked = _read(body)
        if self._hear is None:
            raise HearmarkError("Nothing can be started here; start with: hearmark listen.")
        settings = self._with(_changes(asked.get("values")))
        receiver, mode = settings.receiver, asked.get("mode")
        if mode not in (*MODES, ""):
            raise HearmarkError("The mode is Morse, USB or LSB, or left to the band's custom.")
        says = _line(asked.get("says"), "What he says").strip() or "up"
        dx = _line(asked.get("dx_khz"), "The DX's frequency").strip().replace(",", ".")
        dx_khz: float | None = None
        if receiver.kind == "recording":
            recording_in(self.folder, receiver.file)
        elif receiver.kind == "stdin":
            raise HearmarkError("Samples over standard input can be heard only by `hearmark listen --stdin`.")
        elif receiver.kind != "demo" and not receiver.center_khz:
            raise HearmarkError("The centre of the receiver's band is not known; give it in kHz.")
        if receiver.kind != "demo":
            try:
                dx_khz = float(dx)
            except ValueError:
                raise HearmarkError(f"{dx!r} is no frequency of the DX; give it in kHz, like 18143.5.") from None
        return {"say": self._hear(settings, dx_khz, mode or None, says)}

    def _with(self, changes: Mapping[str, Mapping[str, Any]]) -> Settings:
        content = self.settings.model_dump(mode="python")
        content["antenna"] = [dict(one) for one in content["antenna"]]
        content["log"]["confirmed_by"] = list(content["log"]["confirmed_by"])
        for section, values in changes.items():
            (content["antenna"][0] if section == "antenna" else content[section]).update(values)
        try:
            return settings_from(content, "in the form")
        except HearmarkError as error:
            raise _named(error) from error.__cause__


def routes(setup: SetUp) -> list[BaseRoute]:
    """The view and what it asks for."""
    return [
        page_route("/setup", "setup.html"),
        asked_route("/setup/form", lambda _: setup.form()),
        posted_route("/setup/check", setup.check),
        posted_route("/setup/find", setup.find),
        posted_route("/setup/save", setup.save),
        posted_route("/setup/hear", setup.hear),
    ]


def _named(error: HearmarkError) -> HearmarkError:
    """The same fault told by what the form calls the field."""
    if not isinstance(error.__cause__, ValidationError):
        return error
    first = error.__cause__.errors()[0]
    name = ".".join(str(part) for part in first["loc"] if isinstance(part, str))
    if name.partition(".")[0] not in SECTIONS or "." not in name:
        return error
    meaning = str(_field(name).description).rstrip(".").partition(";")[0]
    text = first["msg"].removeprefix("Value error, ")
    return HearmarkError(f"{meaning}: {text[:1].lower()}{text[1:]}, but got {str(first['input'])[:LONGEST]!r}.")


def _field(name: str) -> Any:
    section, _, field = name.partition(".")
    return SECTIONS[section].model_fields[field]


def _line(given: object, what: str) -> str:
    if not isinstance(given, str) or len(given) > LONGEST or "\n" in given:
        raise HearmarkError(f"{what} must be one line of at most {LONGEST} characters.")
    return given


def _read(body: bytes) -> dict[str, Any]:
    try:
        given = json.loads(body)
    except (ValueError, RecursionError):
        given = None
    if not isinstance(given, dict):
        raise HearmarkError("The page sent something that is not JSON; reload the page.")
    return given


def _changes(given: object) -> dict[str, dict[str, Any]]:
    """Values of the form by section and name. Texts become numbers where numbers belong. Raises HearmarkError."""
    if not isinstance(given, dict):
        raise HearmarkError("The page sent no values; reload the page.")
    known = {name for part in PARTS.values() for name in part}
    changes: dict[str, dict[str, Any]] = {}
    for name, value in given.items():
        if name not in known:
            raise HearmarkError(f"{name[:LONGEST]!r} is not set here; it can be written into the settings file.")
        section, _, field = name.partition(".")
        changes.setdefault(section, {})[field] = _typed(name, value)
    return changes


def _typed(name: str, value: object) -> Any:
    kind = _field(name).annotation
    if kind is bool:
        if not isinstance(value, bool):
            raise HearmarkError(f"{name} is yes or no, not {value!r}.")
        return value
    if not isinstance(value, str) or len(value) > LONGEST or "\n" in value:
        raise HearmarkError(f"{name} must be one line of at most {LONGEST} characters.")
    text = value.strip()
    if kind is not float:
        return text.upper() if name == "station.call" else text
    try:
        return float(text.replace(",", "."))
    except ValueError:
        meaning = str(_field(name).description).rstrip(".").lower()
        raise HearmarkError(f"{text!r} is no number ({meaning}); write it like 100 or 2.15.") from None
