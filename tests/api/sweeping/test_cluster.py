"""The same sweep on a real Dask scheduler with two real workers, one of which is killed in the middle."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from tests.api.sweeping.test_crews import Letters

from joulebook.api.sweeping.benches import BenchFiles, BenchFolder
from joulebook.api.sweeping.cluster import Cluster
from joulebook.api.sweeping.crews import in_order
from joulebook.api.sweeping.files import write_sweep
from joulebook.api.sweeping.packing import FolderTree, pack
from joulebook.api.sweeping.work import Task
from joulebook.errors import InputError

ROOT = Path(__file__).parents[3]

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL")]


class Machines:
    """A scheduler on this machine, and the workers that were started for it."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._log = (folder / "log").open("wb")
        environment = {
            **os.environ,
            "PYTHONPATH": f"{ROOT / 'src'}{os.pathsep}{ROOT}",
            "TMPDIR": str(folder),
            "DASK_TEMPORARY_DIRECTORY": str(folder),
            "DASK_DISTRIBUTED__COMM__TIMEOUTS__CONNECT": "60s",
        }
        self._started: list[subprocess.Popen[bytes]] = []
        self._environment = environment
        self._start("scheduler", "--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(folder / "scheduler.json"))
        self.address = self._address()

    def _start(self, *arguments: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "dask", *arguments, "--no-dashboard"]
        # A group of its own: whatever it starts ends with it.
        process = subprocess.Popen(
            command, env=self._environment, cwd=self._folder, stdout=self._log, stderr=self._log, start_new_session=True
        )
        self._started.append(process)
        return process

    def _address(self) -> str:
        import json

        path = self._folder / "scheduler.json"
        until = time.monotonic() + 120.0
        while time.monotonic() < until:
            with contextlib.suppress(OSError, ValueError, KeyError):
                return str(json.loads(path.read_text())["address"])
            time.sleep(0.05)
        raise AssertionError((self._folder / "log").read_text())

    def worker(self, *arguments: str) -> subprocess.Popen[bytes]:
        """Start a worker with one thread."""
        return self._start("worker", self.address, "--nthreads", "1", "--host", "127.0.0.1", *arguments)

    def wait_for(self, count: int) -> None:
        """Wait until so many workers are there."""
        from distributed import Client

        with Client(self.address, set_as_default=False, timeout="60s") as client:
            client.wait_for_workers(count, timeout=120)

    def close(self) -> None:
        """End the processes that were started here."""
        for process in reversed(self._started):
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()
        self._log.close()


@pytest.fixture
def machines(tmp_path: Path) -> Iterator[Machines]:
    pytest.importorskip("distributed")
    folder = tmp_path / "machines"
    folder.mkdir()
    found = Machines(folder)
    yield found
    found.close()


@pytest.fixture
def root(sound_bench: Path, motley: Path, tmp_path: Path) -> Path:
    """Some sound benches, and those of the motley school."""
    folder = Path(shutil.copytree(motley, tmp_path / "root"))
    for number in range(24):
        shutil.copytree(sound_bench, folder / f"class-x/bench-{number}")
        with (folder / f"class-x/bench-{number}/rest.csv").open("a") as stream:
            stream.write("\n" * number)
    return folder


def test_a_killed_worker_changes_nothing(machines: Machines, root: Path, tmp_path: Path) -> None:
    write_sweep(root, jsonl=tmp_path / "here.jsonl", parquet=tmp_path / "here.parquet", method="linear")
    workers = [machines.worker("--no-nanny"), machines.worker("--no-nanny")]
    machines.wait_for(2)

    def kill_one(done: int, kept: int, total: int) -> None:
        if 10 <= done < total and workers[0].poll() is None:
            workers[0].kill()
            workers[0].wait()

    told = write_sweep(
        root, jsonl=tmp_path / "there.jsonl", parquet=tmp_path / "there.parquet", scheduler=machines.address, method="linear",
        progress=kill_one,
    )  # fmt: skip
    assert workers[0].returncode == -signal.SIGKILL
    assert workers[1].poll() is None
    assert told.benches == 38
    for suffix in ("jsonl", "parquet"):
        assert (tmp_path / f"there.{suffix}").read_bytes() == (tmp_path / f"here.{suffix}").read_bytes()


def test_a_bench_that_ends_every_worker_is_told(machines: Machines, tmp_path: Path) -> None:
    """A worker that its nanny starts again is ended again and again; the others' work is done all the same."""
    machines.worker()
    machines.wait_for(1)
    cluster = Cluster(machines.address, patience=120.0)
    results = [result for some in in_order("abcdef", Letters("c"), cluster, total=6) for result in some]
    assert results == ["A", "B", "c crashed", "D", "E", "F"]


def test_nobody_is_there(machines: Machines) -> None:
    with pytest.raises(
        InputError, match=r"The scheduler at tcp.* has had no worker for 0\.5 seconds\. Start workers: dask worker tcp"
    ):
        Cluster(machines.address, patience=0.5)
    worker = machines.worker("--no-nanny")
    machines.wait_for(1)
    cluster = Cluster(machines.address, patience=0.5)
    with pytest.raises(InputError, match="has had no worker") as caught:
        list(in_order("c", Letters("c"), cluster, total=1))
    assert caught.value.code == "workers"
    worker.wait()


class Elsewhere:
    """Work whose module only this process has."""

    def __call__(self, benches: Sequence[str], /) -> list[str]:
        return list(benches)

    def crashed(self, bench: str, /) -> str:
        return bench


def test_a_worker_without_joulebook(machines: Machines, monkeypatch: pytest.MonkeyPatch) -> None:
    machines.worker("--no-nanny")
    machines.wait_for(1)
    monkeypatch.setattr(Elsewhere, "__module__", "nowhere")
    monkeypatch.setitem(sys.modules, "nowhere", sys.modules[__name__])
    with pytest.raises(InputError, match=r"A worker cannot load nowhere\. Install joulebook wherever a worker runs\."):
        list(in_order("c", Elsewhere(), Cluster(machines.address), total=1))


def test_a_scheduler_that_goes_away(machines: Machines) -> None:
    machines.worker("--no-nanny")
    machines.wait_for(1)
    cluster = Cluster(machines.address)
    results = in_order("ab", Letters(), cluster, total=2)
    next(results)
    machines._started[0].kill()
    machines._started[0].wait()
    with pytest.raises(InputError, match=r"The scheduler at tcp.* is gone\. Start it and its workers again\."):
        cluster.result(cluster.submit(Letters(), ["c"]))
    results.close()


def test_no_scheduler_at_all(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr("joulebook.api.sweeping.cluster._ANSWER", 0.5)
    with pytest.raises(
        InputError, match=r"No scheduler answers at tcp://127\.0\.0\.1:9: .*Look at the address, which is like tcp"
    ):
        Cluster("tcp://127.0.0.1:9")
    with pytest.raises(InputError, match="No scheduler answers at nonsense://here"):
        Cluster("nonsense://here")


def test_what_cannot_be_sent_is_done_here(sound_bench: Path) -> None:
    """No worker is needed for a bench that stays where it is, and none could see it."""
    cluster = object.__new__(Cluster)
    future = cluster.submit(Task({"method": "linear"}), [BenchFolder("a", str(sound_bench.parent), sound_bench.name)])
    (outcome,) = future.result()
    assert outcome.line["ok"]
    packed = pack(FolderTree(str(sound_bench.parent), sound_bench.name), "a")
    assert isinstance(packed, BenchFiles)
    assert Task({"method": "linear"})([packed])[0].line == outcome.line
