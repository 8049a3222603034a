"""A full room under load: thirty benches that each save a record every ten seconds, with the board open.

    python -m benchmarks.room_load [--seconds 180] [--benches 30] [--every 10]

Measured: records lost (none may be), the time from sending a record until its bench knows how it was judged, the time until the board
is told, and the memory of the server with its judges at the start and at the end. Everything runs on this machine.
"""

from __future__ import annotations

import argparse
import asyncio
import base64
import json
import re
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import httpx2 as httpx
import numpy as np

from joulebook.planning.design import random_design
from joulebook.planning.folder import write_bench_folder
from joulebook.planning.simulate import simulate_bench

RESULTS = Path(__file__).parent / "results" / "room_load.json"
_VALUES = {"cart.mass": "0.5 kg ± 0.001 kg", "track.angle": "8 deg ± 0.25 deg"}


def records(count: int, folder: Path) -> list[bytes]:
    """Return so many different launch records of one simulated bench."""
    rng = np.random.default_rng(11)
    found: list[bytes] = []
    while len(found) < count:
        design = random_design(rng, stop="spring", placed="top", rate=20.0, angle=8.0, launches=6, hands=False)
        file = write_bench_folder(simulate_bench(design, rng), folder / f"b{len(found)}")
        found += [path.read_bytes() for path in sorted(file.parent.glob("launch*.csv"))]
    return found[:count]


async def run(base: str, link: str, *, benches: int, seconds: float, every: float, contents: list[bytes]) -> dict[str, object]:
    """Run the load and return what was measured."""
    headers = {"Origin": base}
    limits = httpx.Limits(max_connections=200, max_keepalive_connections=200)
    async with httpx.AsyncClient(base_url=base, headers=headers, timeout=60.0, limits=limits) as teacher:
        await teacher.get(link)
        made = (await teacher.post("/api/sections", json={"title": "Load", "benches": benches})).json()
        section, codes = made["section"], made["codes"]
        board: list[tuple[float, str, int | None]] = []
        listener = asyncio.create_task(_listen(teacher, section, board))
        clients = []
        for number in range(1, benches + 1):
            client = httpx.AsyncClient(base_url=base, headers=headers, timeout=60.0)
            await client.post("/join", data={"code": codes[str(number)]})
            await client.post("/api/bench/changes", json={"kind": "values-set", "body": {"values": _VALUES}})
            clients.append(client)
        before = memory()
        took: list[tuple[int, float, float]] = []
        failed: list[str] = []
        began = time.perf_counter()
        await asyncio.gather(
            *(
                _bench(client, number, contents[number - 1 :: benches], took, failed, seconds, every, began, every * number / benches)
                for number, client in enumerate(clients, 1)
            )
        )
        await asyncio.sleep(3.0)
        after = memory()
        listener.cancel()
        state = (await teacher.get(f"/api/sections/{section}")).json()
        kept = sum(len(bench["records"]) for bench in state["benches"])
        for client in clients:
            await client.aclose()
    to_board = [_next_event(board, number, sent) - sent for number, sent, _ in took]
    return {
        "benches": benches, "every_s": every, "seconds": seconds, "sent": len(took) + len(failed), "acknowledged": len(took), "kept": kept,
        "failed": failed[:5], "checked_p50_s": float(np.quantile([t for _, _, t in took], 0.5)),
        "checked_p95_s": float(np.quantile([t for _, _, t in took], 0.95)), "checked_max_s": max(t for _, _, t in took),
        "board_p95_s": float(np.quantile(to_board, 0.95)), "board_max_s": max(to_board),
        "memory_before_mb": before, "memory_after_mb": after,
    }  # fmt: skip


async def _bench(
    client: httpx.AsyncClient, number: int, contents: list[bytes], took: list[tuple[int, float, float]], failed: list[str],
    seconds: float, every: float, began: float, offset: float,
) -> None:  # fmt: skip
    for turn, content in enumerate(contents):
        at = offset + turn * every
        if at > seconds:
            return
        await asyncio.sleep(max(0.0, began + at - time.perf_counter()))
        sent = time.perf_counter()
        body = {"name": f"launch-{turn + 1}.csv", "role": "launch", "content": base64.b64encode(content).decode()}
        answer = await client.post("/api/bench/records", json=body)
        now = time.perf_counter()
        state = (answer.json().get("record") or {}).get("state") if answer.status_code == 201 else ""
        if answer.status_code == 201 and state not in ("", "checking", None):
            took.append((number, sent, now - sent))
        else:
            failed.append(f"bench {number}: {answer.status_code} {state} {answer.text[:120]}")


async def _listen(teacher: httpx.AsyncClient, section: str, board: list[tuple[float, str, int | None]]) -> None:
    async with teacher.stream("GET", f"/sections/{section}/events", timeout=None) as answer:
        kind = ""
        async for line in answer.aiter_lines():
            if line.startswith("event: "):
                kind = line.removeprefix("event: ")
            elif line.startswith("data: "):
                board.append((time.perf_counter(), kind, json.loads(line.removeprefix("data: "))["bench"]))


def _next_event(board: list[tuple[float, str, int | None]], number: int, sent: float) -> float:
    """Return when the board was told that a bench was judged, after something was sent."""
    return next((at for at, kind, bench in board if kind == "judged" and bench == number and at > sent), float("inf"))


def memory() -> float:
    """Return the resident memory of the server and its judges, MB."""
    total = 0.0
    for status in Path("/proc").glob("[0-9]*/status"):
        try:
            command = (status.parent / "cmdline").read_bytes()
            if b"joulebook.web.judge_process" in command or b"benchmarks.serve_room" in command:
                found = re.search(r"VmRSS:\s+(\d+) kB", status.read_text())
                total += float(found[1]) / 1024.0 if found else 0.0
        except OSError:
            continue
    return round(total, 1)


def main(arguments: Sequence[str] | None = None) -> None:
    """Start a server, run the load, write the results."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=180.0)
    parser.add_argument("--benches", type=int, default=30)
    parser.add_argument("--every", type=float, default=10.0)
    parser.add_argument("--store", help="address of a PostgreSQL database; an SQLite file unless given")
    parser.add_argument("--quick", action="store_true", help="six benches for 20 s, a record every 5 s")
    parser.add_argument("--out", type=Path, default=RESULTS, help="where the results go")
    asked = parser.parse_args(arguments)
    if asked.quick:
        asked.benches, asked.seconds, asked.every = 6, 20.0, 5.0
    turns = int(asked.seconds / asked.every) + 1
    with TemporaryDirectory() as folder:
        contents = records(asked.benches * turns, Path(folder) / "records")
        command = [sys.executable, "-m", "benchmarks.serve_room", "--data", folder, "--port", "0"]
        if asked.store:
            command += ["--store", asked.store]
        server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        try:
            assert server.stdout is not None
            link = next(line.strip() for line in server.stdout if "/sign-in/" in line)
            base = link.partition("/sign-in/")[0]
            results = asyncio.run(
                run(base, link, benches=asked.benches, seconds=asked.seconds, every=asked.every, contents=contents)
            )
        finally:
            server.terminate()
            server.wait(10.0)
    asked.out.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")
    print(json.dumps(results, indent=1))


if __name__ == "__main__":
    main()
