"""Kill -9 at random moments of uploads and edits, on SQLite and on PostgreSQL: what was acknowledged must be there.

    python -m benchmarks.faults [--kills 50] [--seed 1]

Three threads upload records of up to 200 kB and edit as fast as the store lets them. After each kill the store is opened again: every
acknowledged change must be there, the numbers without a gap, every file whole. On PostgreSQL every fifth kill is the server's (SIGQUIT
to the postmaster, which ends at once and recovers from its log), while the program is writing.
"""

from __future__ import annotations

import argparse
import json
import random
import signal
import tempfile
from collections.abc import Sequence
from functools import partial
from pathlib import Path

from tests.postgres import Cluster
from tests.store.appending import check, killed

from joulebook.store.database import open_store

RESULTS = Path(__file__).parent / "results" / "faults.json"


def run(url: str, *, kills: int, seed: int, cluster: Cluster | None = None) -> dict[str, object]:
    """Kill a writer `kills` times, each in a section that an earlier one may have left half full, and return what was found."""
    rng = random.Random(seed)
    wrong: list[str] = []
    changes = files = servers = 0
    section, acknowledged = "", []
    for turn in range(kills):
        if turn % 5 == 0:  # a bench holds 60 records
            with open_store(url) as store:
                section, acknowledged = store.make_section(f"Section {turn}", benches=3), []
        # A server that ends leaves the writer with an error; the writer is killed after it.
        first = partial(cluster.stop, signal.SIGQUIT) if cluster is not None and turn % 5 == 4 else None
        found = killed(url, section, seed * 1000 + turn, after=rng.randint(1, 40), delay=rng.random() * 0.05, first=first)
        if first is not None and cluster is not None:
            cluster.start()
            servers += 1
        acknowledged += found
        changes += len(found)
        files += sum(kind == "record-added" for _, kind, _ in found)
        with open_store(url) as store:
            wrong += [f"kill {turn + 1}: {each}" for each in check(store, section, acknowledged)]
    return {"kills": kills, "of_the_server": servers, "acknowledged_changes": changes, "acknowledged_files": files, "wrong": wrong}


def main(arguments: Sequence[str] | None = None) -> None:
    """Write the results."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--quick", action="store_true", help="five kills")
    parser.add_argument("--out", type=Path, default=RESULTS, help="where the results go")
    chosen = parser.parse_args(arguments)
    if chosen.quick:
        chosen.kills = 5
    with tempfile.TemporaryDirectory() as folder:
        found = {"sqlite": run(f"sqlite:///{folder}/room.db", kills=chosen.kills, seed=chosen.seed)}
    cluster = Cluster(durable=True)
    try:
        found["postgresql"] = run(cluster.make_database(), kills=chosen.kills, seed=chosen.seed, cluster=cluster)
    finally:
        cluster.remove()
    chosen.out.write_text(json.dumps({"seed": chosen.seed, **found}, indent=2) + "\n", encoding="utf-8")
    print(chosen.out.read_text(encoding="utf-8"))


if __name__ == "__main__":
    main()
