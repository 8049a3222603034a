"""The kit check's page and the diagnosis sheets in a real browser: see test_pages.py for what is looked at and why."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import pytest
from tests.planning.kit_section import checked, kit_design
from tests.test_pages import look

from joulebook.planning.diagnosis import diagnosis_pack
from joulebook.planning.kit_check import check_benches
from joulebook.planning.kit_history import last_check, store_check
from joulebook.render.diagnosis_document import answer_sheet, question_sheet
from joulebook.render.document import write_document_page
from joulebook.render.kit_check_document import kit_check_document

pytestmark = pytest.mark.page


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    import datetime

    summer, autumn = datetime.date(2031, 7, 4), datetime.date(2031, 9, 1)
    folder = tmp_path_factory.mktemp("pages")
    first = check_benches([checked(kit_design(number, launches=2), 1) for number in range(1, 6)], date=summer)
    store_check(folder, summer, json.dumps(first.to_dict()))
    changed = [kit_design(number, launches=2, setup={"rolling_resistance": 0.004 * number}) for number in range(1, 6)]
    check = check_benches([checked(design, 2) for design in changed], date=autumn, against=last_check(folder, before=autumn))
    pack = diagnosis_pack(folder / "records", records=3, seed=1)
    return {
        "check": write_document_page(kit_check_document(check.to_dict())),
        "questions": write_document_page(question_sheet(pack.items)),
        "answers": write_document_page(answer_sheet(pack.items)),
    }


@pytest.mark.parametrize("name", ["check", "questions", "answers"])
def test_the_page_fits_a_phone_and_has_its_names(pages: dict[str, str], name: str, tmp_path: Path) -> None:
    for sight in look(pages[name], [320, 1280], tmp_path):
        assert sight["asked"] == []
        assert sight["needed"] == sight["width"], sight["wide"]
        assert sight["wide"] == []
        assert isinstance(sight["pictures"], int)
        assert sight["pictures"] >= 2
        assert sight["nameless"] == 0
        assert sight["language"] == "en"
        levels = sight["headings"]
        assert isinstance(levels, list)
        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(after <= before + 1 for before, after in pairwise(levels))
