"""The workbook: recalculated by a formula engine, its numbers are the audit's, and a changed cell changes what physics says."""

from __future__ import annotations

import io
import math
import warnings
import zipfile
from copy import copy
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from tests.render.exact_audit import exact_audit
from tests.render.sample_audit import sample_audit, sample_stopped

from joulebook.engine.report import Audit, Finding
from joulebook.errors import OutputError
from joulebook.render.words import LEDGER_ORDER
from joulebook.render.workbook import write_workbook
from joulebook.render.workbook_model import build_model
from joulebook.render.workbook_rows import ledger_rows
from joulebook.uncertainty import Quantity

with warnings.catch_warnings():
    # The formula engine warns about its own source when it is first compiled.
    warnings.simplefilter("ignore")
    import formulas

SHEETS = ["Summary", "Inputs", "Fit", "Ledger", "Uncertainty", "Comparison", "Trace", "Findings", "Read me", "Shifted"]
CALCULATED = {"Summary", "Ledger", "Uncertainty", "Comparison", "Shifted"}


class Recalculated:
    """A workbook in the formula engine; `name` gives the value of a defined name."""

    def __init__(self, path: Path, content: bytes) -> None:
        path.write_bytes(content)
        self._file = path.name
        self.written = openpyxl.load_workbook(path)
        self.cached = openpyxl.load_workbook(path, data_only=True)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            self._model = formulas.ExcelModel().loads(str(path)).finish()
        self._solution = self._calculate({})

    def changed(self, **inputs: float) -> Recalculated:
        """Return the workbook recalculated with other values in named input cells."""
        other = copy(self)
        other._solution = self._calculate({self.reference(name): value for name, value in inputs.items()})
        return other

    def _calculate(self, inputs: dict[str, float]) -> dict[str, Any]:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return dict(self._model.calculate(inputs=inputs).items())

    def reference(self, name: str) -> str:
        sheet, cell = self.written.defined_names[name].attr_text.split("!")
        return self.place(sheet.strip("'"), cell.replace("$", ""))

    def place(self, sheet: str, cell: str) -> str:
        return f"'[{self._file}]{sheet.upper()}'!{cell}"

    def at(self, reference: str) -> Any:
        return self._solution[reference].value[0, 0]

    def name(self, name: str) -> Any:
        return self.at(self.reference(name))


@pytest.fixture(scope="module")
def audit() -> Audit:
    # Without those quantities that no verdict needs: the formula engine takes its time.
    whole = exact_audit(other=0.0005, launches=1)
    return replace(whole, quantities={name: whole.quantities[name] for name in (*LEDGER_ORDER, "climb_acceleration")})


@pytest.fixture(scope="module")
def book(audit: Audit, tmp_path_factory: pytest.TempPathFactory) -> Recalculated:
    return Recalculated(tmp_path_factory.mktemp("books") / "bench.xlsx", write_workbook(audit))


def cached_names(audit: Audit) -> dict[str, Any]:
    """Return the cached value of every defined name, the trace left out for speed."""
    bare = replace(audit, launches=tuple(replace(launch, series=None) for launch in audit.launches))
    book = openpyxl.load_workbook(io.BytesIO(write_workbook(bare)), data_only=True)
    found = {}
    for name, definition in book.defined_names.items():
        sheet, cell = definition.attr_text.split("!")
        found[name] = book[sheet.strip("'")][cell.replace("$", "")].value
    return found


def single(audit: Audit) -> dict[str, Quantity]:
    """Return the quantities that the ledger works out."""
    rows = {row.quantity for row in build_model(audit).rows}
    return {name: item for name, item in audit.quantities.items() if isinstance(item, Quantity) and name in rows}


@pytest.mark.slow
def test_the_recalculated_numbers_are_the_audits(book: Recalculated, audit: Audit) -> None:
    quantities = single(audit)
    assert len(quantities) == len(LEDGER_ORDER) + 1
    for name, quantity in quantities.items():
        assert book.name(name) == pytest.approx(quantity.value, rel=1e-9, abs=1e-15), name
        assert book.name(f"u_{name}") == pytest.approx(quantity.u, rel=1e-7), name
        assert book.name(f"expanded_{name}") == pytest.approx(quantity.expanded, rel=2e-7), name
    assert book.name("verdict_difference") == audit.verdict.mechanical == "loss"
    assert book.name("verdict_unaccounted") == audit.verdict.account == "closed"
    assert book.name("normalised_error") == pytest.approx(audit.verdict.normalised_error, rel=1e-7)
    assert book.name("resolution_difference") == pytest.approx(audit.verdict.resolution, rel=1e-7)
    energy = audit.quantity("kinetic_energy").value + audit.quantity("rotational_energy").value
    potential = audit.quantity("potential_energy").value
    assert book.name("percent_difference") == pytest.approx(2 * (energy - potential) / (energy + potential), rel=1e-9)


