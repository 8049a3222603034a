"""One flat row for each bench of a sweep: what a person sorts and counts by, with its unit in its name."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    import pyarrow

__all__ = ["COLUMNS", "FORMAT", "Column", "arrow_schema", "row_of"]

FORMAT = "joulebook/sweep-1"

_Kind = Literal["text", "texts", "yes or no", "whole number", "number", "numbers"]

# The quantity, how its unit is written in a name, and what it is.
_QUANTITIES = (
    ("kinetic_energy", "J", "of translation, ½mv², at release"),
    ("rotational_energy", "J", "of the wheels at release"),
    ("potential_energy", "J", "gained from release to apex, with the stated slope"),
    ("rolling_loss", "J", "lost to rolling resistance from release to apex"),
    ("drag_loss", "J", "lost to air drag from release to apex"),
    ("difference", "J", "kinetic + rotational − potential"),
    ("relative_difference", "", "the difference over kinetic + rotational"),
    ("unaccounted", "J", "what is left of the difference after the losses"),
    ("release_speed", "m_per_s", "at the last instant at which the stop still pushes"),
    ("travel", "m", "from release to apex along the track"),
    ("height", "m", "from release to apex upwards"),
    ("climb_acceleration", "m_per_s2", "magnitude at vanishing speed, climbing"),
    ("descent_acceleration", "m_per_s2", "magnitude at vanishing speed, coming down"),
    ("slope_from_motion", "deg", "the slope that the motion itself shows"),
    ("rolling_resistance", "", "coefficient"),
)
_UNITS = {"J": "J", "m_per_s": "m/s", "m": "m", "m_per_s2": "m/s^2", "deg": "deg", "": "1"}
_PARTS = (("", "value", "{}"), ("u", "u", "standard uncertainty of {}"), ("low", "low", "lower end of the interval of {}"),
          ("high", "high", "upper end of the interval of {}"))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Column:
    """One column. name: with the unit at its end. kind: of its values. unit: as a unit is written, "" for none. meaning: in words."""

    name: str
    kind: _Kind
    unit: str
    meaning: str


def _names(quantity: str, suffix: str) -> list[str]:
    """Return the names of a quantity's columns, in the order of its parts."""
    return ["_".join(each for each in (quantity, part, suffix) if each) for part, _, _ in _PARTS]


_KEYS = {
    quantity: list(zip(_names(quantity, suffix), (key for _, key, _ in _PARTS), strict=True))
    for quantity, suffix, _ in _QUANTITIES
}
"""For each quantity the names of its columns, each with the key of the audit's JSON that it holds."""


def _quantity_columns() -> Iterable[Column]:
    for quantity, suffix, meaning in _QUANTITIES:
        for name, (_, _, words) in zip(_names(quantity, suffix), _PARTS, strict=True):
            yield Column(name, "number", _UNITS[suffix], f"{words.format(quantity.replace('_', ' '))}: {meaning}")


COLUMNS: tuple[Column, ...] = (
    Column("bench", "text", "", "the bench's name in the sweep: its folder"),
    Column("title", "text", "", "the bench's title"),
    Column("audited", "yes or no", "", "whether there is an audit; if not, the error_ columns say why"),
    Column("verdict", "text", "", "gain, loss, conserved or undecided: kinetic against potential energy alone"),
    Column("account", "text", "", "closed, open or undecided: after the known losses are entered"),
    Column("resolution", "number", "1", "the smallest relative loss that this bench could have shown; null where no launch can be trusted"),
    Column("normalised_error", "number", "1", "the difference over its expanded uncertainty"),
    *_quantity_columns(),
    Column("restitution", "numbers", "1", "speed out of a bounce over speed into it, one for each bounce"),
    Column("restitution_u", "numbers", "1", "standard uncertainty of each restitution"),
    Column("coverage", "number", "1", "probability of the intervals"),
    Column("interval_method", "text", "", "gum or monte-carlo: where the interval of the relative difference comes from"),
    Column("launches", "whole number", "", "number of launches"),
    Column("severity", "text", "", "of the gravest finding: stop, look or note; null where there is none"),
    Column("findings", "texts", "", "the codes of the findings, each once, in the order of the audit"),
    Column("error_code", "text", "", "why there is no audit, in a word"),
    Column("error_message", "text", "", "why there is no audit"),
    Column("error_remedy", "text", "", "what to do about it"),
)  # fmt: skip
"""The columns in their order; docs/sweep.md lists them."""


def row_of(line: Mapping[str, Any]) -> dict[str, Any]:
    """Return the row of a line of the sweep: every column by name, None where there is nothing to say."""
    row: dict[str, Any] = dict.fromkeys(column.name for column in COLUMNS)
    row["bench"], row["audited"] = line["folder"], line["ok"]
    if not line["ok"]:
        error = line["error"]
        row |= {"error_code": error["code"], "error_message": error["message"], "error_remedy": error["remedy"]}
        return row
    audit = line["audit"]
    verdict, quantities, findings = audit["verdict"], audit["quantities"], audit["findings"]
    severities = {finding["severity"] for finding in findings}
    row |= {
        "title": audit["bench"]["title"],
        "verdict": verdict["mechanical"],
        "account": verdict["account"],
        "resolution": _finite(verdict["resolution"]),
        "normalised_error": _finite(verdict["normalised_error"]),
        "launches": len(audit["launches"]),
        "severity": next((each for each in ("stop", "look", "note") if each in severities), None),
        "findings": list(dict.fromkeys(finding["code"] for finding in findings)),
    }
    for quantity, keys in _KEYS.items():
        found = quantities.get(quantity)
        if found is not None:
            for name, key in keys:
                row[name] = _finite(found[key])
    if (found := quantities.get("relative_difference")) is not None:
        row |= {"coverage": _finite(found["coverage"]), "interval_method": found["method"]}
    if (bounces := quantities.get("restitution")) is not None:
        row["restitution"] = [_finite(each["value"]) for each in bounces]
        row["restitution_u"] = [_finite(each["u"]) for each in bounces]
    return row


def arrow_schema() -> pyarrow.Schema:
    """Return the columns as a schema of Apache Arrow, units and meanings with them; needs pyarrow."""
    import pyarrow

    kinds = {
        "text": pyarrow.string(),
        "texts": pyarrow.list_(pyarrow.string()),
        "yes or no": pyarrow.bool_(),
        "whole number": pyarrow.int32(),
        "number": pyarrow.float64(),
        "numbers": pyarrow.list_(pyarrow.float64()),
    }
    fields = [
        pyarrow.field(
            column.name, kinds[column.kind], nullable=column.name not in ("bench", "audited"),
            metadata={"meaning": column.meaning, **({"unit": column.unit} if column.unit else {})},
        )
        for column in COLUMNS
    ]  # fmt: skip
    return pyarrow.schema(fields, metadata={"format": FORMAT})


def _finite(value: object) -> float | None:
    """Return a number as plain float; None for none, and for what is not finite."""
    number = None if value is None else float(value)  # type: ignore[arg-type]
    return number if number is not None and math.isfinite(number) else None
