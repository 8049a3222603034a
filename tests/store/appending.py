"""A program that uploads and edits as fast as it can and says what was acknowledged, to be killed at any moment.

    python -m tests.store.appending URL SECTION SEED

Each line: the number of an acknowledged change, its kind, and for a record the SHA-256 of its bytes. `check` looks at what is left.
"""

from __future__ import annotations

import hashlib
import itertools
import os
import random
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

from joulebook.classroom.changes import Draft
from joulebook.store.database import open_store
from joulebook.store.store import Store

ROOT = Path(__file__).parents[2]
_WRITERS = 3


def main(url: str, section: str, seed: int) -> None:
    """Write from several threads until killed."""
    store, said = open_store(url), threading.Lock()
    threads = [threading.Thread(target=_write, args=(store, section, seed * 10 + bench, bench, said)) for bench in range(1, _WRITERS + 1)]
    for thread in threads:
        thread.start()


def _write(store: Store, section: str, seed: int, bench: int, said: threading.Lock) -> None:
    rng = random.Random(seed)
    own: list[int] = []
    for turn in itertools.count():
        content, kind = None, ("record-added", "values-set", "bench-named", "undone")[turn % 4]
        if kind == "record-added":
            content = rng.randbytes(rng.choice([50, 3_000, 200_000]))
            sha = hashlib.sha256(content).hexdigest()
            draft = Draft(kind, "bench", bench, {"name": f"{turn}.csv", "sha256": sha, "size": len(content), "role": "launch"})
            if turn >= 4 * 50:  # a bench holds 60 records
                continue
        elif kind == "values-set":
            draft = Draft(kind, "bench", bench, {"values": {"cart.mass": f"0.{turn + 100} kg"}})
        elif kind == "bench-named":
            draft = Draft(kind, "bench", bench, {"name": f"{seed} {turn}"})
        else:
            draft = Draft(kind, "bench", bench, {"change": own[-1]})
        made = store.append(section, draft, content=content)
        own.append(made.seq)
        with said:
            sys.stdout.write(f"{made.seq} {made.kind} {made.body.get('sha256', '-')}\n")
            sys.stdout.flush()


def killed(
    url: str, section: str, seed: int, *, after: int, delay: float, first: Callable[[], object] | None = None
) -> list[tuple[int, str, str]]:
    """Start the program, kill it once it has acknowledged `after` changes and `delay` seconds have passed, and return everything
    that it acknowledged. first: done just before, while the program writes."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "src")])}
    command = [sys.executable, "-m", "tests.store.appending", url, section, str(seed)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=ROOT, env=environment)
    assert process.stdout is not None and process.stderr is not None
    with process:
        lines = []
        for line in process.stdout:
            lines.append(line)
            if len(lines) == after:
                break
        threading.Event().wait(delay)
        if first is not None:
            first()
        process.send_signal(signal.SIGKILL)
        lines += process.stdout.readlines()
        errors = process.stderr.read().decode()
    assert len(lines) >= after, errors
    whole = [line.split() for line in lines if line.endswith(b"\n")]
    return [(int(seq), kind.decode(), sha.decode()) for seq, kind, sha in whole]


def check(store: Store, section: str, acknowledged: list[tuple[int, str, str]]) -> list[str]:
    """Return what is wrong with a store after a kill: acknowledged changes that are not there, gaps, files that are not whole."""
    log = store.changes(section)
    wrong = [] if [change.seq for change in log] == list(range(1, len(log) + 1)) else ["the numbers have a gap"]
    by_seq = {change.seq: change for change in log}
    for seq, kind, sha in acknowledged:
        change = by_seq.get(seq)
        if change is None or change.kind != kind or str(change.body.get("sha256", "-")) != sha:
            wrong.append(f"change {seq} ({kind}) was acknowledged and is not there")
    for change in log:
        if change.kind == "record-added":
            content = store.contents(section, [str(change.body["sha256"])]).get(str(change.body["sha256"]))
            if content is None or hashlib.sha256(content).hexdigest() != change.body["sha256"]:
                wrong.append(f"the file of change {change.seq} is not whole")
    if store.section(section).seq != len(log):
        wrong.append("the section is not at its last change")
    return wrong


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]))
