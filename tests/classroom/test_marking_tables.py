"""What comes in and goes out as tables; two markers; what is identical; the criteria; the sheets that go back."""

from __future__ import annotations

import csv
import io
import math

import pytest
from tests.classroom.ledger_of_changes import Ledger

from joulebook.classroom.agreement import agree, agreement_by_criterion, weighted_kappa
from joulebook.classroom.alike import alike_records, alike_write_ups
from joulebook.classroom.checking import check_write_up
from joulebook.classroom.criteria import CRITERIA, LEVELS, points_of, read_criteria
from joulebook.classroom.feedback import feedback_sheet, slip_summary
from joulebook.classroom.mark_table import TEMPLATE_HEADINGS, gradebook_rows, read_write_ups, template_rows, to_csv
from joulebook.classroom.write_up import WriteUp
from joulebook.engine.house import DEFAULT_HOUSE
from joulebook.errors import InputError
from joulebook.render.document import write_document_page, write_document_paper
from joulebook.render.text_workbook import write_text_workbook

_ROW = "code,bench,mass,kinetic_energy\r\ns1,3,0.25,0.31\r\n"


def test_the_template_is_read_back_and_its_explanations_are_passed_over() -> None:
    rows = template_rows([("s1", 1), ("s2", 2)])
    for content, name in ((to_csv(rows).encode(), "t.csv"), (write_text_workbook({"t": rows}), "t.xlsx")):
        found = read_write_ups(content, name=name)
        assert [(each.code, each.bench, dict(each.fields)) for each in found] == [("s1", 1, {}), ("s2", 2, {})]
    assert rows[0] == TEMPLATE_HEADINGS


@pytest.mark.parametrize(
    "text", [_ROW, _ROW.replace(",", ";"), _ROW.replace(",", "\t"), "\ufeff" + _ROW, _ROW.replace("\r\n", "\n")]
)
def test_a_table_is_read_in_any_common_form(text: str) -> None:
    (found,) = read_write_ups(text.encode("utf-8"), name="t.csv")
    assert found == WriteUp("s1", 3, {"cart.mass": "0.25 kg"}, {"kinetic_energy": "0.31"})


