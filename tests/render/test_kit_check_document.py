"""The kit check on page, paper, picture and terminal, from its JSON form alone."""

from __future__ import annotations

import io
import re
from typing import Any

import pikepdf
import pytest
from rich.console import Console

from joulebook.render.document import Document, Grid, Labelled, Notes, write_document_page, write_document_paper
from joulebook.render.kit_check_document import NEED_WORDS, kit_check_document, kit_names, measure_rows, shown_reasons
from joulebook.render.kit_check_picture import draw_kit_measure
from joulebook.render.kit_check_terminal import show_kit_check


def bench(title: str, need: str, value: float, *, before: float | None = None, z: float = 0.5) -> dict[str, Any]:
    reasons = (
        []
        if need == "fine"
        else [
            {
                "measure": "friction",
                "basis": "change",
                "sentence": f"{title}: it rose.",
                "remedy": "Clean it.",
                "weight": 3.5,
                "criterion": "By Welch's t.",
            }
        ]
    )
    changes = {}
    if before is not None:
        changes["friction"] = {
            "before": before,
            "before_shown": f"{before:.4f}(2)",
            "difference": value - before,
            "probability": 1e-6,
            "adjusted": 1e-4,
        }
    return {
        "bench": title,
        "folder": title.casefold(),
        "need": need,
        "reasons": reasons,
        "changes": changes,
        "scores": {"friction": z},
        "measures": {
            "friction": {
                "value": value,
                "u": 0.0002,
                "u_repeat": 0.0001,
                "dof": None,
                "n": 4,
                "note": "",
                "shown": f"{value:.4f}(2)",
            }
        },
        "missing": {"noise_still": "there is no rest record", "repeatability": "it takes two launches or more"},
        "findings": [],
        "error": "",
    }


LABELS = {
    "noise_still": "noise with a still target",
    "noise_moving": "noise with a moving target",
    "rate": "sampling rate",
    "lost": "readings lost",
    "friction": "rolling resistance",
    "slope_gap": "slope",
    "scale_hint": "scale",
    "repeatability": "launch repeatability",
    "release_speed": "release speed",
    "contact_time": "contact time",
    "restitution": "restitution",
}


@pytest.fixture
def check() -> dict[str, Any]:
    return {
        "format": "joulebook/kit-check-1",
        "date": "2031-09-01",
        "compared_with": "2031-07-04",
        "sentence": "3 benches checked: Bench <3> needs service.",
        "measures": [
            {"name": name, "label": label, "unit": "", "factor": 1.0, "meaning": label} for name, label in LABELS.items()
        ],
        "class": {"friction": {"median": 0.0045, "made": 0.0002, "u": 0.0001, "benches": 3, "limit": 7.0, "logarithmic": False}},
        "benches": [
            bench("Bench <3>", "service", 0.0122, before=0.0044, z=31.0),
            bench("Bench 1", "watch", 0.0046, before=0.0045),
            bench("Bench 2", "fine", 0.0044),
        ],
    }


def tables(document: Document) -> dict[str, Any]:
    return {block.table.caption: block.table for part in document.parts for block in part.blocks if isinstance(block, Grid)}


def test_the_order_of_need_comes_first(check: dict[str, Any]) -> None:
    document = kit_check_document(check)
    assert document.lead == check["sentence"]
    first = tables(document)["The benches, sorted by need"]
    assert [row[:2] for row in first.rows] == [("Bench <3>", "Service"), ("Bench 1", "Watch"), ("Bench 2", "Fine")]
    assert first.rows[0][2] == "Bench <3>: it rose."
    assert first.rows[2][2] == "Nothing."
    assert [part.mark for part in document.parts if part.mark] == ["Service", "Watch"]


def test_changes_and_class(check: dict[str, Any]) -> None:
    found = tables(kit_check_document(check))
    assert found["Bench <3> against its last check"].rows == (
        ("Rolling resistance", "0.0044(2)", "0.0122(2)", "fewer than one in 10\u202f000"),
    )
    (row,) = found["Median and spread of the class, and the bench that lies farthest off"].rows
    assert row == ("Rolling resistance", "3", "0.0045", "0.0002", "Bench <3>", "31.0", "±7.0")
    assert measure_rows(check, ("friction", "rate"))[0] == ("Bench <3>", "0.0122(2)", "–")


def test_what_is_not_known_says_why(check: dict[str, Any]) -> None:
    page = write_document_page(kit_check_document(check))
    assert "noise with a still target: there is no rest record; launch repeatability: it takes two launches or more." in page
    assert "cannot say which of them is wrong" in page


