"""A number as somebody wrote it down: its value, and the interval that it may have been rounded from.

"0.23" may stand for anything from 0.225 to 0.235. Nothing that a write-up holds is called wrong where this interval allows it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from joulebook.classroom.own_work import Field, own_number
from joulebook.errors import InputError

__all__ = ["Written", "read_written"]

_DIGITS = re.compile(r"^[-+−]?(\d*)(?:[.,](\d*))?(?:[eE]([-+]?\d+))?")


@dataclass(frozen=True, slots=True)
class Written:
    """A number that was written down.

    text: as it was typed. value: in the unit of its field. half: half of the last written digit's step, in that unit: what
    rounding can have taken away. figures: significant figures written.
    """

    text: str
    value: float
    half: float
    figures: int

    @property
    def low(self) -> float:
        """The least that it may stand for."""
        return self.value - self.half

    @property
    def high(self) -> float:
        """The most that it may stand for."""
        return self.value + self.half

    def holds(self, low: float, high: float, *, steps: float = 1.0) -> bool:
        """Whether a value between `low` and `high` could have been written so. steps: 1 for rounding, 2 for cutting off."""
        slack = 1e-9 * max(abs(self.value), abs(low), abs(high))
        return low <= self.value + steps * self.half + slack and high >= self.value - steps * self.half - slack


def read_written(text: str, field: Field, *, decimal: str = ".") -> Written | None:
    """Return the number of a field with its rounding interval; None when it is blank.

    field, decimal: as for `own_number`. Zeros at the end of a whole number may be places only: "120" may stand for 115 to 125.
    Raises InputError when it is no number.
    """
    value = own_number(text, field, decimal=decimal)
    if value is None:
        return None
    match = _DIGITS.match(text.strip().replace("−", "-"))
    if match is None or not (match[1] or match[2]):
        raise InputError(f"“{text[:40]}” is not understood as a number.", remedy="Write digits.")
    whole, fraction, exponent = match[1] or "", match[2], int(match[3] or 0)
    digits = (whole + (fraction or "")).lstrip("0")
    step = 10.0 ** (exponent - len(fraction or ""))
    if fraction is None and digits:
        kept = digits.rstrip("0")
        step *= 10.0 ** (len(digits) - len(kept))
        digits = kept
    written = abs(float((whole or "0") + "." + (fraction or "0"))) * 10.0**exponent
    scale = abs(value) / written if written else _scale(text, field, decimal)
    return Written(text, value, 0.5 * step * scale, max(len(digits), 1))


def _scale(text: str, field: Field, decimal: str) -> float:
    """Return the factor from what was written to the field's unit where the number itself is zero."""
    one = own_number(_DIGITS.sub("1", text.strip().replace("−", "-"), count=1), field, decimal=decimal)
    return abs(one) if one else 1.0
