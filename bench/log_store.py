"""The log: import of 200,000 contacts, needs, a durable contact, entities of 100,000 calls.

Times are of this machine and this moment; each figure's bound is in docs/log.md.
"""

from __future__ import annotations

import random
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from hearmark.duplex.bands import EDGES_HZ
from hearmark.log.adi import write_adi
from hearmark.log.adif import Field, Fields
from hearmark.log.contact import read_contact
from hearmark.log.entities import Entities, _compiled
from hearmark.log.exchange import export_file, import_file
from hearmark.log.needs import worked
from hearmark.log.store import Store

CONTACTS, CALLS, ADDED = 200_000, 100_000, 200
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def calls(rng: random.Random) -> Iterator[str]:
    starts = sorted(start for start in _compiled()[0] if "/" not in start and len(start) < 4)
    while True:
        start = rng.choice(starts)
        figure = "" if start[-1].isdigit() else rng.choice("0123456789")
        call = start + figure + "".join(rng.choices(LETTERS, k=rng.randint(2, 3)))
        yield call + rng.choices(("", "/P", "/M", "/MM", "/4"), (90, 5, 3, 1, 1))[0]


def contacts(rng: random.Random) -> Iterator[Fields]:
    start = datetime(1995, 1, 1, tzinfo=UTC)
    bands = list(EDGES_HZ.items())[3:19]
    for number, call in zip(range(CONTACTS), calls(rng), strict=False):
        moment = start + timedelta(seconds=number * 4870 + rng.randrange(3000))
        band, (low_hz, high_hz) = rng.choice(bands)
        said = {
            "CALL": call,
            "QSO_DATE": f"{moment:%Y%m%d}",
            "TIME_ON": f"{moment:%H%M%S}",
            "BAND": band,
            "FREQ": f"{rng.uniform(low_hz, high_hz) / 1e6:.4f}",
            "MODE": rng.choice(("CW", "SSB", "FT8", "RTTY")),
            "RST_SENT": "599",
            "RST_RCVD": "599",
            "GRIDSQUARE": rng.choice("ABCDEFGHIJKLMNOPQR")
            + rng.choice("ABCDEFGHIJKLMNOPQR")
            + f"{rng.randrange(100):02d}",
            "LOTW_QSL_RCVD": rng.choice("YNN"),
            "COMMENT": rng.choice(("", "tnx", "Grüße", "first on this band")),
            "APP_SOMELOG_SERIAL": str(number),
        }
        yield tuple(Field(name, text) for name, text in said.items())


def main() -> None:
    rng = random.Random(1)
    folder = Path(tempfile.mkdtemp(prefix="hearmark-bench-"))
    log = folder / "log.adi"
    with log.open("wb") as file:
        for piece in write_adi(contacts(rng), (), datetime(2026, 1, 1, tzinfo=UTC), "1"):
            file.write(piece)
    print(f"log of {CONTACTS} contacts, {log.stat().st_size / 1e6:.0f} MB ADI, invented, seed 1")
    with Store(folder / "log.db", backup=False) as store:
        for what in ("import", "import again"):
            begin = time.perf_counter()
            report = import_file(store, log, Entities())
            print(
                f"{what:<34} {time.perf_counter() - begin:7.2f} s   {report.added} added, {report.unchanged} there "
                f"already, {len(report.refused)} refused"
            )
        begin = time.perf_counter()
        export_file(store, folder / "out.adi")
        print(f"{'export':<34} {time.perf_counter() - begin:7.2f} s")
        times = []
        for _ in range(5):
            begin = time.perf_counter()
            counted = worked(store)
            times.append(time.perf_counter() - begin)
        print(f"{'needs, all kinds':<34} {max(times):7.2f} s   slowest of 5; {len(counted.slots['entity'])} entities")
        times = []
        for fields in zip(range(ADDED), contacts(rng), strict=False):
            begin = time.perf_counter()
            store.add(read_contact(fields[1]))
            times.append(time.perf_counter() - begin)
        times.sort()
        print(
            f"{'one contact, synced to the disk':<34} {1e3 * times[ADDED // 2]:7.2f} ms  median of {ADDED}; "
            f"99 % below {1e3 * times[int(0.99 * ADDED)]:.2f} ms, slowest {1e3 * times[-1]:.2f} ms"
        )
    several = [call for call, _ in zip(calls(rng), range(CALLS), strict=False)]
    begin = time.perf_counter()
    known = Entities()
    found = sum(known.lookup(call, date(2026, 3, 21)) is not None for call in several)
    print(f"{f'entities of {CALLS} calls':<34} {time.perf_counter() - begin:7.2f} s   {found} with an entity")


if __name__ == "__main__":
    main()
