"""Diagnosis packs: numbered, hidden, found by the audit, with the hints of the room, and questions that give nothing away."""

from __future__ import annotations

import io
from pathlib import Path

import pikepdf
import pytest

from joulebook.errors import InputError
from joulebook.experiments.ramp_hints import CLEAN, HINTS
from joulebook.planning.diagnosis import DiagnosisPack, diagnosis_pack
from joulebook.planning.faults import FAULTS
from joulebook.planning.rehearse import ALSO_READ_AS
from joulebook.render.diagnosis_document import answer_sheet, question_sheet
from joulebook.render.document import Labelled, write_document_page, write_document_paper


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> DiagnosisPack:
    """A pack with every fault, and one record in five sound."""
    return diagnosis_pack(tmp_path_factory.mktemp("pack") / "records", records=29, seed=8)


def test_a_pack_holds_every_fault_and_sound_records(pack: DiagnosisPack) -> None:
    codes = [item.code for item in pack.items]
    assert set(FAULTS) == set(codes) - {""}
    assert codes.count("") == 6
    assert [item.number for item in pack.items] == list(range(1, 30))
    assert [bench.folder.name for bench in pack.rehearsal.benches] == [f"record-{number:02d}" for number in range(1, 30)]


def test_the_audit_finds_what_was_hidden_or_it_is_said_why_not(pack: DiagnosisPack) -> None:
    for item, bench in zip(pack.items, pack.rehearsal.benches, strict=True):
        if item.code and item.code not in bench.found:
            assert item.caveat == ALSO_READ_AS[item.code]
        else:
            assert item.caveat == ""
        if not item.code:
            assert bench.found == ()
        assert len(bench.bench.launches) == 1
    assert sum(bool(item.caveat) for item in pack.items) <= 1


def test_questions_give_nothing_away(pack: DiagnosisPack) -> None:
    page = write_document_page(question_sheet(pack.items))
    for item in pack.items:
        if item.code:
            assert item.code not in page
            assert item.title not in page
            assert HINTS[item.code].teacher not in page
        assert item.message == "" or item.message not in page
        assert f"Record {item.number}" in page
    for question in ("What do you see?", "What would you ask the group?", "What would you do?"):
        assert page.count(question) == len(pack.items)


def test_answers_use_the_words_of_the_room(pack: DiagnosisPack) -> None:
    document = answer_sheet(pack.items)
    for item, part in zip(pack.items, document.parts[1:], strict=True):
        hint = HINTS[item.code] if item.code else CLEAN
        told = {label: text for block in part.blocks if isinstance(block, Labelled) for label, text in block.pairs}
        assert told["Look again"] == hint.look
        assert told["A question"] == hint.question
        assert told["Where to measure"] == hint.measure
        assert told["For the teacher only"] == hint.teacher
        assert told["Hidden"].startswith(item.code or "nothing")
        if item.code and not item.caveat:
            assert told["How it shows"] == item.message


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_each_record_has_a_sheet_of_its_own(pack: DiagnosisPack, paper: str) -> None:
    with pikepdf.open(io.BytesIO(write_document_paper(question_sheet(pack.items[:9]), paper=paper))) as pdf:
        assert len(pdf.pages) == 9


def test_stated_values_are_those_of_the_bench_file(pack: DiagnosisPack) -> None:
    for item, bench in zip(pack.items, pack.rehearsal.benches, strict=True):
        text = (bench.folder / "bench.toml").read_text(encoding="utf-8")
        mass = dict(item.stated)["Mass of the cart"]
        assert mass in text


def test_chosen_faults(tmp_path: Path) -> None:
    pack = diagnosis_pack(tmp_path / "records", records=5, seed=1, codes=["caught", "no-rest"])
    assert sorted(item.code for item in pack.items) == ["", "caught", "caught", "no-rest", "no-rest"]


def test_what_cannot_be_packed(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="0 records teaches nothing"):
        diagnosis_pack(tmp_path / "records", records=0, seed=1)
    with pytest.raises(InputError, match="no fault 'cuaght'"):
        diagnosis_pack(tmp_path / "records", records=3, seed=1, codes=["cuaght"])