@pytest.mark.slow
def test_every_cached_value_is_what_a_recalculation_gives(book: Recalculated) -> None:
    checked = 0
    for sheet in book.written.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type != "f":
                    continue
                checked += 1
                assert sheet.title in CALCULATED, f"a formula in {sheet.title}!{cell.coordinate}"
                found, cached = book.at(book.place(sheet.title, cell.coordinate)), book.cached[sheet.title][cell.coordinate].value
                if isinstance(cached, str):
                    assert found == cached
                else:
                    # Differences over small steps carry the rounding of their parts.
                    assert found == pytest.approx(cached, rel=1e-5, abs=1e-13), f"{sheet.title}!{cell.coordinate}"
    assert checked > 800


@pytest.mark.slow
def test_another_angle_changes_the_ledger_as_physics_says(book: Recalculated, audit: Audit) -> None:
    book = book.changed(track_angle=10.6)
    there = exact_audit(other=0.0005, values={"angle": 10.6})
    assert there.verdict.mechanical == "gain"
    for name in single(audit):
        quantity = there.quantity(name)
        assert book.name(name) == pytest.approx(quantity.value, rel=1e-9), name
        assert book.name(f"u_{name}") == pytest.approx(quantity.u, rel=1e-6), name
    assert book.name("kinetic_energy") == pytest.approx(audit.quantity("kinetic_energy").value, rel=1e-12)
    grown = math.sin(math.radians(10.6)) / math.sin(math.radians(9.8))
    assert book.name("potential_energy") == pytest.approx(grown * audit.quantity("potential_energy").value, rel=1e-12)
    assert book.name("verdict_difference") == "gain"
    assert book.name("normalised_error") < -1


@pytest.mark.parametrize(
    ("rise", "descent", "by_drag", "drag_area"),
    [*product((True, False), (True, False), (True, False), (0.003,)), (False, True, True, 0.0), (False, True, True, 0.15)],
)
def test_each_formula_gives_what_its_python_gives(rise: bool, descent: bool, by_drag: bool, drag_area: float) -> None:
    model = build_model(exact_audit(rise=rise, descent=descent, values={"area": drag_area, "scale": 1.01}))
    values = {**model.estimates, **(model.constants if by_drag else {})}
    for row in ledger_rows(rise=rise, descent=descent, by_drag=by_drag):
        numbers = {name: f"({value!r})" for name, value in values.items()}
        found = formulas.Parser().ast("=" + row.formula.format_map(numbers))[1].compile()()
        values[row.symbol] = row.compute(values)
        assert float(found) == pytest.approx(values[row.symbol], rel=1e-11, abs=1e-16), row.symbol


VARIANTS: dict[str, dict[str, Any]] = {
    "rise over stretch": {"rise": True},
    "scale from the air": {"air": True},
    "gravity from the place": {"latitude": True},
    "no descent": {"descent": False},
    "Monte Carlo": {"method": "monte-carlo", "other": 0.0005},
    "no drag": {"values": {"area": 0.0}, "spread": {"area": 0.0}},
    "no drag, not known": {"values": {"area": 0.0}},
    "much drag": {"values": {"area": 0.2, "mass": 0.06}},
    "nothing is known of the mass": {"spread": {"mass": 0.05}},
    "undecided": {"values": {"angle": 10.1}, "tolerance": 0.01},
    "all at once": {"air": True, "rise": True, "latitude": True, "descent": False, "launches": 1, "restitution": ()},
}


@pytest.mark.parametrize("variant", VARIANTS)
def test_the_cached_numbers_are_the_audits(variant: str) -> None:
    audit = exact_audit(**VARIANTS[variant])
    cached = cached_names(audit)
    for name, quantity in single(audit).items():
        assert cached[name] == pytest.approx(quantity.value, rel=1e-9, abs=1e-15), name
        assert cached[f"u_{name}"] == pytest.approx(quantity.u, rel=1e-7, abs=1e-15), name
        if quantity.method == "gum":
            assert cached[f"expanded_{name}"] == pytest.approx(quantity.expanded, rel=2e-7, abs=1e-15), name
    assert cached["verdict_difference"] == audit.verdict.mechanical
    assert cached["verdict_unaccounted"] == audit.verdict.account
    assert cached["normalised_error"] == pytest.approx(audit.verdict.normalised_error, rel=1e-6)


def test_correlations_matter_and_are_used() -> None:
    audit = exact_audit()
    without = replace(audit, facts={**audit.facts, "r_au_ad": 0.0, "r_au_travel": 0.0, "r_ad_travel": 0.0})
    cached = cached_names(without)
    assert abs(cached["u_rolling_resistance"] / audit.quantity("rolling_resistance").u - 1) > 0.05


