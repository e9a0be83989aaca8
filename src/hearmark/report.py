"""What a review found, as a document (schema 1) and in words."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from hearmark.events import Advice, Answer, Ear, Emission, Event, Gap, Levels, Mode, Over, OwnCall, Plan, Turn, Working
from hearmark.marks import SURE, settled
from hearmark.units import counted, khz_from_hz, percent

SCHEMA = 1
BESIDE_DX_HZ = 300.0
"""A voice so near the DX is taken for his own."""
OUTSIDE_HZ = {"cw": 250.0, "voice": 1_000.0}
"""What lies further than this outside the window that was given was not meant by it."""
Document = dict[str, Any]
Revised = TypeVar("Revised", Over, Turn)


@dataclass(frozen=True, slots=True)
class Recording:
    """The stream that was reviewed."""

    sample_rate_hz: float
    center_hz: float
    duration_s: float


def newest(events: Iterable[Event], kind: type[Revised]) -> list[Revised]:
    """The newest state of each over or turn, by start time; those that turned out to be none have no length."""
    by_id = {event.id: event for event in events if isinstance(event, kind)}
    real = (event for event in by_id.values() if event.stop_s is None or event.stop_s > event.start_s)
    return sorted(real, key=lambda event: event.start_s)


def document(events: Sequence[Event], recording: Recording, dx_hz: float | None, mode: Mode | None) -> Document:
    """The events of a review as plain JSON values. Frequencies in hertz, times in seconds.

    `dx_hz` None: the median frequency of the overs; `mode` None: the one that the engine's plan names.
    """
    mode = mode or next((event.heard_as for event in events if isinstance(event, Plan)), None)
    overs = newest(events, Over)
    if dx_hz is None and overs:
        dx_hz = sorted(over.frequency_hz for over in overs)[len(overs) // 2]
    ears = [event for event in events if isinstance(event, Ear)]
    levels = [event for event in events if isinstance(event, Levels)]
    gaps = [event for event in events if isinstance(event, Gap)]
    answers = settled((event for event in events if isinstance(event, Answer)), mode or "usb")
    return {
        "schema": SCHEMA,
        "recording": {
            "sample_rate_hz": recording.sample_rate_hz,
            "center_hz": recording.center_hz,
            "duration_s": round(recording.duration_s, 3),
        },
        "dx": {
            "frequency_hz": _hz(dx_hz),
            "mode": mode,
            "overs": [{"start_s": _s(o.start_s), "stop_s": _s(o.stop_s), "text": o.text} for o in overs],
            **_works([event for event in events if isinstance(event, Working)]),
        },
        "answers": [_answer(answer) for answer in answers],
        **_own([event for event in events if isinstance(event, OwnCall)]),
        "ear": _ear(ears[-1]) if ears else None,
        "advice": _advice([event for event in events if isinstance(event, Advice)]),
        "receiver": _receiver(levels, gaps),
        **_voices([event for event in events if isinstance(event, Emission)], dx_hz),
    }


def to_json(content: Document) -> str:
    """The document as text that ends with a newline; no NaN, no infinity."""
    return json.dumps(content, indent=1, allow_nan=False) + "\n"


def readable(content: Document) -> str:
    """The document as a few lines for a person."""
    recording, dx, ear, advice = (content[key] for key in ("recording", "dx", "ear", "advice"))
    length = clock(recording["duration_s"])
    lines = [
        f"{length} at {recording['sample_rate_hz'] / 1000:g} kHz around {khz_from_hz(recording['center_hz']):.1f} kHz",
        f"The DX on {_khz(dx['frequency_hz'])} kHz, {(dx['mode'] or 'mode unknown').upper()}: "
        + counted(len(dx["overs"]), "over"),
        *([works_words(dx["works"], dx["frequency_hz"], dx["mode"])] if "works" in dx else []),
        "",
    ]
    marks = [answer for answer in content["answers"] if answer["confidence"] >= SURE]
    lines.append(counted(len(marks), "answer") + (":" if marks else " found."))
    if marks:
        lines.append("   time       kHz    from DX   sure   SNR  call")
    for mark in marks:
        offset = "" if dx["frequency_hz"] is None else f"{khz_from_hz(mark['frequency_hz'] - dx['frequency_hz']):+.2f}"
        snr = "" if mark["snr_db"] is None else f"{mark['snr_db']:.0f} dB"
        taken = "  (taken back)" if "retracted_at_s" in mark else ""
        lines.append(
            f"{clock(mark['start_s']):>7}  {_khz(mark['frequency_hz'])}  {offset:>7}  {percent(mark['confidence']):>5} "
            f"{snr:>6}  {mark['call'] or '?'}{taken}"
        )
    for own in content.get("own_call", ()):
        lines.append(f"{clock(own['time_s']):>7}  {own['why']} ({percent(own['probability'])}).")
    lines.append("")
    if not dx["overs"]:
        lines.append("He was not heard: there is nothing to advise.")
    else:
        lines += _told_to_do(ear, advice)
    return "\n".join(lines) + "\n" + _receiver_words(content["receiver"])


def _told_to_do(ear: Document | None, advice: Document) -> list[str]:
    """His habit, where to call, and why there."""
    lines = [f"His habit: {ear['habit']}."] if ear else []
    if advice["transmit_hz"] is not None:
        chance = advice["success_per_call"]
        lines.append(
            f"Call on {_khz(advice['transmit_hz'])} kHz{'' if chance is None else f', {percent(chance)} a call'}."
        )
    return lines + ([advice["why"]] if advice["why"] else [])


def outside_words(content: Document, window_hz: tuple[float, float]) -> str:
    """A line that says so if answers or those who respond to him lie clearly outside the window that was given."""
    dx = content["dx"]
    margin_hz = OUTSIDE_HZ["cw" if dx["mode"] == "cw" else "voice"]
    standing = [one for one in content["answers"] if one["confidence"] >= SURE and "retracted_at_s" not in one]
    heard = [one["frequency_hz"] for one in standing] + ((dx.get("works") or {}).get("window_hz") or [])
    if not heard or dx["frequency_hz"] is None:
        return ""
    beyond = [edge for edge in (min(heard),) if edge < window_hz[0] - margin_hz]
    beyond += [edge for edge in (max(heard),) if edge > window_hz[1] + margin_hz]
    if not beyond:
        return ""
    low, high, *reached = (f"{khz_from_hz(hz - dx['frequency_hz']):+.1f}" for hz in (*window_hz, *beyond))
    where = " and ".join(reached)
    return f"Note: answers or callers reach to {where} kHz, outside the window {low} to {high} kHz that was given.\n"


def clock(seconds: float) -> str:
    """Minutes and seconds, as on a tape counter."""
    whole = int(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


def _answer(answer: Answer) -> Document:
    """One answer of the list; `retracted_at_s` and `by` only where they say something."""
    found: Document = {
        "start_s": _s(answer.start_s),
        "stop_s": _s(answer.stop_s),
        "marked_at_s": _s(answer.marked_at_s),
        "frequency_hz": _hz(answer.frequency_hz),
        "confidence": round(answer.confidence, 4),
        "call": answer.call,
        "snr_db": None if answer.snr_db is None else round(answer.snr_db, 1),
    }
    if answer.retracted_at_s is not None:
        found["retracted_at_s"] = _s(answer.retracted_at_s)
    if answer.by != "computation":
        found["by"] = answer.by
    return found


def _voices(emissions: Sequence[Emission], dx_hz: float | None) -> Document:
    """Voices that were heard more than once on one place, most often heard first; nothing if there are none."""
    newest_of = {e.id: e for e in emissions if e.kind == "voice"}
    chains: dict[int, list[Emission]] = {}
    for e in newest_of.values():
        over = e.stop_s is not None and e.stop_s > e.start_s
        if over and e.chain is not None and (dx_hz is None or abs(e.frequency_hz - dx_hz) > BESIDE_DX_HZ):
            chains.setdefault(e.chain, []).append(e)
    found = []
    for heard in sorted(chains.values(), key=len, reverse=True):
        if len(heard) > 1:
            pitches = sorted(e.pitch_hz for e in heard if e.pitch_hz is not None)
            found.append(
                {
                    "frequency_hz": _hz(sorted(e.frequency_hz for e in heard)[len(heard) // 2]),
                    "pitch_hz": round(pitches[len(pitches) // 2]) if pitches else None,
                    "start_s": [_s(e.start_s) for e in heard],
                }
            )
    return {"voices": found} if found else {}


def _own(heard: Sequence[OwnCall]) -> Document:
    """Our own call in his overs, the newest state of each time; nothing where there was none."""
    newest_of = {event.id: event for event in heard}
    told = [
        {
            "time_s": _s(event.time_s),
            "heard": event.heard,
            "kind": event.kind,
            "letters": event.letters,
            "probability": event.probability,
            "why": event.why,
        }
        for event in newest_of.values()
    ]
    return {"own_call": told} if told else {}


def _works(told: Sequence[Working]) -> Document:
    """How he works, as his newest overs tell; nothing before there were enough of them. `window_hz`: where those call
    who respond to him, null for simplex or while they are too few."""
    if not told:
        return {}
    last = told[-1]
    # where callers are heard was told last when there were enough of them; how he works may have changed since
    known = [one for one in told if one.low_hz is not None]
    edges = [_hz(known[-1].low_hz), _hz(known[-1].high_hz)] if known and last.split >= 0.5 else None
    return {"works": {"split": round(last.split, 4), "overs": last.overs, "window_hz": edges}}


def works_words(works: Document, dx_hz: float | None, mode: str | None) -> str:
    """As "Works split: 97 %, up 1.2 to 6.8 kHz, Morse"."""
    split, edges = works["split"], works["window_hz"]
    how = {"cw": "Morse", "usb": "voice, upper sideband", "lsb": "voice, lower sideband"}.get(
        mode or "", "mode unknown"
    )
    if split < 0.5:
        return f"Works simplex: {_most(1.0 - split)}, {how}"
    where = ""
    if edges is not None and dx_hz is not None:
        low_khz, high_khz = sorted(abs(khz_from_hz(edge - dx_hz)) for edge in edges)
        where = f", {'up' if edges[0] >= dx_hz else 'down'} {low_khz:.1f} to {high_khz:.1f} kHz"
    return f"Works split: {_most(split)}{where}, {how}"


def _most(chance: float) -> str:
    """A percentage; none is ever certain."""
    return percent(min(chance, 0.99))


def _ear(ear: Ear) -> Document:
    """The belief at the end of the recording."""
    return {
        "frequency_hz": [round(float(f), 1) for f in ear.frequency_hz],
        "density_per_hz": [float(f"{float(d):.6g}") for d in ear.density_per_hz],
        "habit": ear.habit,
    }


def _advice(advices: Sequence[Advice]) -> Document:
    """The last advice that names a frequency, else the last, else nothing to say."""
    naming = [advice for advice in advices if advice.transmit_hz is not None] or list(advices)
    if not naming:
        return {"transmit_hz": None, "success_per_call": None, "why": ""}
    last = naming[-1]
    success = None if last.success_per_call is None else round(last.success_per_call, 4)
    return {"transmit_hz": _hz(last.transmit_hz), "success_per_call": success, "why": last.why}


def _receiver(levels: Sequence[Levels], gaps: Sequence[Gap]) -> Document:
    """What the source had to correct, and where it was deaf."""
    last = levels[-1] if levels else None
    rejection_db = last.image_rejection_db if last else None
    return {
        "peak_dbfs": round(max(level.peak_dbfs for level in levels), 1) if levels else None,
        "clipped_share": round(max(level.clipped_share for level in levels), 6) if levels else None,
        "dc_dbfs": round(last.dc_dbfs, 1) if last else None,
        "image_rejection_db": None if rejection_db is None else round(rejection_db, 1),
        "clock_ppm": None if not last or last.clock_ppm is None else round(last.clock_ppm, 2),
        "dropped_samples": last.dropped_samples if last else 0,
        "gaps": [{"start_s": _s(gap.start_s), "stop_s": _s(gap.stop_s), "why": gap.why} for gap in gaps],
    }


def _receiver_words(receiver: Document) -> str:
    """One line for each thing about the receiver that the operator can mend."""
    lines = []
    if (receiver["clipped_share"] or 0) > 1e-4:
        lines.append(
            f"The receiver clipped (up to {percent(receiver['clipped_share'], 2)} of samples): turn its gain down."
        )
    if receiver["dropped_samples"]:
        dropped = receiver["dropped_samples"]
        lines.append(
            f"{dropped} sample{' was' if dropped == 1 else 's were'} dropped: the computer or the link is too slow."
        )
    if receiver["gaps"]:
        deaf_s = sum(gap["stop_s"] - gap["start_s"] for gap in receiver["gaps"])
        lines.append(f"Deaf for {deaf_s:.1f} s in {counted(len(receiver['gaps']), 'gap')}.")
    return "".join(f"{line}\n" for line in lines)


def _s(value: float | None) -> float | None:
    """Seconds to the millisecond."""
    return None if value is None else round(float(value), 3)


def _hz(value: float | None) -> float | None:
    """Hertz to a tenth."""
    return None if value is None else round(float(value), 1)


def _khz(value_hz: float | None) -> str:
    """Kilohertz with two decimals, or a question mark."""
    return "?" if value_hz is None else f"{khz_from_hz(value_hz):.2f}"
