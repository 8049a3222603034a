"""The calculating reports on audits that the engine itself made, of simulated benches."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from rich.console import Console
from tests.render.test_working import lines_of, number_at_the_start, python_value

from joulebook.analysis import audit_bench
from joulebook.engine.report import Audit
from joulebook.planning.design import random_design
from joulebook.planning.folder import write_bench_folder
from joulebook.planning.simulate import simulate_bench
from joulebook.readers.bench_file import read_bench
from joulebook.render.terminal import show
from joulebook.render.workbook import write_workbook
from joulebook.render.workbook_model import build_model
from joulebook.render.working import write_working
from joulebook.uncertainty import Quantity


@pytest.fixture(scope="module", params=[(1, "top", 1), (2, "bottom", 3)], ids=["one launch", "three launches"])
def audit(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Audit:
    seed, placed, launches = request.param
    rng = np.random.default_rng(seed)
    design = random_design(rng, stop="spring", placed=placed, rate=20.0, angle=8.0, launches=launches, hands=False)
    folder = Path(tmp_path_factory.mktemp("simulated")) / "bench"
    write_bench_folder(simulate_bench(design, rng), folder)
    return audit_bench(read_bench(folder))


def test_the_workbook_has_the_engines_numbers(audit: Audit) -> None:
    book = openpyxl.load_workbook(io.BytesIO(write_workbook(audit)), data_only=True)

    def cell(name: str) -> float:
        sheet, place = book.defined_names[name].attr_text.split("!")
        return float(book[sheet.strip("'")][place.replace("$", "")].value)

    names = [row.quantity for row in build_model(audit).rows if row.quantity]
    assert len(names) == 15
    for name in names:
        quantity = audit.quantity(name)
        assert cell(name) == pytest.approx(quantity.value, rel=1e-9), name
        assert cell(f"u_{name}") == pytest.approx(quantity.u, rel=1e-6), name
        if quantity.method == "gum":
            assert cell(f"expanded_{name}") == pytest.approx(quantity.expanded, rel=1e-6), name
    assert cell("normalised_error") == pytest.approx(audit.verdict.normalised_error, rel=1e-6)
    assert cell("resolution_difference") == pytest.approx(audit.verdict.resolution, rel=1e-6)


def test_the_working_comes_to_the_engines_numbers(audit: Audit) -> None:
    found = {parts[0]: python_value(number_at_the_start(parts[-1])) for parts in lines_of(write_working(audit))}
    for symbol, name in (("E_p", "potential_energy"), ("Δ", "difference"), ("Δ/E", "relative_difference"), ("R", "unaccounted")):
        quantity = audit.quantity(name)
        assert found[symbol] == pytest.approx(quantity.value, abs=0.02 * quantity.u), symbol
    for symbol, name in (("Δ", "difference"), ("Δ/E", "relative_difference"), ("R", "unaccounted")):
        assert found[f"u({symbol})"] == pytest.approx(audit.quantity(name).u, rel=2e-3), symbol


def test_the_terminal_tells_the_verdict(audit: Audit) -> None:
    stream = io.StringIO()
    show(audit, Console(file=stream, width=80), verbose=True)
    text = " ".join(stream.getvalue().split())
    assert audit.verdict.sentence in text
    restitution = audit.quantities["restitution"]
    assert not isinstance(restitution, Quantity)
    assert text.count("restitution, bounce 1 ") == len(audit.launches) + 1 if restitution else "bounce" not in text
