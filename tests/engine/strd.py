"""Reads NIST StRD files, tests/data/strd (public domain), and measures agreement in digits."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

__all__ = ["Certified", "digits", "read", "read_univariate"]

_FOLDER = Path(__file__).parent.parent / "data" / "strd"
_NUMBER = re.compile(r"^[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?$")


@dataclass(frozen=True, eq=False)
class Certified:
    """One file: certified estimates and their sd, starts (nonlinear), residual sd and sum of squares, and the data columns."""

    name: str
    estimates: npt.NDArray[np.float64]
    sds: npt.NDArray[np.float64]
    starts: tuple[npt.NDArray[np.float64], ...]
    residual_sd: float
    rss: float
    dof: int
    data: npt.NDArray[np.float64]


def read(kind: str, name: str) -> Certified:
    """Read a linear or nonlinear regression set: its certified table and its data."""
    lines = (_FOLDER / kind / f"{name}.dat").read_text(encoding="ascii", errors="replace").splitlines()
    table, starts, rows = [], [], []
    residual_sd = rss = math.nan
    dof = 0
    last = max(i for i, line in enumerate(lines) if line.lstrip().startswith("Data:"))
    for line in lines[:last]:
        words = line.replace("=", " ").split()
        if words and re.fullmatch(r"[Bb]\d+", words[0]) and all(_NUMBER.match(word) for word in words[1:]) and len(words) > 2:
            numbers = [float(word) for word in words[1:]]
            table.append(numbers[-2:])
            starts.append(numbers[:-2])
        if line.strip().startswith("Residual") and "Sum of Squares" in line:
            rss = float(words[-1])
        if "Standard Deviation" in line and len(words) >= 3 and _NUMBER.match(words[-1]):
            residual_sd = float(words[-1])
        if line.strip().startswith("Degrees of Freedom"):
            dof = int(words[-1])
        if words[:1] == ["Residual"] and len(words) == 4 and all(_NUMBER.match(word) for word in words[1:]):
            dof, rss = int(words[1]), float(words[2])
    for line in lines[last + 1 :]:
        words = line.split()
        if words and all(_NUMBER.match(word) for word in words):
            rows.append([float(word) for word in words])
    values = np.array(table)
    begin = tuple(np.array(column) for column in zip(*starts, strict=True)) if starts and starts[0] else ()
    return Certified(name, values[:, 0], values[:, 1], begin, residual_sd, rss, dof, np.array(rows))


def read_univariate(name: str) -> tuple[npt.NDArray[np.float64], tuple[float, float, float]]:
    """Read a univariate set: its values, and the certified mean, standard deviation and lag-1 autocorrelation."""
    lines = (_FOLDER / "univariate" / f"{name}.dat").read_text(encoding="ascii").splitlines()
    start = max(i for i, line in enumerate(lines) if line.startswith("Data:"))
    certified = {}
    for line in lines[:start]:
        found = re.match(r"\s*Sample (Mean|Standard Dev|Autocorr).*:\s*([-+.\deE]+)", line)
        if found:
            certified[found[1]] = float(found[2])
    values = [float(line) for line in lines[start + 1 :] if _NUMBER.match(line.strip())]
    return np.array(values), (certified["Mean"], certified["Standard Dev"], certified["Autocorr"])


def digits(result: npt.ArrayLike, certified: npt.ArrayLike) -> float:
    """Return the least log relative error, the digits in agreement; for a certified 0, digits after the point."""
    found, truth = np.atleast_1d(np.asarray(result, dtype=float)), np.atleast_1d(np.asarray(certified, dtype=float))
    scale = np.where(truth == 0.0, 1.0, np.abs(truth))
    worst = float((np.abs(found - truth) / scale).max())
    return -math.log10(max(worst, 1e-15)) if math.isfinite(worst) else -math.inf
