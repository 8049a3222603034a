"""The process of one judge: questions come on its standard input, answers leave on its standard output, pickled.

Started by `judges`, as `python -m joulebook.web.judge_process`.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import signal
import sys
from typing import BinaryIO

from joulebook.classroom.judging import judge_bench

__all__ = ["answer_questions"]

_MOST_MEMORY = 2 * 1024**3  # bytes of address space


def answer_questions(questions: BinaryIO, answers: BinaryIO) -> None:
    """Answer until the questions end: a judgement for each, or a text that says what failed."""
    while True:
        try:
            bench, contents, house = pickle.load(questions)
        except EOFError:
            return
        try:
            answer: object = judge_bench(bench, contents, house)
        except MemoryError:
            answer = "out of memory"
        except Exception as error:  # whatever it is, the room goes on
            answer = f"{type(error).__name__}: {error}"
        pickle.dump(answer, answers, pickle.HIGHEST_PROTOCOL)
        answers.flush()


if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's to answer
    # Nothing that a reader prints may get between the answers.
    line = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (_MOST_MEMORY, _MOST_MEMORY))
    with contextlib.suppress(BrokenPipeError):
        answer_questions(sys.stdin.buffer, line)
