"""Judges: processes of their own in which files are read and audited, so that no file can stall or bring down the server.

A judge that takes too long, or dies, is replaced, and the bench is told so. A bench always goes to the same judge.
"""

from __future__ import annotations

import logging
import pickle
import queue
import subprocess
import sys
import threading
from collections.abc import Mapping
from typing import TYPE_CHECKING, BinaryIO, cast

from joulebook.classroom.judging import Judgement, judgement_key

if TYPE_CHECKING:
    from joulebook.classroom.section import BenchState
    from joulebook.engine.house import House

__all__ = ["Judges"]

_LOG = logging.getLogger("joulebook.web")
_START_SECONDS = 60.0  # a judge's first answer includes its imports


class Judges:
    """A fixed number of judges. count: of processes. limit: seconds that one judgement may take."""

    def __init__(self, count: int = 2, *, limit: float = 20.0) -> None:
        self._judges = [_Judge(limit) for _ in range(max(1, count))]

    def judge(self, bench: BenchState, contents: Mapping[str, bytes], house: House, *, affinity: int = 0) -> Judgement:
        """Judge a bench in a process of its own; arguments as of `judge_bench`. Blocks, and never raises for what a file holds.

        affinity: benches of the same number go to the same judge.
        """
        answer = self._judges[affinity % len(self._judges)].ask((bench, dict(contents), house))
        if isinstance(answer, Judgement):
            return answer
        problem, remedy = answer
        return Judgement(judgement_key(bench, house), problem=problem, remedy=remedy)

    def start(self) -> None:
        """Start all judges, so that the first record of a lesson need not wait for their imports."""
        for judge in self._judges:
            judge.start()

    def close(self) -> None:
        """End all judges."""
        for judge in self._judges:
            judge.close()


class _Judge:
    """One process and the line to it; asked by one thread at a time."""

    def __init__(self, limit: float) -> None:
        self._limit = limit
        self._turn = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._answers: queue.Queue[object] = queue.Queue()
        self._fresh = True
        self._closed = False

    def ask(self, question: object) -> Judgement | tuple[str, str]:
        with self._turn:
            if self._closed:
                return "joulebook is shutting down.", "Start it again: what was saved is kept."
            try:
                line = self._started()
                pickle.dump(question, line, pickle.HIGHEST_PROTOCOL)
                line.flush()
                answer = self._answers.get(timeout=_START_SECONDS if self._fresh else self._limit)
            except queue.Empty:
                self._stop()
                problem = f"Checking this bench took longer than {self._limit:g} s and was given up."
                return problem, "Set the last record aside; save it again with fewer samples, or as plain text."
            except OSError:
                answer = None
            if answer is None:
                self._stop()
                problem = "Checking this bench ended without an answer."
                return problem, "Set the last record aside, and save it again as plain text."
            self._fresh = False
            if isinstance(answer, Judgement):
                return answer
            _LOG.error("a judge failed: %s", answer)
            problem = "Checking this bench failed: a fault of joulebook, not yours."
            return problem, "Set the last record aside, and tell the teacher."

    def start(self) -> None:
        with self._turn:
            if not self._closed:
                self._started()

    def close(self) -> None:
        # Not under the lock: a judgement at work is ended, not waited for.
        self._closed = True
        self._stop()

    def _started(self) -> BinaryIO:
        """Return the line to the judge's process, which is started when there is none."""
        if self._process is None or self._process.poll() is not None:
            self._stop()
            command = [sys.executable, "-m", "joulebook.web.judge_process"]
            self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
            self._answers, self._fresh = queue.Queue(), True
            listener = threading.Thread(
                target=_listen, args=(cast(BinaryIO, self._process.stdout), self._answers), daemon=True, name="joulebook-judge"
            )
            listener.start()
        return cast(BinaryIO, self._process.stdin)

    def _stop(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.wait(5.0)
            for line in (process.stdin, process.stdout):
                if line is not None:
                    try:
                        line.close()
                    except OSError:  # what was still to be sent goes nowhere
                        continue


def _listen(line: BinaryIO, answers: queue.Queue[object]) -> None:
    """Pass on what a judge answers; None when its line ends."""
    while True:
        try:
            answers.put(pickle.load(line))
        except (EOFError, OSError, ValueError, pickle.UnpicklingError):
            answers.put(None)
            return
