"""Workbooks: .xlsx and .ods as libraries write them, misnamed ones, and hostile ones that are refused before parsing."""

from __future__ import annotations

import base64
import datetime
import io
import struct
import zipfile
import zlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import openpyxl
import pytest
import xlsxwriter
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table as OdfTable
from odf.table import TableCell, TableRow
from odf.text import P

from joulebook.errors import RecordError
from joulebook.readers.limits import MAX_CELLS, MAX_PARTS, MAX_SHEETS, MAX_UNPACKED
from joulebook.readers.records import list_runs, read_record

TIME = np.round(np.arange(40) * 0.05, 2)
PLACE = np.round(0.6 + 0.3 * np.cos(TIME * 2), 3)
Rows = Sequence[Sequence[object]]
HEAD = ["Time (s)", "Position (m)"]
# A workbook in the binary form of 1997 (.xls), written once with the library xlwt: 12 rows of 0.05·k s, 0.5 + 0.01·k² m.
OLD_XLS = zlib.decompress(
    base64.b85decode(
        "c-rllO=uHA6vy9ezCYR|wN+Z71i_kqfQT0_?W&+XS>gvMDrj1RhNg+6^`IWC)*MB_lj5b=i<ed}R#8Du3JMWD2#T2K(SryI9@?yL{`+BC_t1bAE&Ia$ck<>p"
        "GcP-DCcFEx6e~~OX{*p8>mwIcwE%f*e1eaF`6WtRuW7Pqp8b4ij{R2_@bg4^J@laAg-_0*obL)Lbld%emFOcMhv_5@<a6oxGTL^;kP<S6URFUj*waX@h^h%X"
        "1YHH40r?QR6`o7bUS`YUAeGdCt}R9uA5hkzu90NFvuN`co=wz3&tw*#yCQVfL)!|ORQBJjXm^Kcig@1o)46mZl`T^<Pv8`N*WyIq%$52$?)aD2FNpm=7W#cQ"
        "{;P_cXq>d8Nbn*j<WrZv2(zhExuFwtq$jGPZ?5|?Bk6czv@=YU%#UWqGWlFQG13{7+cK7Mbip!iKzfH+k5L5W7<!6wUvsy<zS=dIRFA+jj;&kY;MdETNTc(z"
        "1vhR)O#@W2UC?gm1@yWW<u+(DrzW2}k}XDI=LDFGsO{i!Hp5=48*0i4E*C%VzSmy-q;_(7y1#O!dHRhy$-h6q(F=Sgs7LgO>(`{+SIx69HiP%j*55V;zY;ZK"
        "*NlI$2+dOv#TZooCa;b#c(I6o#A68X3iLU6Nh&s^&a8o!EYf8|y1;Zp-&v&FhIE5bp<gW0V?%nt?1hGeNqTKaFPP)djTY&%A$?%ZLJwJ_--h&qxvZ;225iUx"
        "n49|bw8)?h83Z#6jVLA=vLQp(>~NeG8MYzAU_L-+K=vt3bXQIt|9$+jAUWokV~#oIm}8EuFcZdYy}T8bH<=#e;lXFT*O}*|>bxddv9^cu{2Aj1(;bxKbAe9R"
        "l|QS=Bh0?U65E*X3#IMn(F-(8gNS3e?)>G)Em8Y>mfSG<=ax{t<5%m6^DmG86EMc*dj"
    )
)
PLAIN: Rows = [HEAD, *zip(TIME.tolist(), PLACE.tolist(), strict=True)]


def xlsx(sheets: dict[str, Rows], *, start: tuple[int, int] = (0, 0)) -> bytes:
    buffer = io.BytesIO()
    with xlsxwriter.Workbook(buffer, {"in_memory": True, "nan_inf_to_errors": True}) as book:
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            for r, row in enumerate(rows):
                for c, cell in enumerate(row):
                    if cell is not None:
                        sheet.write(start[0] + r, start[1] + c, cell)
    return buffer.getvalue()


def ods(sheets: dict[str, Rows]) -> bytes:
    book = OpenDocumentSpreadsheet()
    for name, rows in sheets.items():
        sheet = OdfTable(name=name)
        for row in rows:
            line = TableRow()
            for cell in row:
                if isinstance(cell, int | float):
                    item = TableCell(valuetype="float", value=str(cell))
                    item.addElement(P(text=str(cell)))
                elif cell is None:
                    item = TableCell()
                else:
                    item = TableCell(valuetype="string")
                    item.addElement(P(text=str(cell)))
                line.addElement(item)
            sheet.addElement(line)
        # Spreadsheets declare the blank rest of the sheet: a million rows of 16,384 columns.
        rest = TableRow(numberrowsrepeated="1048000")
        rest.addElement(TableCell(numbercolumnsrepeated="16384"))
        sheet.addElement(rest)
        book.spreadsheet.addElement(sheet)
    buffer = io.BytesIO()
    book.write(buffer)
    return buffer.getvalue()


