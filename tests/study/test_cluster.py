"""A study on a real scheduler of this machine with two workers, one of which is killed on the way."""

import json
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from hearmark.errors import HearmarkError
from hearmark.study.ledger import Ledger
from hearmark.study.runner import play_all
from hearmark.study.trial import Trial, plan, run

TRIALS = plan(("fixed", "tail-end", "program"), ("stay", "step"), range(1, 6), level="easy", minutes=10.0)


def key(trial: Trial) -> str:
    return trial.key


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Address of a scheduler and its two worker processes."""
    where = tmp_path / "scheduler.json"

    def start(module: str, *options: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.{module}", "--scheduler-file", str(where), *options]
        return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=tmp_path)

    scheduler = start("dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard")
    workers = [start("dask_worker", "--nthreads", "1", "--no-nanny", "--no-dashboard") for _ in range(2)]
    try:
        for _ in range(600):
            if where.exists() and where.read_text().strip():
                break
            time.sleep(0.1)
        yield json.loads(where.read_text())["address"], workers
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


def test_a_worker_killed_on_the_way_costs_nothing(
    cluster: tuple[str, list[subprocess.Popen[bytes]]], tmp_path: Path
) -> None:
    address, workers = cluster
    said: list[float] = []

    def told(done: float) -> None:
        said.append(done)
        if done == 5:
            workers[0].send_signal(signal.SIGKILL)

    path = tmp_path / "results.jsonl"
    with Ledger(path) as ledger:
        play_all(run, TRIALS, ledger, key, scheduler=address, told=told)
    assert workers[0].wait() == -signal.SIGKILL
    assert workers[1].poll() is None
    kept = Counter(json.loads(line)["key"] for line in path.read_text().splitlines())
    assert kept == Counter(trial.key for trial in TRIALS)
    assert said == list(range(len(TRIALS) + 1))
    with Ledger(path) as ledger:
        for trial in TRIALS[:6]:
            assert ledger.records[trial.key] == run(trial), "a cluster finds what one process finds"


def test_no_scheduler_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("hearmark.study.runner.PATIENCE_S", 0.5)
    with Ledger(None) as ledger, pytest.raises(HearmarkError, match=r"No scheduler answers at tcp://127\.0\.0\.1:1"):
        play_all(run, TRIALS, ledger, key, scheduler="tcp://127.0.0.1:1")


def test_without_the_optional_part_it_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with Ledger(None) as ledger, pytest.raises(HearmarkError, match=r"hearmark\[cluster\]"):
        play_all(run, TRIALS, ledger, key, scheduler="tcp://127.0.0.1:1")
