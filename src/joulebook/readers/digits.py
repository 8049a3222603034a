"""The step of the last printed digit of a column of numbers."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

__all__ = ["printed_step"]

_EXPONENT = re.compile(r"e([+-]?\d+)\s*$", re.IGNORECASE)
_AFTER_POINT = re.compile(r"\.(\d+)")
_LONGEST = 9


def printed_step(cells: Sequence[str], numbers: npt.NDArray[np.float64], *, decimal: str, exact: bool) -> float:
    """Return the step of the last digit, in the column's own unit; 0 when it cannot be told.

    cells: the printed numbers. numbers: their values, shape (n,), NaN for blanks. decimal: the decimal mark.
    exact: the cells are as printed; else (a spreadsheet's floating-point numbers) the step is the smallest power of ten
    of which all numbers are multiples. Numbers with ten decimals or more are a computer's, not an instrument's.
    """
    if exact:
        digits = _decimals(cells, decimal)
        if digits is not None:
            return float(10.0**-digits) if digits <= _LONGEST else 0.0
    finite = numbers[np.isfinite(numbers)]
    for digits in range(7):
        scaled = finite * 10.0**digits
        if finite.size and np.all(np.abs(scaled - np.rint(scaled)) < 1e-6):
            return float(10.0**-digits)
    return 0.0


def _decimals(cells: Sequence[str], decimal: str) -> int | None:
    """Return the most decimals of any cell; None where exponents differ, so that the last digit is worth different steps."""
    whole = "\n".join(cells)
    if "e" in whole or "E" in whole:
        found = set()
        for cell in cells:
            match = _EXPONENT.search(cell)
            mantissa = cell[: match.start()] if match else cell
            if any(c.isdigit() for c in mantissa):
                found.add(_after_mark(mantissa, decimal) - (int(match[1]) if match else 0))
        # Zero is printed with an exponent of its own; the finest step is the instrument's only if nearly all agree.
        return max(found) if found and max(found) - min(found) <= 1 else None
    if decimal == ".":
        return max(map(len, _AFTER_POINT.findall(whole)), default=0)
    return max((_after_mark(cell, decimal) for cell in cells if any(c.isdigit() for c in cell)), default=0)


def _after_mark(cell: str, decimal: str) -> int:
    text = cell.strip().strip("\"'")
    at = max(text.rfind(decimal), text.rfind(".")) if decimal == "," else text.rfind(".")
    return sum(c.isdigit() for c in text[at + 1 :]) if at >= 0 else 0
