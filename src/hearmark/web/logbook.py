"""The page's way to the log: who the DX is, what he would bring, and the contact kept by one key.

The contact is made of what is known already: his call (as the operator gave it, else as he signs), both frequencies,
mode, the moment, and what the session knows. A duplicate is told before anybody calls.
"""

from __future__ import annotations

import dataclasses
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from hearmark.chase.worth import reason
from hearmark.duplex.bands import EDGES_HZ, band_name
from hearmark.ear.cue import OWN_CALL
from hearmark.errors import HearmarkError
from hearmark.events import Advice, Answer, Ear, Event, KeyState, Over, OwnCall, RadioState
from hearmark.log.calls import parts_of
from hearmark.log.contact import read_contact
from hearmark.log.entities import Entities
from hearmark.log.making import Draft, fields_of, usual_report
from hearmark.log.modes import GROUPS, adif_mode, mode_group
from hearmark.log.needs import CONFIRMED, WORKED, Worked, before, worked
from hearmark.log.store import Store
from hearmark.pileup.calls import has_report, is_call
from hearmark.settings import Settings

SURE_OVERS = 2
"""In so many of his overs more than he would name a caller a call must stand to be taken for his own."""
SIGNED_TIMES = 2
"""So often signed behind DE and read surely, in one over or several, a call is his own."""
SURE_LETTER = 0.8
TO_ALL, WHERE = frozenset(("CQ", "QRZ", "DX", "TEST")), frozenset(("UP", "DWN", "DN", "DOWN", "QRZ"))
"""One of these stands before his DE, or behind his call (common practice, no source): so he signs, and no caller who
sends on his frequency."""
KEPT_OVERS = 200


@dataclass(frozen=True, slots=True)
class Entry:
    """What the operator changed of what was filled in; empty: nothing. `again`: log a second time on purpose."""

    call: str = ""
    sent: str = ""
    received: str = ""
    notes: str = ""
    again: bool = False


