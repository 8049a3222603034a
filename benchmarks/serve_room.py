"""`joulebook serve` as a process that can be told apart from others by its command line, for the load and fault benchmarks."""

from __future__ import annotations

import sys

from joulebook.cli.main import joulebook
from joulebook.threads import one_thread

if __name__ == "__main__":
    sys.stdout.reconfigure(line_buffering=True)  # type: ignore[union-attr]
    one_thread()  # as the command itself does
    joulebook(["serve", *sys.argv[1:]], prog_name="joulebook")
