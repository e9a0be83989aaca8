"""Plays many trials: on this machine's processes, or on a Dask cluster that the user names."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from importlib import import_module
from typing import Any, TypeVar

from hearmark.errors import HearmarkError
from hearmark.study.ledger import Ledger

Item = TypeVar("Item")
Record = dict[str, Any]
MOST_RESTARTS = 3
"""So often a pool that lost a process is begun anew for what it had not finished."""
WAITING = 8
"""Trials handed to each process beforehand."""
PATIENCE_S = 20.0
"""For a scheduler to answer."""


def play_all(
    play: Callable[[Item], Record],
    items: Sequence[Item],
    ledger: Ledger,
    key: Callable[[Item], str],
    processes: int | None = None,
    scheduler: str | None = None,
    told: Callable[[float], None] | None = None,
) -> None:
    """Play what the ledger does not have yet and keep each result as it comes.

    `play` must be importable by name where it runs. `scheduler`: address of a Dask scheduler, else `processes` of this
    machine (all its cores by default). `told` is called with the number of items done. Raises HearmarkError when the
    scheduler does not answer, or processes die again and again.
    """
    done = sum(key(item) in ledger.records for item in items)
    open_items = [item for item in items if key(item) not in ledger.records]
    if told is not None:
        told(done)
    records = _cluster(play, open_items, key, scheduler) if scheduler else _local(play, open_items, processes)
    for record in records:
        if ledger.add(record):
            done += 1
            if told is not None:
                told(done)


def _local(play: Callable[[Item], Record], items: Sequence[Item], processes: int | None) -> Iterator[Record]:
    count = processes or os.cpu_count() or 1
    if count == 1:
        yield from map(play, items)
        return
    left = list(enumerate(items))
    for _ in range(MOST_RESTARTS + 1):
        finished: set[int] = set()
        try:
            with ProcessPoolExecutor(count, initializer=_one_thread) as pool:
                for index, record in _in_turn(pool, play, left, count * WAITING):
                    finished.add(index)
                    yield record
            return
        except BrokenProcessPool:
            left = [(index, item) for index, item in left if index not in finished]
    raise HearmarkError("Processes of the study die again and again; try with fewer (--processes 1).")


def _in_turn(
    pool: ProcessPoolExecutor, play: Callable[[Item], Record], items: Iterable[tuple[int, Item]], ahead: int
) -> Iterator[tuple[int, Record]]:
    waiting: dict[Future[Record], int] = {}
    queue = iter(items)
    try:
        while True:
            while len(waiting) < ahead and (following := next(queue, None)) is not None:
                waiting[pool.submit(play, following[1])] = following[0]
            if not waiting:
                return
            for future in wait(waiting, return_when=FIRST_COMPLETED).done:
                index = waiting.pop(future)
                yield index, future.result()
    finally:
        for future in waiting:
            future.cancel()


def _one_thread() -> None:
    """Each process has one core: libraries that would start threads of their own only get in each other's way."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"


def _cluster(
    play: Callable[[Item], Record], items: Sequence[Item], key: Callable[[Item], str], address: str
) -> Iterator[Record]:
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        raise HearmarkError(
            'A cluster needs the optional part "cluster": install it with pip install "hearmark[cluster]".'
        ) from None
    try:
        client = distributed.Client(address, timeout=PATIENCE_S, name="hearmark study")
    except (OSError, ValueError, TimeoutError) as error:
        raise HearmarkError(f"No scheduler answers at {address}: {_first_line(error)}") from None
    with client:
        futures = client.map(play, items, key=[f"hearmark {key(item)}" for item in items], retries=2)
        for future in distributed.as_completed(futures):
            try:
                record: Record = future.result()
            except HearmarkError:
                raise
            except Exception as error:
                raise HearmarkError(f"The cluster could not play a trial: {_first_line(error)}") from None
            future.release()
            yield record


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0]
