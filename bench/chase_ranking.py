"""A list of 500 spots ranked against a log of 20,000 contacts, with needs, announcements, licence and paths."""

from __future__ import annotations

import random
import statistics
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from hearmark.chase.paths import Paths
from hearmark.chase.ranking import Known, rank
from hearmark.chase.spots import SpotLine, read_spot
from hearmark.duplex.privileges import table
from hearmark.log.adif import Field
from hearmark.log.contact import read_contact
from hearmark.log.entities import Entities, entities, expand, places
from hearmark.log.needs import histories, worked
from hearmark.log.store import Store, add_rows
from hearmark.path.conditions import Conditions, Equipment
from hearmark.path.places import place_from_locator

SPOTS, CONTACTS, ROUNDS = 500, 20_000, 10
NOW = datetime(2026, 3, 21, 18, 30, tzinfo=UTC)
BANDS_KHZ = (1810, 3505, 7005, 10105, 14005, 14200, 18075, 18130, 21005, 21250, 24895, 28005, 28400)
COMMENTS = ("", "up", "up 2", "up 5-10", "QSX 14027", "cq", "tnx qso", "5 up ssb", "simplex", "listening 205 to 210")


def call(rng: random.Random) -> str:
    start = rng.choice(expand(rng.choice([e for e in entities().values() if e.prefixes]).prefixes[0].rstrip("$")))
    return start + ("" if start[-1].isdigit() else rng.choice("0123456789")) + "".join(rng.choices("ABCDEFG", k=2))


def spots(rng: random.Random) -> list[SpotLine]:
    found = []
    while len(found) < SPOTS:
        khz = rng.choice(BANDS_KHZ) + rng.randrange(200) / 10
        at = NOW - timedelta(minutes=rng.randrange(60))
        line = f"DX de N{rng.randrange(10)}AA: {khz:.1f} {call(rng)} {rng.choice(COMMENTS)} {at:%H%M}Z"
        spot = read_spot(line, NOW)
        if spot is not None:
            found.append(spot)
    return found


def told(what: str, times: list[float]) -> None:
    print(f"{what:<41} {statistics.median(times):7.0f} ms  slowest {max(times):.0f} ms")


def main() -> None:
    rng = random.Random(1)
    known_entities = Entities()
    with Store(Path(tempfile.mkdtemp(prefix="hearmark-bench-")) / "log.db", backup=False) as store:
        rows = []
        for number in range(CONTACTS):
            moment = NOW - timedelta(minutes=number * 7)
            said = {"CALL": call(rng), "QSO_DATE": f"{moment:%Y%m%d}", "TIME_ON": f"{moment:%H%M}", "MODE": "CW"}
            said["BAND"] = rng.choice(("20m", "17m", "40m"))
            contact = read_contact(tuple(Field(name, text) for name, text in said.items()))
            rows.append(known_entities.complete(contact))
        with store.writing() as connection:
            add_rows(connection, rows)
        paths = Paths(place_from_locator("JO50"), lambda day: Conditions(100.0), Equipment())
        found = spots(rng)
        licence = table("us-general")
        begin = time.perf_counter()
        # what the page does when it starts
        paths.warm(places(), NOW.date())
        warm_ms = 1e3 * (time.perf_counter() - begin)
        cold = []
        for day in range(1, ROUNDS + 1):
            later = NOW + timedelta(days=day)
            moved = [replace(spot, at=spot.at + timedelta(days=day)) for spot in found]
            begin = time.perf_counter()
            earlier = histories(store, [spot.call for spot in moved])
            known = Known(known_entities, worked(store), earlier, path=paths, licence=licence)
            rank(moved, known, later)
            cold.append(1e3 * (time.perf_counter() - begin))
        times = []
        for _ in range(ROUNDS + 1):
            begin = time.perf_counter()
            earlier = histories(store, [spot.call for spot in found])
            known = Known(known_entities, worked(store), earlier, path=paths, licence=licence)
            ranked = rank(found, known, NOW)
            times.append(1e3 * (time.perf_counter() - begin))
        print(f"{SPOTS} spots, {len(ranked)} rows, log of {CONTACTS} contacts, invented, seed 1")
        print(f"once when the program starts, beside it   {warm_ms:7.0f} ms")
        told("first list of a day, counting the log", cold)
        told("from then on, counting the log included", times[1:])
        times = []
        for _ in range(ROUNDS):
            begin = time.perf_counter()
            rank(found, known, NOW)
            times.append(1e3 * (time.perf_counter() - begin))
        told("from then on, ranking alone", times)


if __name__ == "__main__":
    main()