def test_page_and_paper(check: dict[str, Any]) -> None:
    document = kit_check_document(check)
    page = write_document_page(document)
    assert "<3>" not in page
    assert "Bench &lt;3&gt;" in page
    with pikepdf.open(io.BytesIO(write_document_paper(document, paper="us-letter"))) as pdf:
        assert pdf.Root.MarkInfo.Marked


def test_a_first_check_is_compared_with_nothing(check: dict[str, Any]) -> None:
    first = {
        **check,
        "compared_with": None,
        "class": {},
        "benches": [{**each, "changes": {}, "scores": {}} for each in check["benches"]],
    }
    page = write_document_page(kit_check_document(first))
    assert "no earlier check to compare with" in page
    assert "last check" not in re.sub(r"The last check is compared", "", re.sub(r"At the last check", "", page))


def test_the_picture_says_what_it_shows(check: dict[str, Any]) -> None:
    picture = draw_kit_measure(check, "friction")
    assert picture is not None
    assert picture.sentence.startswith("Largest at Bench <3> with 0.0122(2), smallest at Bench 2 with 0.0044(2).")
    assert [row[0] for row in picture.table_rows] == ["Bench <3>", "Bench 1", "Bench 2"]
    assert picture.table_rows[0] == ("Bench <3>", "0.0122(2)", "0.0044(2)")
    assert picture.table_rows[2][2] == "–"
    # Farther right is larger: dots are drawn as paths that begin at their place.
    places = [float(x) for x in re.findall(r'd="M([\d.]+),[\d.]+h\.01"', picture.svg)][:3]
    assert places[0] > places[1] > places[2]
    assert draw_kit_measure(check, "rate") is None


def test_the_terminal(check: dict[str, Any]) -> None:
    """80 columns hold bench, status, reason and remedy; the numbers are left to the page."""
    stream = io.StringIO()
    show_kit_check(check, Console(file=stream, width=80, color_system=None))
    text = stream.getvalue()
    assert text.startswith("3 benches checked: Bench <3> needs service.")
    assert "Service: Bench <3>:\n  - Bench <3>: it rose.\n    What to do: Clean it." in text
    assert "Fine:\n  - Bench 2\n" in text
    assert "0.0046(2)" not in text
    assert "z =" not in text
    assert "Welch" not in text
    assert "--html FILE or --pdf FILE" in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 80


def test_the_house_decimal_sign(check: dict[str, Any]) -> None:
    """Numbers take the comma in text, table and picture; names, dates and coordinates stay."""
    check["benches"][1]["bench"] = "Bench 1.5"
    check["benches"][0]["reasons"][0]["sentence"] = "Bench <3>: it rose to 0.0122, see Bench 1.5."
    document = kit_check_document(check)
    page = write_document_page(document, decimal=",", keep=kit_names(check))
    assert "it rose to 0,0122, see Bench 1.5." in page
    assert "0,0122(2)" in page
    assert "0.0122(2)" not in page
    assert "Bench 1,5" not in page
    assert "2031-09-01" in page
    assert re.search(r">0,0\d+</text>", page)
    assert page.count("<path") == write_document_page(document).count("<path")
    stream = io.StringIO()
    show_kit_check(check, Console(file=stream, width=80, color_system=None), decimal=",")
    assert "0,0122, see Bench 1.5." in " ".join(stream.getvalue().split())
    comma, point = (write_document_paper(document, decimal=sign, keep=kit_names(check)) for sign in ",.")
    assert comma != point


def test_a_measure_is_told_once_and_its_rules_stand_together(check: dict[str, Any]) -> None:
    bench = check["benches"][0]
    bench["reasons"] = [
        {"measure": "lost", "basis": "class", "sentence": "11 % lost.", "remedy": "", "weight": 3.2, "criterion": "z = 23."},
        {"measure": "lost", "basis": "bounds", "sentence": "Above 5 %.", "remedy": "Aim.", "weight": 1.1, "criterion": "Bound."},
        {"measure": "lost", "basis": "change", "sentence": "It rose.", "remedy": "", "weight": 1.0},
    ]
    told = shown_reasons(bench)
    assert [each["sentence"] for each in told] == ["11 % lost.", "It rose."]
    assert (told[0]["remedy"], told[0]["criterion"]) == ("Aim.", "z = 23. Bound.")
    part = next(part for part in kit_check_document(check).parts if part.heading == "Bench <3>")
    notes = next(block for block in part.blocks if isinstance(block, Notes))
    assert notes.texts == ("¹ z = 23. Bound.",)
    labelled = next(block for block in part.blocks if isinstance(block, Labelled))
    assert labelled.pairs == (("Seen", "11 % lost. ¹"), ("What to do", "Aim."), ("Seen", "It rose."))


def test_every_need_has_its_word() -> None:
    from joulebook.planning.kit_check import NEEDS

    assert set(NEED_WORDS) == set(NEEDS)
