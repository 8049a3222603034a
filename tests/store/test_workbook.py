"""A section as a workbook, read back by another library."""

from __future__ import annotations

import csv
import sys
import zipfile
from pathlib import Path

import openpyxl
import pytest
from tests.store.test_package import fill

from joulebook.errors import InputError, OutputError
from joulebook.store.package import export_package
from joulebook.store.store import Store
from joulebook.store.workbook import export_workbook

SHEETS = {"Benches": "benches", "Set-up": "set_up", "Records": "records", "Quantities": "quantities"}


def test_the_sheets_hold_what_the_package_holds(store: Store, tmp_path: Path) -> None:
    section = store.make_section("=Second period", benches=4)
    fill(store, section)
    export_package(store, section, tmp_path / "section.zip", pseudonyms=True)
    export_workbook(store, section, tmp_path / "section.xlsx", pseudonyms=True)
    book = openpyxl.load_workbook(tmp_path / "section.xlsx")
    assert book.sheetnames == [*SHEETS, "Log", "Read me"]
    for title, name in SHEETS.items():
        with zipfile.ZipFile(tmp_path / "section.zip") as archive:
            rows = list(csv.reader(archive.read(f"{name}.csv").decode().splitlines()))
        found = [list(row) for row in book[title].iter_rows(values_only=True)]
        assert found[0] == [heading.replace("_", " ") for heading in rows[0]]
        assert len(found) == len(rows) > 1
        for cells, texts in zip(found[1:], rows[1:], strict=True):
            for cell, text in zip(cells, texts, strict=True):
                if isinstance(cell, bool) or cell is None:
                    assert text == ("" if cell is None else str(cell).lower())
                elif isinstance(cell, str):
                    assert cell == text
                else:
                    assert cell == pytest.approx(float(text), rel=1e-12)
    log = [row[4] for row in book["Log"].iter_rows(values_only=True)]
    assert len(log) == len(store.changes(section)) + 1 and "Bench 1 calls itself =Comets" in log
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert not [cell for cell in cells if cell.data_type == "f" or cell.hyperlink], "no formulas, no links"
    assert book["Read me"]["A1"].value == "'=Second period"


def test_without_names(store: Store, section: str, tmp_path: Path) -> None:
    fill(store, section)
    export_workbook(store, section, tmp_path / "section.xlsx")
    with zipfile.ZipFile(tmp_path / "section.xlsx") as archive:
        assert not [name for name in archive.namelist() if b"Comets" in archive.read(name)]


def test_what_can_be_in_the_way(store: Store, section: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match="no such section"):
        export_workbook(store, "nowhere", tmp_path / "section.xlsx")
    with pytest.raises(OutputError, match="Its folder is not there"):
        export_workbook(store, section, tmp_path / "nowhere" / "section.xlsx")
    monkeypatch.setitem(sys.modules, "xlsxwriter", None)
    with pytest.raises(InputError, match=r"needs the package xlsxwriter\. Install it with"):
        export_workbook(store, section, tmp_path / "section.xlsx")
