"""May I transmit there, in this mode, with this bandwidth? Tables as dated data, and what follows from them.

The tables lie in `data/privileges/`, each with its source, its date and how it was written down; a file of the
operator's own may add to or correct them. They are transcriptions: the licence and the local rules decide.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from importlib.resources import files
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from hearmark.duplex.bands import band_of
from hearmark.duplex.occupied import occupied
from hearmark.errors import HearmarkError
from hearmark.events import Allowed, Plan, PlanMode

NEAR_HZ = 0.5
"""Frequencies closer than this to an edge count as on it."""
PLAN_SLACK = 1.1
"""Band plans state nominal widths: a transmission this much wider still fits."""


class Segment(BaseModel):
    """One stretch of spectrum: what may be sent in it, how wide, with what power, since and until when."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    low_khz: float = Field(gt=0.0)
    high_khz: float = Field(gt=0.0)
    kinds: tuple[Literal["cw", "data", "phone"], ...]
    bandwidth_hz: float | None = Field(default=None, gt=0.0)
    sidebands: tuple[Literal["usb", "lsb"], ...] = ()
    power_w: float | None = Field(default=None, gt=0.0)
    power_as: Literal["PEP", "ERP", "EIRP"] = "PEP"
    since: date | None = None
    until: date | None = None
    note: str = ""

    @model_validator(mode="after")
    def _edges(self) -> Segment:
        if self.high_khz <= self.low_khz:
            raise ValueError(f"expected high_khz above low_khz, but got {self.low_khz:g} and {self.high_khz:g}")
        return self