class Logbook:
    """One session's link to the log. `worked`: when, where and whom, of the last contact kept. Not thread-safe: the
    session's worker calls it, or its owner locks.
    """

    def __init__(
        self,
        store: Store,
        settings: Settings,
        entities: Entities | None = None,
        call: str = "",
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.store, self.settings, self._clock = store, settings, clock
        self.worked: dict[str, Any] | None = None
        self._entities = entities or Entities()
        self._given = call.strip().upper()
        self._worked = worked(store, settings.log.confirmed_by)
        self._overs: dict[int, tuple[str, ...]] = {}
        self._signed: dict[int, tuple[str, ...]] = {}
        self._callers: dict[int, str] = {}
        self._habit = ""
        self._calls_made = 0
        self._answered = False
        self._first_call_s: float | None = None
        self._now_s = 0.0
        self._logged: dict[tuple[str, str, str], str] = {}
        self._shown: tuple[object, ...] | None = None
        self._message: dict[str, Any] = {}

    def notice(self, event: Event) -> None:
        """Learns from what happens on the air."""
        if isinstance(event, Over):
            self._overs[event.id] = _named(event)
            # An over that is read anew may lose the space before his DE
            self._signed[event.id] = max(_signed(event), self._signed.get(event.id, ()), key=len)
            while len(self._overs) > KEPT_OVERS:
                oldest = next(iter(self._overs))
                del self._overs[oldest], self._signed[oldest]
        elif isinstance(event, Answer) and event.call:
            self._callers[event.id] = event.call
            while len(self._callers) > KEPT_OVERS:
                self._callers.pop(next(iter(self._callers)))
        elif isinstance(event, Ear):
            self._habit = event.habit
        elif isinstance(event, OwnCall | Advice):
            ours = event.probability >= OWN_CALL if isinstance(event, OwnCall) else event.cue == "you"
            self._answered = self._answered or ours
        elif isinstance(event, KeyState):
            self._now_s = event.time_s
            if event.keyed:
                self._calls_made += 1
                self._first_call_s = event.time_s if self._first_call_s is None else self._first_call_s
        elif isinstance(event, RadioState):
            self._now_s = max(self._now_s, event.time_s)

    @property
    def counted(self) -> Worked:
        """What is worked and confirmed, the contacts of this session included."""
        return self._worked

    @property
    def call(self) -> str:
        """The call of the DX: as given, else the one he signs most; empty while nobody knows."""
        return self._given or self._most(self._signed, SIGNED_TIMES) or self._most(self._overs, SURE_OVERS)

    def _most(self, calls_in: dict[int, tuple[str, ...]], least: int) -> str:
        """The call that stands oftenest in his overs; empty if it does not stand there `least` times, or two do."""
        counted = Counter(call for calls in calls_in.values() for call in calls)
        # He names those he answers as well, twice at most; now and then he himself is taken for a caller
        for caller in self._callers.values():
            counted[caller] -= 2
        most = counted.most_common(2)
        if not most or most[0][1] < least or (len(most) > 1 and most[0][1] == most[1][1]):
            return ""
        return most[0][0]

    def name(self, call: str) -> None:
        """The operator says who the DX is; empty: as he signs."""
        text = call.strip().upper()
        if text and parts_of(text) is None:
            raise HearmarkError(f'"{call}" is no call; a call has letters and at least one figure, like T0ST.')
        self._given = text

    def station(self, dx_hz: float, mode: str) -> dict[str, Any]:
        """What the page shows of the DX: who he is, what he would bring, whether he was worked before."""
        call, band, group = self.call, band_name(dx_hz), mode_group(*adif_mode(mode))
        key = (call, band, group, len(self._logged))
        if key != self._shown:
            self._message = self._look(call, band, group, mode)
            self._shown = key
        return self._message

    def _look(self, call: str, band: str, group: str, mode: str) -> dict[str, Any]:
        message = {
            "call": call, "name": "", "needs": "", "level": "done", "duplicate": False, "worked": 0, "logged": "",
            "report": usual_report(mode), "slots": [],
        }  # fmt: skip
        if not call:
            return message
        place = self._entities.lookup(call, self._clock().date())
        needs = self._worked.needs(place, "", band, group)
        try:
            earlier = before(self.store, [call], band, group)[call]
        except HearmarkError as error:
            # The page goes on without its log, and says so
            return message | {"name": place.name if place else "", "needs": str(error)}
        level = next((need.level for need in needs if need.kind == "entity"), "done")
        return message | {
            "name": place.name if place else "",
            "needs": reason(needs, place, band, group),
            "level": level,
            "duplicate": earlier.same_slot,
            "worked": earlier.count,
            "logged": self._logged.get((call, band, group), ""),
            "slots": self._slots(place.entity if place else 0),
        }

    def _slots(self, entity: int) -> list[dict[str, str]]:
        """The entity's bands from low to high, each with what of Morse, phone and digital is worked or confirmed."""
        found = self._worked.slots["entity"].get(entity, {})
        words = {WORKED: "worked", WORKED | CONFIRMED: "confirmed"}
        return [
            {"band": band} | {group: words[found[band, group]] for group in GROUPS if (band, group) in found}
            for band in EDGES_HZ
            if any(on == band for on, _ in found)
        ]

    def log(self, entry: Entry, dx_hz: float, transmit_hz: float | None, mode: str, now_s: float) -> dict[str, Any]:
        """Keeps the contact; on the disk when this returns. Raises HearmarkError if something is missing."""
        call = entry.call.strip().upper() or self.call
        if not call:
            raise HearmarkError("Whose call? It was not heard twice yet; Shift+G lets you type it.")
        own_hz = dx_hz if transmit_hz is None else transmit_hz
        key = (call, band_name(own_hz), mode_group(*adif_mode(mode)))
        if key in self._logged and not entry.again:
            raise HearmarkError(
                f"{call} is in the log already, at {self._logged[key]} UTC; Shift+G looks first and can log it again."
            )
        now = self._clock()
        station = self.settings.station
        took_s = None if self._first_call_s is None else max(now_s, self._now_s) - self._first_call_s
        draft = Draft(
            call=call, frequency_hz=own_hz, receive_hz=dx_hz, mode=mode, start=now, stop=now,
            sent=entry.sent, received=entry.received, notes=entry.notes,
            power_w=station.power_w if station.call else None,
            own_call=station.call, own_locator=station.locator,
            offset_hz=own_hz - dx_hz, calls_made=self._calls_made or None, seconds=took_s, habit=self._habit,
        )  # fmt: skip
        contact = self._entities.complete(read_contact(fields_of(draft)))
        kept = self.store.add(contact)
        self._worked.add(kept)
        self._logged[key] = f"{now:%H:%M}"
        self._given = self._given or call
        self.worked = {"time_s": round(now_s, 3), "frequency_hz": own_hz, "call": call}
        self._calls_made, self._first_call_s = 0, None
        offset = (own_hz - dx_hz) / 1e3
        where = f"{own_hz / 1e3:.2f} kHz" + (f", {offset:+.2f} from him" if offset else "")
        doubt = "" if self._answered else "; he was not heard to answer you"
        back = f"Logged too soon? After tells how to take number {kept.id} out again."
        return {"call": call, "id": kept.id, "text": f"Logged {call} at {now:%H:%M} UTC on {where}{doubt}. {back}"}


def _words(over: Over) -> list[re.Match[str]]:
    """The words of an over, all but the last of one that goes on: that may not be whole yet."""
    words = list(re.finditer(r"[^ ?]+", over.text))
    return words[:-1] if over.stop_s is None and words and words[-1].end() == len(over.text) else words


def _named(over: Over) -> tuple[str, ...]:
    """The calls in an over, each once, but for those that get a report or are asked again: these are callers."""
    words = [word[0] for word in _words(over) if not over.text[word.end() :].startswith("?")]
    calls: dict[str, None] = {}
    for k, word in enumerate(words):
        behind = next((other for other in words[k + 1 :] if other != word), "")
        addressed = behind == "AGN" or (has_report(behind) and not is_call(behind))
        if is_call(word) and not (addressed and words[:k][-1:] != ["DE"]):
            calls[word] = None
    return tuple(calls)


def _signed(over: Over) -> tuple[str, ...]:
    """The call that he signs behind DE, as often as it stands there with every letter sure."""
    if len(over.sure) != len(over.text):
        return ()
    words = _words(over)
    texts = ["", *(word[0] for word in words), ""]
    calls: list[str] = []
    for k, text in enumerate(texts):
        if text != "DE" or not is_call(call := texts[k + 1]):
            continue
        behind = next(n for n in range(k + 2, len(texts)) if texts[n] != call)
        if texts[k - 1] in TO_ALL or texts[behind] in WHERE:
            sure = [min(over.sure[word.start() : word.end()]) for word in words[k : behind - 1]]
            calls += [call] * sum(p >= SURE_LETTER for p in sure)
    return tuple(calls)


def entry_of(given: dict[str, object]) -> Entry:
    """The entry in a request of the page; raises HearmarkError if it holds what it should not."""
    texts = {}
    for field in dataclasses.fields(Entry):
        value = given.get(field.name)
        if field.name == "again" or value is None:
            continue
        if not isinstance(value, str) or len(value) > 500:
            raise HearmarkError(f"'{field.name}' of 'log' must be a text of at most 500 characters.")
        texts[field.name] = value
    return Entry(**texts, again=given.get("again") is True)