def test_units_and_headings_are_read_as_they_come() -> None:
    (found,) = read_write_ups(b"Code;Bench;Angle;Kinetic energy\nx;Bench 2;8,0;0,31\n", name="t.csv")
    assert found == WriteUp("x", 2, {"track.angle": "8.0 deg"}, {"kinetic_energy": "0,31"})


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("code,mass\ns1,3\n", "bench: is missing"),
        ("code,bench,colour\ns1,3,red\n", "colour: is no heading"),
        ("code,bench\n", "no rows below"),
        ("code,bench,bench\ns1,3,3\n", "heads more than one column"),
        ("code,bench\n,3\n", "row 2: has no code"),
        ("code,bench\ns1,third\n", "row 2: 'third' is no bench"),
        ("code,bench\ns1,3\ns1,4\n", "row 3: the code 's1' stands twice"),
        ("code,bench,claim_why\ns1,3," + "x" * 4001 + "\n", "more than 4000 characters"),
    ],
)
def test_a_faulty_table_is_told_row_by_row(text: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        read_write_ups(text.encode(), name="t.csv")
    assert message in str(caught.value) and caught.value.remedy


@pytest.mark.parametrize("content", [b"", b"%PDF-1.4 nothing", b"PK\x03\x04 broken"])
def test_what_is_no_table_is_refused(content: bytes) -> None:
    with pytest.raises(InputError):
        read_write_ups(content, name="t.csv")


def _marked() -> Ledger:
    ledger = Ledger()
    ledger.do("write-up-added", 1, code="s1", fields={"kinetic_energy": "0.31"})
    ledger.do("write-up-added", 2, code="s2", fields={})
    for name in CRITERIA:
        ledger.do("mark-set", code="s1", criterion=name, level="adequate", comment="=HYPERLINK(1)" if name == "claim" else "")
    ledger.do("mark-set", code="s2", criterion="claim", level="missing")
    return ledger


def test_only_confirmed_marks_are_in_the_gradebook_and_a_total_only_of_all() -> None:
    book = _marked().section.marks
    rows = gradebook_rows(book.write_ups.values(), book)
    heading, first, second = rows
    assert heading == ("code", "bench", *CRITERIA, "total", "comment")
    assert first[:2] == ("s1", "1") and first[-2] == "24"
    assert second[heading.index("claim")] == "0" and second[heading.index("data")] == second[-2] == ""
    words = gradebook_rows(book.write_ups.values(), book, points=False)
    assert words[1][2] == "adequate" and "total" not in words[0]


def test_no_cell_of_the_gradebook_is_a_formula() -> None:
    book = _marked().section.marks
    cells = [cell for row in csv.reader(io.StringIO(to_csv(gradebook_rows(book.write_ups.values(), book)))) for cell in row]
    assert "'=HYPERLINK(1)" in cells
    assert not [cell for cell in cells if cell[:1] in ("=", "+", "@")]


def test_marks_are_taken_back_and_criteria_changed() -> None:
    ledger = _marked()
    ledger.do("mark-cleared", code="s1", criterion="claim")
    assert ledger.section.marks.mark("s1", "claim") is None
    ledger.do("undone", change=ledger.changes[-1].seq)
    assert ledger.section.marks.mark("s1", "claim") is not None
    ledger.do("criteria-set", criteria={"neat": {"title": "Neatness", "levels": ["a", "b", "c", "d"], "points": [0, 0, 0, 1]}})
    assert list(ledger.section.marks.criteria) == ["neat"]
    ledger.do("write-up-removed", code="s2")
    assert list(ledger.section.marks.write_ups) == ["s1"]
    ledger.do("comments-set", comments={"good": "Well done.", "empty": " "})
    assert dict(ledger.section.marks.comments) == {"good": "Well done."}


@pytest.mark.parametrize(
    ("kind", "body", "message"),
    [
        ("mark-set", {"code": "s1", "criterion": "beauty", "level": "adequate"}, "no criterion 'beauty'"),
        ("mark-set", {"code": "s1", "criterion": "claim", "level": "superb"}, "no level 'superb'"),
        ("mark-set", {"code": "s1", "criterion": "claim", "level": "adequate", "marker": "third"}, "no marker 'third'"),
        ("mark-set", {"code": "a/b", "criterion": "claim", "level": "adequate"}, "holds a sign"),
        ("mark-set", {"code": " ", "criterion": "claim", "level": "adequate"}, "A code has 1 to 40"),
        ("write-up-removed", {"code": "s9"}, "no write-up 's9'"),
        ("criteria-set", {"criteria": {"x": "y"}}, "must be a table"),
        ("criteria-set", {"criteria": {"x": {"title": "", "levels": []}}}, "must be a text"),
        ("criteria-set", {"criteria": {"x": {"title": "t", "levels": ["a"]}}}, "must be four texts"),
        ("criteria-set", {"criteria": {"x": {"title": "t", "levels": ["a", "b", "c", "d"], "points": [1, 2]}}}, "four numbers"),
        ("criteria-set", {"criteria": {}}, "0 criteria are not between"),
    ],
)
def test_marking_that_makes_no_sense_is_refused(kind: str, body: dict[str, object], message: str) -> None:
    with pytest.raises(InputError) as caught:
        _marked().do(kind, **body)  # type: ignore[arg-type]
    assert message in str(caught.value)


def test_criteria_have_four_levels_and_points() -> None:
    for criterion in CRITERIA.values():
        assert len(criterion.levels) == len(LEVELS) and [points_of(criterion, level) for level in LEVELS] == [0, 1, 2, 3]
    tables = {name: {"title": c.title, "levels": list(c.levels), "points": list(c.points)} for name, c in CRITERIA.items()}
    assert read_criteria(tables) == dict(CRITERIA)


# Cohen 1968, Psychol. Bull. 70:213, and the identity with the intraclass form: worked out here by its definition on a small table.
def test_weighted_kappa() -> None:
    assert weighted_kappa([0, 1, 2, 3], [0, 1, 2, 3], levels=4) == 1.0
    # 2 x 2: quadratic weights are plain kappa, (p_o − p_e)/(1 − p_e): p_o = 0.7, p_e = 0.5·0.6 + 0.5·0.4 = 0.5.
    first, second = [0] * 25 + [1] * 25, [0] * 20 + [1] * 5 + [0] * 10 + [1] * 15
    assert weighted_kappa(first, second, levels=2) == pytest.approx(0.4)
    assert math.isnan(weighted_kappa([1, 1], [1, 1], levels=4))
    assert weighted_kappa([0, 3], [3, 0], levels=4) == pytest.approx(-1.0)


def test_agreement_counts_what_both_have_marked() -> None:
    ledger = _marked()
    ledger.do("mark-set", code="s1", criterion="claim", level="needs improvement", marker="second")
    ledger.do("mark-set", code="s2", criterion="claim", level="missing", marker="second")
    ledger.do("mark-set", code="s2", criterion="data", level="missing", marker="second")
    (found,) = agreement_by_criterion(ledger.section.marks)
    assert (found.criterion, found.count, found.same, found.within_one) == ("claim", 2, 0.5, 1.0)
    with pytest.raises(ValueError, match="same length"):
        agree("claim", [1], [])


def test_identical_numbers_of_two_benches_are_evidence_with_a_harmless_reason() -> None:
    fields = {"start_distance": "1.234", "apex_distance": "0.712", "travel": "0.522", "height": "0.0727", "kinetic_energy": "0.2"}
    one, other, same_bench = WriteUp("a", 1, {}, fields), WriteUp("b", 2, {}, fields), WriteUp("c", 1, {}, fields)
    found = alike_write_ups([one, other, same_bench])
    assert [each.who for each in found] == [("a", "b"), ("b", "c")]
    assert "copied" not in found[0].what + found[0].may_be and "5 numbers are the same" in found[0].what
    assert not alike_write_ups([one, WriteUp("d", 2, {}, {**fields, "start_distance": "1.3", "travel": "0.5"})])


def test_identical_records_are_found_across_benches_and_sections() -> None:
    here, there = Ledger(), Ledger()
    here.add(1, "a.csv", content=b"same")
    here.add(1, "b.csv", content=b"own")
    there.add(2, "c.csv", content=b"same")
    (found,) = alike_records({"2025": here.section, "2026": there.section})
    assert found.who == ("2025, bench 1", "2026, bench 2") and "byte for byte" in found.what


def test_a_feedback_sheet_has_confirmed_marks_alone_and_no_value_of_the_audit() -> None:
    book = _marked().section.marks
    write_up = WriteUp("s1", 1, {"cart.mass": "0.25 kg"}, {"release_speed": "1.30", "kinetic_energy": "0.42", "claim": "loss"})
    checked = check_write_up(write_up, None, DEFAULT_HOUSE)
    page = write_document_page(feedback_sheet(checked, book, section="Second period"))
    assert "The line “energy of motion” does not follow from your own numbers" in page
    assert "0.211" not in page and "half" not in page.split("Next:")[1][:80], "a question, not the answer"
    assert "Adequate" in page
    unmarked = write_document_page(feedback_sheet(checked, Ledger().section.marks))
    assert "Where you are" not in unmarked
    assert write_document_paper(feedback_sheet(checked, book)).startswith(b"%PDF")


def test_the_class_summary_counts_slips_and_names_nobody() -> None:
    write_ups = [
        WriteUp(f"student-{n}", n, {"cart.mass": "0.25 kg"}, {"release_speed": "1.30", "kinetic_energy": energy})
        for n, energy in enumerate(("0.422", "0.422", "0.211"), 1)
    ]
    page = write_document_page(slip_summary([check_write_up(each, None, DEFAULT_HOUSE) for each in write_ups], section="P2"))
    assert "As if the half were left out" in page and "student-" not in page
    assert "Nothing stands out" in write_document_page(slip_summary([]))