class Table(BaseModel):
    """One table. `kind`: a licence says what is lawful, an allocation what can be, a plan what is good practice."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = Field(min_length=1)
    title: str
    kind: Literal["licence", "allocation", "plan"] = "licence"
    authority: str = ""
    source: str = ""
    as_of: date
    written_from: str = ""
    caution: str = ""
    extends: str = ""
    segment: tuple[Segment, ...]

    def on(self, day: date | None) -> Table:
        """The table with the segments in force on a day; None: today."""
        day = day or datetime.now(UTC).date()
        kept = tuple(
            s for s in self.segment if (s.since is None or s.since <= day) and (s.until is None or day < s.until)
        )
        return self.model_copy(update={"segment": kept})


@dataclass(frozen=True, slots=True)
class Verdict:
    """`lawful` None: not known. `why` is one sentence."""

    lawful: bool | None
    why: str


def names() -> list[str]:
    """Names of the tables that come with the program."""
    folder = files("hearmark").joinpath("data/privileges")
    return sorted(entry.name.removesuffix(".toml") for entry in folder.iterdir() if entry.name.endswith(".toml"))


def table(name: str, own: Path | None = None) -> Table:
    """The table of this name, from the operator's own file or from those that come with the program.

    An own table with `extends` takes the named table and replaces it in every amateur band that it mentions.
    Raises HearmarkError for an unknown name or a faulty file.
    """
    if own is not None:
        try:
            found = _read(own.read_text(encoding="utf-8"), str(own))
        except OSError as error:
            raise HearmarkError(f"Cannot read the privileges {own}: {error.strerror}; give a TOML file.") from error
        except UnicodeDecodeError as error:
            raise HearmarkError(f"The privileges {own} are not text in UTF-8; give a TOML file.") from error
        if name in ("", found.name):
            return _extended(found)
    given, name = name, name.strip().lower()
    if name not in names():
        raise HearmarkError(
            f'There is no privileges table "{given}"; choose one of {", ".join(names())}, or give a file.'
        )
    return _read(files("hearmark").joinpath(f"data/privileges/{name}.toml").read_text(encoding="utf-8"), name)


def _read(text: str, where: str) -> Table:
    try:
        return Table.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise HearmarkError(f"The privileges {where} are not TOML ({error}); mend that place.") from error
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise HearmarkError(
            f"The privileges {where} have a fault at {place}: {first['msg'].lower().removeprefix('value error, ')}; "
            "docs/duplex.md shows how a table is written."
        ) from error


def _extended(own: Table) -> Table:
    if not own.extends:
        return own
    base = table(own.extends)
    mentioned = {_band_name(segment) for segment in own.segment}
    kept = tuple(segment for segment in base.segment if _band_name(segment) not in mentioned)
    return own.model_copy(update={"segment": kept + own.segment})


def _band_name(segment: Segment) -> str:
    band = band_of((segment.low_khz + segment.high_khz) * 500.0)
    return band.name if band else f"{segment.low_khz:g}"


def intervals_hz(
    held: Table, mode: PlanMode, bandwidth_hz: float | None = None, day: date | None = None
) -> tuple[tuple[float, float], ...]:
    """Where the dial may stand: closed intervals of carrier or suppressed carrier, ascending, in hertz.

    The whole transmission must lie inside segments that permit it; segments that touch count as one.
    """
    takes = occupied(mode, bandwidth_hz)
    slack = PLAN_SLACK if held.kind == "plan" else 1.0
    fitting = sorted(
        (segment.low_khz * 1e3, segment.high_khz * 1e3)
        for segment in held.on(day).segment
        if takes.kind in segment.kinds
        and (segment.bandwidth_hz is None or takes.bandwidth_hz <= slack * segment.bandwidth_hz)
        and (not segment.sidebands or mode in segment.sidebands or mode == "cw")
    )
    joined: list[tuple[float, float]] = []
    for low_hz, high_hz in fitting:
        if joined and low_hz <= joined[-1][1] + NEAR_HZ:
            joined[-1] = (joined[-1][0], max(joined[-1][1], high_hz))
        else:
            joined.append((low_hz, high_hz))
    edges = ((round(low - takes.low_hz, 3), round(high - takes.high_hz, 3)) for low, high in joined)
    return tuple((low, max(low, high)) for low, high in edges if high - low >= -NEAR_HZ)


def verdict(
    held: Table | None,
    frequency_hz: float,
    mode: PlanMode,
    bandwidth_hz: float | None = None,
    day: date | None = None,
    inside: tuple[tuple[float, float], ...] | None = None,
) -> Verdict:
    """Whether a transmission with the dial on `frequency_hz` is permitted. `inside`: `intervals_hz`, if known."""
    if held is None:
        return Verdict(None, "your licence is not known: check that you may send there")
    takes = occupied(mode, bandwidth_hz)
    low_khz, high_khz = ((frequency_hz + edge_hz) / 1e3 for edge_hz in (takes.low_hz, takes.high_hz))
    span = f"{mode.upper()} on {frequency_hz / 1e3:.2f} takes {low_khz:.2f} to {high_khz:.2f} kHz"
    inside = intervals_hz(held, mode, bandwidth_hz, day) if inside is None else inside
    if not any(low - NEAR_HZ <= frequency_hz <= high + NEAR_HZ for low, high in inside):
        fault = _fault(held.on(day), mode, takes.kind, low_khz, high_khz)
        if held.kind == "plan":
            return Verdict(None, f"{span}: against the band plan, {fault} ({held.title}); your licence decides")
        return Verdict(False, f"{span}: {fault} ({held.title})")
    limits = [
        segment
        for segment in held.on(day).segment
        if segment.power_w is not None
        and takes.kind in segment.kinds
        and segment.low_khz <= high_khz
        and segment.high_khz >= low_khz
    ]
    power = f"; at most {limits[0].power_w:g} W {limits[0].power_as}" if limits else ""
    if held.kind == "licence":
        return Verdict(True, f"{span}, inside what {held.title} may use{power}")
    word = "allocated to amateurs" if held.kind == "allocation" else "as the band plan has it"
    return Verdict(None, f"{span}, {word}{power}; your licence decides")


def _fault(held: Table, mode: PlanMode, kind: str, low_khz: float, high_khz: float) -> str:
    """What stands against it: the band, the kind of emission, the sideband, or the width."""
    touched = [s for s in held.segment if s.low_khz <= high_khz and s.high_khz >= low_khz]
    if not touched:
        return "outside every part that may be used"
    narrow = [s for s in touched if kind in s.kinds]
    if not narrow:
        return f"{'voice' if kind == 'phone' else kind} may not be sent there"
    inside = [s for s in narrow if s.low_khz - NEAR_HZ / 1e3 <= low_khz and high_khz <= s.high_khz + NEAR_HZ / 1e3]
    wrong = [s for s in narrow if s.sidebands and mode not in s.sidebands and mode != "cw"]
    if wrong:
        return f"only {' or '.join(wrong[0].sidebands).upper()} may be sent there"
    if inside:
        return f"wider than the {inside[0].bandwidth_hz:g} Hz that are permitted there"
    edge = max(s.high_khz for s in narrow)
    low_edge = min(s.low_khz for s in narrow)
    over = edge if high_khz > edge else low_edge
    return f"reaches over the edge at {over:g} kHz"


def allowed(
    held: Table | None,
    mode: PlanMode,
    around_hz: float | None = None,
    bandwidth_hz: float | None = None,
    day: date | None = None,
) -> Allowed:
    """Where we may send, as the event; `around_hz`: only the band that holds it. Unknown licence: not known."""
    if held is None:
        return Allowed((), False, "your licence is not known: check that you may send there")
    if held.kind == "plan":
        return Allowed((), False, f"{held.title} is a plan and no licence: check that you may send there")
    band = band_of(around_hz) if around_hz is not None else None
    parts = tuple(
        (low, high)
        for low, high in intervals_hz(held, mode, bandwidth_hz, day)
        if band is None or (high >= band.low_hz and low <= band.high_hz)
    )
    where = f" on {band.name}" if band else ""
    if not parts:
        return Allowed((), True, f"{held.title} may not send {mode.upper()}{where}")
    spans = ", ".join(f"{low / 1e3:.2f}" + ("" if low == high else f" to {high / 1e3:.2f}") for low, high in parts[:6])
    more = " and more" if len(parts) > 6 else ""
    decides = "" if held.kind == "licence" else "; your licence decides"
    return Allowed(parts, True, f"{mode.upper()}{where} with the dial on {spans} kHz{more} ({held.title}{decides})")


def cut(plan: Plan, may: Allowed) -> tuple[tuple[float, float], ...]:
    """The parts of a plan's window where we may send; the whole window when that is not known."""
    if not may.known:
        return ((plan.listen_low_hz, plan.listen_high_hz),)
    return tuple(
        (max(low, plan.listen_low_hz), min(high, plan.listen_high_hz))
        for low, high in may.intervals_hz
        if low <= plan.listen_high_hz + NEAR_HZ and high >= plan.listen_low_hz - NEAR_HZ
    )