def test_sheets_names_and_layout(book: Recalculated) -> None:
    assert book.written.sheetnames == SHEETS
    assert book.written.active.title == "Summary"
    for sheet in ("Inputs", "Fit", "Ledger", "Uncertainty", "Trace", "Findings"):
        assert book.written[sheet].freeze_panes is not None
        assert book.written[sheet].column_dimensions["A"].width > 8
    assert {"cart_mass", "u_cart_mass", "track_angle", "climb_as_read", "fit_dof", "release_speed"} <= set(
        book.written.defined_names
    )
    header = [cell.value for cell in book.written["Trace"][1]]
    assert header[:4] == ["Launch record", "Sample", "Time s", "Distance m"]
    framed = book.written["Inputs"]["C5"]
    assert framed.value == 0.2513 and framed.border.left.style == "thin"


def test_the_trace_holds_every_sample_with_flag_and_phase(audit: Audit, book: Recalculated) -> None:
    rows = list(book.cached["Trace"].iter_rows(min_row=2, values_only=True))
    assert len(rows) == sum(launch.series.time.size for launch in audit.launches if launch.series)
    series = audit.launches[0].series
    assert series is not None
    for row, time, distance, used in zip(rows, series.time, series.distance, series.used, strict=False):
        assert row[0] == "launch-1.csv" and row[2] == pytest.approx(time)
        assert row[3] is None if math.isnan(distance) else row[3] == pytest.approx(distance)
        assert row[7] == ("yes" if used else "no")
    assert rows[10][5] == "missing: blank or unreadable" and rows[12][5].startswith("slip: ")
    assert [rows[index][6] for index in (0, 5, 20, 39)] == ["push", "climb", "descent", None]


HOSTILE = (
    "=cmd|' /C calc'!A0",
    "+1+1",
    "@SUM(A1)",
    "{=1+1}",
    "https://example.org/",
    "file:///etc/passwd",
    "mailto:a@example.org",
    "007",
    "[bold]",
)


def test_text_never_becomes_a_formula_or_a_link() -> None:
    base = exact_audit(
        launches=1, title=HOSTILE[0], findings=[Finding("misfit", "look", text, text, {"record": text}) for text in HOSTILE]
    )
    launches = tuple(replace(base.launches[0], file=text, series=None) for text in HOSTILE)
    inputs = tuple(replace(item, note=text) for item, text in zip(base.inputs, HOSTILE, strict=False))
    audit = replace(base, launches=launches, inputs=inputs, verdict=replace(base.verdict, sentence=HOSTILE[1]))
    content = write_workbook(audit)
    book = openpyxl.load_workbook(io.BytesIO(content))
    assert book["Summary"]["A1"].value == HOSTILE[0] and book["Summary"]["A2"].value == HOSTILE[1]
    assert [cell.value for cell in book["Findings"]["C"]][1:] == list(HOSTILE)
    assert set(HOSTILE) <= {cell.value for cell in book["Fit"]["A"]}
    assert set(HOSTILE) <= {cell.value for cell in book["Inputs"]["I"]}
    for sheet in book.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.hyperlink is None
                if cell.data_type == "f":
                    assert sheet.title in CALCULATED
                    assert "|" not in cell.value and "[" not in cell.value
    names = zipfile.ZipFile(io.BytesIO(content)).namelist()
    assert not [name for name in names if "external" in name.lower() or "vba" in name.lower() or "macro" in name.lower()]


def test_control_characters_and_very_long_text_do_not_break_the_file() -> None:
    finding = Finding("misfit", "stop", "x" * 40_000, "\x00\x1b[2J\u202ebackwards", {})
    book = openpyxl.load_workbook(io.BytesIO(write_workbook(exact_audit(title="a\x07b\ud800c", findings=[finding]))))
    assert book["Summary"]["A1"].value == "abc"
    assert book["Findings"]["C2"].value.endswith("(cut here: a cell holds no more)")
    assert book["Findings"]["D2"].value == "[2Jbackwards"


def test_every_severity_is_listed_worst_first() -> None:
    book = openpyxl.load_workbook(io.BytesIO(write_workbook(replace(sample_audit(), quantities={}))))
    assert [cell.value for cell in book["Findings"]["A"]][1:] == ["■ Stop", "▲ Look first", "● Note", "● Note"]
    assert book["Summary"]["B7"].value == "too-close, angle-suspect"


def test_without_a_ledger_the_rest_is_still_written() -> None:
    book = openpyxl.load_workbook(io.BytesIO(write_workbook(sample_stopped())))
    assert book.sheetnames == ["Summary", "Inputs", "Trace", "Findings", "Read me"]
    assert "ends before the cart turned round" in book["Summary"]["A2"].value
    assert book["Trace"]["A2"].value == "The audit holds no trace."


def test_missing_fitted_values_are_named() -> None:
    with pytest.raises(OutputError, match="holds no a_u, travel, u_a_u, u_travel, a_d, u_a_d: the workbook has no fitted values"):
        write_workbook(sample_audit())


def test_the_same_audit_gives_the_same_bytes(audit: Audit) -> None:
    assert write_workbook(audit) == write_workbook(audit)
