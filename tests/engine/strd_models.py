"""The 27 nonlinear models of NIST StRD, as their files print them; b are the parameters and may be complex, x the predictor."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

__all__ = ["MODELS"]


def _misra1b(b: Any, x: Any) -> Any:
    return b[0] * (1 - (1 + b[1] * x / 2) ** -2)


def _gauss(b: Any, x: Any) -> Any:
    hills = b[2] * np.exp(-((x - b[3]) ** 2) / b[4] ** 2) + b[5] * np.exp(-((x - b[6]) ** 2) / b[7] ** 2)
    return b[0] * np.exp(-b[1] * x) + hills


def _lanczos(b: Any, x: Any) -> Any:
    return b[0] * np.exp(-b[1] * x) + b[2] * np.exp(-b[3] * x) + b[4] * np.exp(-b[5] * x)


def _chwirut(b: Any, x: Any) -> Any:
    return np.exp(-b[0] * x) / (b[1] + b[2] * x)


def _cubic_ratio(b: Any, x: Any) -> Any:
    return (b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3) / (1 + b[4] * x + b[5] * x**2 + b[6] * x**3)


def _enso(b: Any, x: Any) -> Any:
    turn = 2 * np.pi * x
    total = b[0] + b[1] * np.cos(turn / 12) + b[2] * np.sin(turn / 12)
    for period, cosine, sine in ((3, 4, 5), (6, 7, 8)):
        total = total + b[cosine] * np.cos(turn / b[period]) + b[sine] * np.sin(turn / b[period])
    return total


MODELS: dict[str, Callable[[Any, Any], Any]] = {
    "Bennett5": lambda b, x: b[0] * (b[1] + x) ** (-1 / b[2]),
    "BoxBOD": lambda b, x: b[0] * (1 - np.exp(-b[1] * x)),
    "Chwirut1": _chwirut,
    "Chwirut2": _chwirut,
    "DanWood": lambda b, x: b[0] * x ** b[1],
    "ENSO": _enso,
    "Eckerle4": lambda b, x: (b[0] / b[1]) * np.exp(-0.5 * ((x - b[2]) / b[1]) ** 2),
    "Gauss1": _gauss,
    "Gauss2": _gauss,
    "Gauss3": _gauss,
    "Hahn1": _cubic_ratio,
    "Kirby2": lambda b, x: (b[0] + b[1] * x + b[2] * x**2) / (1 + b[3] * x + b[4] * x**2),
    "Lanczos1": _lanczos,
    "Lanczos2": _lanczos,
    "Lanczos3": _lanczos,
    "MGH09": lambda b, x: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
    "MGH10": lambda b, x: b[0] * np.exp(b[1] / (x + b[2])),
    "MGH17": lambda b, x: b[0] + b[1] * np.exp(-x * b[3]) + b[2] * np.exp(-x * b[4]),
    "Misra1a": lambda b, x: b[0] * (1 - np.exp(-b[1] * x)),
    "Misra1b": _misra1b,
    "Misra1c": lambda b, x: b[0] * (1 - (1 + 2 * b[1] * x) ** -0.5),
    "Misra1d": lambda b, x: b[0] * b[1] * x / (1 + b[1] * x),
    # The file's model is for log y; x holds both predictors.
    "Nelson": lambda b, x: b[0] - b[1] * x[0] * np.exp(-b[2] * x[1]),
    "Rat42": lambda b, x: b[0] / (1 + np.exp(b[1] - b[2] * x)),
    "Rat43": lambda b, x: b[0] / (1 + np.exp(b[1] - b[2] * x)) ** (1 / b[3]),
    "Roszman1": lambda b, x: b[0] - b[1] * x - np.arctan(b[2] / (x - b[3])) / np.pi,
    "Thurber": _cubic_ratio,
}