def window_verdict(
    held: Table | None,
    plan: Plan,
    parts: Iterable[tuple[float, float]],
    bandwidth_hz: float | None = None,
    day: date | None = None,
    inside: tuple[tuple[float, float], ...] | None = None,
) -> Verdict:
    """Whether the whole window of a plan may be used; `parts` from `cut`, `inside` from `intervals_hz`, if known."""
    mode = plan.transmit_mode or plan.mode
    edges_hz = (plan.listen_low_hz, plan.listen_high_hz)
    ends = [verdict(held, hz, mode, bandwidth_hz, day, inside) for hz in edges_hz]
    kept = tuple(parts)
    if held is None or all(end.lawful is None for end in ends):
        return ends[0]
    whole = len(kept) == 1 and kept[0][1] - kept[0][0] >= plan.listen_high_hz - plan.listen_low_hz - NEAR_HZ
    if whole:
        return ends[0] if ends[0].lawful is not False else ends[1]
    bad = next((end for end in ends if end.lawful is False), None)
    if bad is None:
        bad = Verdict(False, f"a part between may not be used ({held.title})")
    if not kept:
        return replace(bad, lawful=False)
    spans = " and ".join(f"{low / 1e3:.2f}" + ("" if low == high else f" to {high / 1e3:.2f}") for low, high in kept)
    return Verdict(False, f"cut to {spans} kHz, because {bad.why}")