def same(content: bytes, **options: object) -> str:
    record = read_record(content, name="launch", **options)  # type: ignore[arg-type]
    np.testing.assert_allclose(record.time, TIME, atol=1e-12)
    np.testing.assert_allclose(record.distance, PLACE, atol=1e-12)
    return record.read_as


def refused(content: bytes) -> str:
    with pytest.raises(RecordError) as caught:
        read_record(content, name="launch.xlsx")
    assert caught.value.source == "launch.xlsx"
    assert caught.value.remedy.endswith(".")
    return caught.value.message


def repacked(content: bytes, changes: dict[str, bytes | None], *, compress: int = zipfile.ZIP_DEFLATED) -> bytes:
    """Return a workbook with parts replaced or added; None takes one away."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w", compress) as new:
        for part in old.namelist():
            if part not in changes:
                new.writestr(part, old.read(part))
        for part, data in changes.items():
            if data is not None:
                new.writestr(part, data)
    return out.getvalue()


def sheet_xml(cells: str) -> bytes:
    head = '<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
    return f"{head}{cells}</sheetData></worksheet>".encode()


@pytest.mark.parametrize("write", [xlsx, ods])
def test_plain_workbook(write: object) -> None:
    said = same(write({"launch 1": PLAIN}))  # type: ignore[operator]
    assert "time from column 1 “Time (s)” in s, distance from column 2 “Position (m)” in m; sheet “launch 1”." in said


def test_workbook_by_openpyxl() -> None:
    book = openpyxl.Workbook()
    for row in PLAIN:
        book.active.append(list(row))
    buffer = io.BytesIO()
    book.save(buffer)
    same(buffer.getvalue())


def test_old_binary_workbook() -> None:
    record = read_record(OLD_XLS)
    np.testing.assert_allclose(record.time, np.arange(12) * 0.05, atol=1e-12)
    np.testing.assert_allclose(record.distance, 0.5 + 0.01 * np.arange(12) ** 2, atol=1e-12)
    assert "distance from column 2 “Position (m)” in m; sheet “launch”." in record.read_as


@pytest.mark.parametrize("name", ["launch.xls", "launch.csv", "launch.ods", "launch"])
def test_bytes_decide_not_the_name(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(xlsx({"a": PLAIN}))
    assert read_record(path).samples == 40
    path.write_bytes("\n".join(",".join(map(str, row)) for row in PLAIN).encode())
    assert read_record(path).samples == 40


def test_text_named_xlsx(tmp_path: Path) -> None:
    path = tmp_path / "launch.xlsx"
    path.write_bytes("\n".join(",".join(map(str, row)) for row in PLAIN).encode())
    assert read_record(path).samples == 40


def test_places_are_those_of_the_sheet() -> None:
    rows = [list(row) for row in PLAIN]
    rows[7][1] = "spoilt"
    with pytest.raises(RecordError) as caught:
        read_record(xlsx({"s": rows}, start=(3, 2)))
    assert caught.value.faults[0].where == "sheet “s”, row 11, column 4"
    assert "column 3 “Time (s)”" in same(xlsx({"s": PLAIN}, start=(3, 2)))


@pytest.mark.parametrize("write", [xlsx, ods])
def test_blank_cells_and_error_values(write: object) -> None:
    rows = [list(row) for row in PLAIN]
    rows[5][1] = None
    rows[6][1] = "#N/A"
    rows[7][1] = "-"
    record = read_record(write({"s": rows}))  # type: ignore[operator]
    assert np.flatnonzero(np.isnan(record.distance)).tolist() == [4, 5, 6]
    assert "; 3 blank cells." in record.read_as


def test_numbers_stored_as_text_with_decimal_comma() -> None:
    rows = [
        ["Zeit (s)", "Weg (m)"],
        *[[f"{t:.2f}".replace(".", ","), f"{x:.3f}".replace(".", ",")] for t, x in zip(TIME, PLACE, strict=True)],
    ]
    same(xlsx({"s": rows}))


def test_title_rows_units_row_and_merged_run_names() -> None:
    rows: Rows = [
        ["Bench 3"],
        [],
        ["soft", None, "hard", None],
        ["Time", "Position", "Time", "Position"],
        ["s", "cm", "s", "cm"],
        *[[t, x * 100, t, x * 50] for t, x in zip(TIME.tolist(), PLACE.tolist(), strict=True)],
    ]
    content = xlsx({"s": rows})
    assert [run.name for run in list_runs(content)] == ["soft", "hard"]
    np.testing.assert_allclose(read_record(content, run="hard").distance, PLACE / 2, atol=1e-12)


def test_sheets_are_runs_and_notes_are_not() -> None:
    content = xlsx({"Notes": [["mass", 0.25], ["who", "bench 3"]], "up": PLAIN, "Empty": [], "down": PLAIN[:30]})
    assert [(run.name, run.samples) for run in list_runs(content)] == [("up", 40), ("down", 29)]
    assert read_record(content, run="down").samples == 29


def test_times_of_day_are_seconds() -> None:
    rows = [
        ["Time", "Position (m)"],
        *[[datetime.timedelta(seconds=float(t)), x] for t, x in zip(TIME, PLACE.tolist(), strict=True)],
    ]
    buffer = io.BytesIO()
    with xlsxwriter.Workbook(buffer, {"default_date_format": "[h]:mm:ss.000"}) as book:
        sheet = book.add_worksheet()
        for r, row in enumerate(rows):
            sheet.write_row(r, 0, row)
    record = read_record(buffer.getvalue())
    np.testing.assert_allclose(record.time, TIME, atol=1e-6)


def test_distance_step_from_spreadsheet_numbers() -> None:
    assert read_record(xlsx({"s": PLAIN})).distance_step == pytest.approx(1e-3)
    unclear = [HEAD, *zip(TIME.tolist(), (PLACE + np.pi * 1e-5 * np.arange(40)).tolist(), strict=True)]
    assert read_record(xlsx({"s": unclear})).distance_step == 0.0


def test_no_cells() -> None:
    assert refused(xlsx({"s": []})) == "the workbook holds no cells."


def test_zip_that_is_no_workbook() -> None:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("launch.csv", "0,1\n")
    assert refused(buffer.getvalue()) == "the file is a zip archive without a workbook in it (it holds launch.csv)."


def test_binary_workbook() -> None:
    content = repacked(xlsx({"s": PLAIN}), {"xl/workbook.xml": None, "xl/workbook.bin": b"x"})
    assert refused(content) == "the workbook is of the binary kind (.xlsb), which is not read."


def test_damaged() -> None:
    content = xlsx({"s": PLAIN})
    assert refused(content[:-200]).startswith("the workbook is damaged (")
    at = content.index(b"xl/worksheets/sheet1.xml") + 60
    assert refused(content[:at] + bytes(40) + content[at + 40 :]).startswith(
        ("the workbook is damaged (", "the workbook cannot be read (")
    )


def test_parser_errors_are_ours() -> None:
    content = repacked(xlsx({"s": PLAIN}), {"xl/workbook.xml": b"<workbook><not closed"})
    assert refused(content).startswith("the workbook cannot be read (")
    assert refused(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(4000)).startswith("the workbook cannot be read (")


def test_encrypted_zip_and_ole() -> None:
    content = bytearray(xlsx({"s": PLAIN}))
    at = content.index(b"PK\x01\x02")
    content[at + 8] |= 1
    assert refused(bytes(content)) == "the workbook is encrypted with a password."
    ole = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600) + "EncryptedPackage".encode("utf-16-le") + bytes(900)
    assert refused(ole) == "the workbook is encrypted with a password."
    manifest = b"<manifest:file-entry><manifest:encryption-data/></manifest:file-entry>"
    assert (
        refused(repacked(ods({"s": PLAIN}), {"META-INF/manifest.xml": manifest})) == "the workbook is encrypted with a password."
    )


def test_bomb_by_ratio() -> None:
    content = repacked(xlsx({"s": PLAIN}), {"xl/media/image1.xml": b"a" * (20 << 20)})
    message = refused(content)
    assert message.startswith("the workbook would unpack to ") and "xl/media/image1.xml" in message


def test_bomb_by_total() -> None:
    noise = np.random.default_rng(1).integers(0, 4, 8 << 20, dtype=np.uint8).tobytes()
    parts = {f"xl/media/{k}.bin": noise for k in range(9)}
    content = repacked(xlsx({"s": PLAIN}), {})
    out = io.BytesIO(content)
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for name, data in list(parts.items())[:1]:
            archive.writestr(name, data)
    assert 9 * len(noise) > MAX_UNPACKED
    # Eight more entries that all point at the same packed bytes: small on disk, large unpacked.
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive:
        first = archive.getinfo("xl/media/0.bin")
        for name in list(parts)[1:]:
            twin = zipfile.ZipInfo(name)
            for field in ("compress_type", "CRC", "compress_size", "file_size", "header_offset", "external_attr", "flag_bits"):
                setattr(twin, field, getattr(first, field))
            archive.filelist.append(twin)
            archive.NameToInfo[name] = twin
        archive._didModify = True  # type: ignore[attr-defined]
    assert refused(out.getvalue()).startswith("the workbook would unpack to ")


def test_declared_smaller_than_it_is() -> None:
    content = bytearray(repacked(xlsx({"s": PLAIN}), {"xl/zz.xml": b"<a>" + b"b" * 5000 + b"</a>"}))
    at = content.rindex(b"PK\x01\x02", 0, content.rindex(b"xl/zz.xml"))
    struct.pack_into("<L", content, at + 24, 10)
    assert refused(bytes(content)).startswith("the workbook is damaged (")


def test_too_many_parts() -> None:
    content = repacked(xlsx({"s": PLAIN}), {f"xl/media/{k}.png": b"" for k in range(MAX_PARTS)})
    assert refused(content).endswith(f"more than {MAX_PARTS:,}.")


def test_archive_inside() -> None:
    content = repacked(xlsx({"s": PLAIN}), {"xl/embeddings/more.zip": b"PK"})
    assert refused(content) == "the workbook has another archive in it (“xl/embeddings/more.zip”)."


def test_strange_packing() -> None:
    content = repacked(xlsx({"s": PLAIN}), {}, compress=zipfile.ZIP_LZMA)
    assert refused(content) == "the workbook is packed in a way that spreadsheets do not use."


def test_entity_definitions() -> None:
    bomb = b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "bbbb"><!ENTITY c "&b;&b;&b;">]><a>&c;</a>'
    assert refused(repacked(xlsx({"s": PLAIN}), {"xl/sharedStrings.xml": bomb})) == (
        "“xl/sharedStrings.xml” defines XML entities, which no spreadsheet writes."
    )


@pytest.mark.parametrize(
    "cells",
    [
        '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>2</v></c></row>',
        '<row r="1048576"><c r="XFD1048576"><v>2</v></c></row>',
        '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c><v>2</v></c><c><v>2</v></c></row>',
        '<x:row r="1"><x:c s="1" r="A1"><v>1</v></x:c></x:row><x:row r="9"><x:c t="n" r="ZZZZ999999"><v>2</v></x:c></x:row>',
    ],
)
def test_cells_far_apart_are_refused_before_they_are_allotted(cells: str) -> None:
    content = repacked(xlsx({"s": PLAIN}), {"xl/worksheets/sheet1.xml": sheet_xml(cells)})
    assert refused(content) == f"the workbook's cells span more than {MAX_CELLS:,} cells."


def test_repeated_cells_of_open_documents_are_refused_before_they_are_allotted() -> None:
    book = zipfile.ZipFile(io.BytesIO(ods({"s": PLAIN}))).read("content.xml")
    for hostile in (
        b'<table:table-row table:number-rows-repeated="1000000"><table:table-cell office:value-type="float" office:value="1" '
        b'table:number-columns-repeated="16000"/></table:table-row>',
        b'<table:table-row table:number-rows-repeated="1000000"><table:table-cell table:number-columns-repeated="16000"/>'
        b'<table:table-cell office:value-type="float" office:value="1"/></table:table-row>',
        b'<table:table-row><table:table-cell table:number-columns-repeated="16000"/>'
        b'<table:table-cell office:value-type="float" office:value="1"/></table:table-row>'
        b'<table:table-row table:number-rows-repeated="1000000"><table:table-cell/></table:table-row>'
        b'<table:table-row><table:table-cell office:value-type="float" office:value="1"/></table:table-row>',
    ):
        at = book.index(b"<table:table-row")
        content = repacked(ods({"s": PLAIN}), {"content.xml": book[:at] + hostile + book[at:]})
        assert refused(content) == f"the workbook's cells span more than {MAX_CELLS:,} cells."


def test_too_many_sheets() -> None:
    content = xlsx({f"s{k}": [[1.0]] for k in range(MAX_SHEETS + 1)})
    assert refused(content) == f"the workbook has {MAX_SHEETS + 1} sheets, more than {MAX_SHEETS}."


def test_too_many_columns_in_a_sheet() -> None:
    content = xlsx({"s": [[float(k) for k in range(300)]] * 6})
    assert refused(content) == "the table has 300 columns, more than the 256 that a record may have."
