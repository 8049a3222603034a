"""How many threads NumPy may use. Loads nothing, so that it can be said before NumPy is loaded."""

from __future__ import annotations

import os

__all__ = ["one_thread"]


def one_thread() -> None:
    """Let NumPy use one thread, unless the environment says otherwise; it asks once, when it is loaded.

    The matrices of an audit are small: threads that wait for each other took three times as long as one alone.
    """
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
