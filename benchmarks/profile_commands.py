"""A profile of each command: its import, its help, and a small use of it, beside the import of NumPy in a process of its own."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import IO, Any

import numpy as np
from benchmarks.cost import environment

from joulebook.cli.main import COMMANDS

__all__ = ["command_lines", "first_output", "measure_commands"]

_START = "from joulebook.cli.main import main; main()"
_IMPORT = "import sys, time; t = time.perf_counter(); import {module}; print(time.perf_counter() - t)"


def command_lines(demo: Path, out: Path) -> dict[str, list[str]]:
    """Return for each command a small thing that it is used for. demo: a folder that `joulebook demo` wrote. out: an empty one."""
    bench = str(demo / "benches" / "bench-1")
    return {
        "audit": ["audit", bench],
        "runs": ["runs", str(demo / "benches" / "bench-1" / "launch-1.csv")],
        "sweep": ["sweep", str(demo / "benches"), "--workers", "1", "--linear"],
        "plan": ["plan", str(demo / "for-the-teacher" / "kit.toml")],
        "sheet": ["sheet", "card", bench, "--html", str(out / "card.html")],
        "demo": ["demo", "--out", str(out / "demo"), "--no-pdf"],
        "check": ["check", str(demo / "benches")],
        "rehearse": ["rehearse", "--out", str(out / "rehearse"), "--dialect", "plain"],
        "serve": ["serve", "--data", str(out / "room"), "--port", "0"],
        "class": ["class", str(demo / "benches")],
        "mark": ["mark", str(demo / "benches"), "--write-ups", str(demo / "for-the-teacher" / "write-ups.csv")],
        "store": ["store", "sections", "--data", str(out / "room")],
        "findings": ["findings"],
        "version": ["version"],
    }


def measure_commands(repeats: int, *, only: Sequence[str] | None = None, demo: Path | None = None) -> dict[str, Any]:
    """Return for each command its times in s: of its import, to the end of --help, to the first output and the end of a small use.

    only: commands, None for all. demo: a folder that `joulebook demo` wrote, made unless given. Peers under "peer":
    `python -c "import numpy"` and `python -c pass`.
    """
    names = [name for name in COMMANDS if only is None or name in only]
    with TemporaryDirectory(prefix="joulebook-profile-") as place:
        folder = Path(place)
        if demo is None:
            demo = folder / "demo"
            made = [sys.executable, "-c", _START, "demo", "--out", str(demo), "--no-pdf"]
            subprocess.run(made, check=True, capture_output=True, env=environment())
        (folder / "out").mkdir()
        turns: dict[str, list[dict[str, float]]] = {name: [] for name in ("numpy", "bare", *names)}
        for turn in range(repeats):
            out = folder / "out" / str(turn)
            out.mkdir()
            lines = command_lines(demo, out)
            turns["numpy"].append(_command([sys.executable, "-c", "import numpy"]))
            turns["bare"].append(_command([sys.executable, "-c", "pass"]))
            for name in names:
                help_ = _command([sys.executable, "-c", _START, name, "--help"])["end"]
                use = _command([sys.executable, "-c", _START, *lines[name]], endless=name == "serve")
                loaded = _imported(COMMANDS[name][0])
                turns[name].append({"help": help_, "import": loaded, **use})
    medians = {name: {key: _median([each[key] for each in rows]) for key in rows[0]} for name, rows in turns.items()}
    peers = {name: medians.pop(name)["end"] for name in ("numpy", "bare")}
    return {"peer": peers, "commands": medians}


def _command(command: list[str], *, endless: bool = False) -> dict[str, float]:
    """Return when a process wrote its first byte and when it ended, in s; an endless one is ended after its first output."""
    begin = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=environment())
    assert process.stdout is not None
    with process:
        first, text = first_output(process.stdout)
        first -= begin
        if endless:
            process.terminate()
        text += process.stdout.read()
    end = time.perf_counter() - begin
    if not endless and process.returncode != 0:
        raise AssertionError(f"{' '.join(command[3:])} ended with {process.returncode}: {text.decode()[-600:]}")
    return {"first": min(first, end), "end": end}


def first_output(stream: IO[bytes]) -> tuple[float, bytes]:
    """Wait for the first bytes of a stream; return the instant (time.perf_counter) and the bytes, none at its end."""
    text = os.read(stream.fileno(), 4096)
    return time.perf_counter(), text


def _imported(module: str) -> float:
    ended = subprocess.run(
        [sys.executable, "-c", _IMPORT.format(module=module)], check=True, capture_output=True, text=True, env=environment()
    )
    return float(ended.stdout)


def _median(values: Sequence[float]) -> float:
    return float(np.median(values))
