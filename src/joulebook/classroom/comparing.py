"""The students' numbers beside the audit's, for the teacher: the same quantity twice, and how far apart they are."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Mapping
from dataclasses import dataclass

from joulebook.classroom.own_work import FIELDS, own_number
from joulebook.classroom.section import BenchState
from joulebook.engine.report import Audit
from joulebook.errors import InputError
from joulebook.uncertainty import Quantity

__all__ = ["COMPARED", "SideBySide", "side_by_side"]

COMPARED: Mapping[str, tuple[str, str, str]] = {
    "release_speed": ("readings", "release_speed", "release_speed_u"),
    "travel": ("calculation", "travel", ""),
    "height": ("calculation", "height", ""),
    "kinetic_energy": ("calculation", "kinetic_energy", "kinetic_energy_u"),
    "potential_energy": ("calculation", "potential_energy", "potential_energy_u"),
}
"""By quantity of the audit: the step and field of the students' own value, and the field of its uncertainty, "" for none."""


@dataclass(frozen=True, slots=True)
class SideBySide:
    """One quantity twice.

    name: of the quantity. written, give_or_take: as the group wrote them, "" for blank. own, own_u: the numbers in SI units, None
    where there is none; own_u is a standard uncertainty: that of an energy as written, a reading's limit over √3.
    audit: of the bench as a whole, None when there is no ledger. low, high: of the single launches.
    difference: own less audit. relative: the same over the audit's value. apart: over the two uncertainties joined, None without.
    """

    name: str
    written: str
    give_or_take: str
    own: float | None
    own_u: float | None
    audit: Quantity | None
    low: float | None = None
    high: float | None = None

    @property
    def difference(self) -> float | None:
        """Own value less the audit's."""
        return None if self.own is None or self.audit is None else self.own - self.audit.value

    @property
    def relative(self) -> float | None:
        """The difference over the audit's value."""
        return (
            None if self.difference is None or self.audit is None or not self.audit.value else self.difference / self.audit.value
        )

    @property
    def apart(self) -> float | None:
        """The difference over the two standard uncertainties joined."""
        if self.difference is None or self.audit is None or not self.own_u:
            return None
        return abs(self.difference) / math.hypot(self.own_u, self.audit.u)


def side_by_side(bench: BenchState, audit: Audit | None, *, decimal: str = ".") -> tuple[SideBySide, ...]:
    """Return the students' numbers beside the audit's, a line for each quantity of COMPARED. decimal: the house's sign."""
    return tuple(_line(bench, audit, name, decimal) for name in COMPARED)


def _line(bench: BenchState, audit: Audit | None, name: str, decimal: str) -> SideBySide:
    step, field, u_field = COMPARED[name]
    written = _text(bench, step, field)
    # Uncertainties of energies are a step of their own; that of a reading stands beside it.
    u_step = "readings" if step == "readings" else "uncertainty"
    u_written = _text(bench, u_step, u_field) if u_field else ""
    own_u = _number(u_written, u_step, u_field, decimal) if u_field else None
    if own_u is not None and step == "readings":
        own_u /= math.sqrt(3.0)  # a limit, rectangular: GUM 4.3.7
    found = None if audit is None else audit.quantities.get(name)
    single = [] if audit is None else [each.quantities.get(name) for each in audit.launches]
    values = [each.value for each in single if isinstance(each, Quantity)]
    return SideBySide(
        name, written, u_written, _number(written, step, field, decimal),
        own_u,
        found if isinstance(found, Quantity) else None,
        min(values) if len(values) > 1 else None, max(values) if len(values) > 1 else None,
    )  # fmt: skip


def _text(bench: BenchState, step: str, name: str) -> str:
    saved = bench.work.get(step)
    return "" if saved is None else saved.fields.get(name, "").strip()


def _number(text: str, step: str, name: str, decimal: str) -> float | None:
    field = next(each for each in FIELDS[step] if each.name == name)
    with contextlib.suppress(InputError):
        return own_number(text, field, decimal=decimal)
    return None
