"""What a report says of a record file that holds several runs, of which the audit took the first because none was named."""

from __future__ import annotations

import re

from joulebook.engine.report import Audit
from joulebook.render.plain import clean_text

__all__ = ["RUNS_QUESTION", "runs_notice"]

RUNS_QUESTION = "One run of several"
"""What the notice answers, where questions and answers stand beside each other."""

# The sentence of the reader; nothing else of a record says that nobody has chosen.
_TAKEN = re.compile(r"the file holds (?P<runs>\d+) runs; the first, “(?P<name>.*?)”, is read, not (?P<others>.*); choose by run")


def runs_notice(audit: Audit) -> str:
    """Return what is audited and how to have another run or all of them, "" where every file holds one or a run was named."""
    told = []
    for record in audit.records:
        found = next((match for notice in record.notices if (match := _TAKEN.fullmatch(notice))), None)
        if found is None:
            continue
        # A run that was taken stands behind its file's name.
        file, runs = clean_text(record.file.removesuffix(f"#{found['name']}")), int(found["runs"])
        every = ", ".join(f'"{file}#{number}"' for number in range(1, min(runs, 3) + 1)) + (", …" if runs > 3 else "")
        told.append(
            f"{file} holds {runs} runs, and only the first, “{clean_text(found['name'])}”, is audited; left out: "
            f"{clean_text(found['others'])}. To take the second instead, write {file}#2 in the bench file's [files], or give "
            f"--run 2 with --launch; to take all as launches of this bench, write launch = [{every}]."
        )
    return " ".join(told)
