"""The sheets: tagged PDFs and pages of every kind, and nothing on a student's sheet that the student is to find."""

from __future__ import annotations

import html
import io
import itertools
import math
import re
from collections.abc import Iterator
from dataclasses import asdict, replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from tests.render.sample_audit import sample_stopped
from tests.render.test_paper import tags

from joulebook.api import SHEET_KINDS, audit, sheet
from joulebook.engine.house import COMPARISONS, STEPS, House, compare, percent_difference
from joulebook.engine.report import Audit
from joulebook.errors import AnalysisError, OutputError
from joulebook.experiments.ramp_codes import CODES
from joulebook.experiments.ramp_hints import HINTS
from joulebook.planning.demo_section import write_demo
from joulebook.readers.bench_file import read_bench
from joulebook.render.answer_marks import DOUBTS
from joulebook.render.sheet_answers import compose_answers
from joulebook.render.sheet_blocks import Cautions, Strips, Sum, Tabled
from joulebook.render.sheet_card import SHEET_CAUTIONS, compose_card
from joulebook.render.sheet_facts import BLANK_BENCH, entered, facts_of, facts_of_plan
from joulebook.render.sheet_hints import compose_hints
from joulebook.render.sheet_run import compose_run_sheet, timeline
from joulebook.render.sheet_slips import SLIPS
from joulebook.render.sheet_worksheet import compose_worksheet
from joulebook.render.sheets import PrintedSheet
from joulebook.render.words import CAUTIONS_LABEL
from joulebook.uncertainty import Input

SIZES = {"a4": (595.28, 841.89), "us-letter": (612.0, 792.0)}  # ISO 216, ANSI; points
HOSTILE = '#panic("read") <script>alert(1)</script> $x$ [ \\ @ref `raw` & "Bench 2.1"'


@pytest.fixture(scope="module")
def benches(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's section."""
    folder = tmp_path_factory.mktemp("sheets")
    write_demo(folder)
    return folder


@pytest.fixture(scope="module")
def audits(benches: Path) -> list[Audit]:
    return [audit(benches / f"bench-{number}", method="linear") for number in range(1, 7)]


@pytest.fixture(scope="module")
def printed(benches: Path, audits: list[Audit]) -> dict[str, PrintedSheet]:
    return {kind: sheet(kind, benches, audits=audits) for kind in SHEET_KINDS}


def words(page: str) -> str:
    """Return what a reader of a page sees."""
    body = page.split("<body>")[1]
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", re.sub(r"<desc.*?</desc>|<title.*?</title>", " ", body))).split())


def texts(value: Any) -> Iterator[str]:
    """Yield every text of a sheet's data, the texts of its drawings and their alternatives among them."""
    if isinstance(value, dict):
        for item in value.values():
            yield from texts(item)
    elif isinstance(value, (list, tuple)):
        for item in value:
            yield from texts(item)
    elif isinstance(value, str):
        yield " ".join(re.findall(r">([^<>]+)<", value)) if value.startswith("<svg") else value


def blocks(part: Any, kind: type) -> list[Any]:
    """Return a part's blocks of one class, those that are kept together among them."""
    flat = itertools.chain.from_iterable(getattr(each, "blocks", (each,)) for each in part.blocks)
    return [each for each in flat if isinstance(each, kind)]


@pytest.mark.parametrize(("kind", "paper", "large"), list(itertools.product(SHEET_KINDS, SIZES, (False, True))))
def test_every_kind_is_a_tagged_pdf_on_every_paper(printed: dict[str, PrintedSheet], kind: str, paper: Any, large: bool) -> None:
    # ISO 14289-1 (PDF/UA-1): 5 (identification), 7.1 (tagged, title shown), 7.2 (language).
    one = replace(printed[kind], paper=paper, large_print=large, parts=printed[kind].parts[:2])
    with pikepdf.open(io.BytesIO(one.to_pdf())) as pdf:
        assert bool(pdf.Root.MarkInfo.Marked) is True
        assert str(pdf.Root.Lang) == "en"
        assert bool(pdf.Root.ViewerPreferences.DisplayDocTitle) is True
        with pdf.open_metadata() as metadata:
            assert metadata["pdfuaid:part"] == "1"
            assert metadata["dc:title"] == SHEET_KINDS[kind]
        kinds = [name for name, _ in tags(pdf)]
        assert kinds.count("H1") == len(one.parts)
        figures = [text for name, text in tags(pdf) if name == "Figure" and text]
        assert len(figures) == list(texts([asdict(part) for part in one.parts])).count("drawing")
        for page in pdf.pages:
            size = (float(page.mediabox[2]), float(page.mediabox[3]))
            assert size == pytest.approx(SIZES[paper][::-1] if kind == "answers" else SIZES[paper], abs=0.01)


def test_the_letters_are_ours_and_travel_with_the_file(printed: dict[str, PrintedSheet]) -> None:
    with pikepdf.open(io.BytesIO(printed["worksheet"].to_pdf())) as pdf:
        names = set()
        for item in pdf.objects:
            if isinstance(item, pikepdf.Dictionary) and item.get("/Type") == "/FontDescriptor":
                assert "/FontFile3" in item or "/FontFile2" in item
                names.add(re.sub(r"^/[A-Z]{6}\+", "", str(item.FontName)).split("-")[0])
    assert "FiraSans" in names and names <= {"FiraSans", "DejaVuSansMono"}


@pytest.mark.parametrize("weight", ["Regular", "Bold"])
def test_a_zero_is_plain_and_the_letters_of_a_sum_are_there(weight: str) -> None:
    # A zero with a stroke or a dot through it is a glyph of three closed outlines; a plain one has two, as the letter O.
    from fontTools.pens.recordingPen import DecomposingRecordingPen
    from fontTools.ttLib import TTFont

    (folder,) = find_spec("fontpkg_fira_sans").submodule_search_locations  # type: ignore[union-attr]
    font = TTFont(Path(folder) / "files" / f"FiraSans-{weight}.ttf")
    shapes = font.getGlyphSet()

    def outlines(letter: str) -> int:
        pen = DecomposingRecordingPen(shapes)
        shapes[font.getBestCmap()[ord(letter)]].draw(pen)
        return sum(name == "closePath" for name, _ in pen.value)

    assert outlines("0") == outlines("O") == 2
    assert {ord(letter) for letter in "θμ±½²√×÷−°"} <= set(font.getBestCmap())
    # l, I and 1 are told apart by their outlines.
    widths = {letter: font["hmtx"][font.getBestCmap()[ord(letter)]][0] for letter in "lI1"}
    assert len(set(widths.values())) == 3


def sizes_of_letters(content: bytes) -> set[float]:
    """Return the size of every letter that a PDF's pages show, footers left out, in points."""
    found: set[float] = set()
    with pikepdf.open(io.BytesIO(content)) as pdf:
        for page in pdf.pages:
            stack, scale, size = [], 1.0, 0.0
            text_scale = 1.0
            for operands, operator in pikepdf.parse_content_stream(page):
                name = str(operator)
                if name == "q":
                    stack.append(scale)
                elif name == "Q":
                    scale = stack.pop()
                elif name == "cm":
                    scale *= abs(float(operands[3]))
                elif name == "Tf":
                    size = float(operands[1])
                elif name == "Tm":
                    text_scale = math.hypot(float(operands[2]), float(operands[3]))
                elif name in ("Tj", "TJ"):
                    found.add(round(size * scale * text_scale, 1))
    return found


def test_no_letter_of_a_students_sheet_is_smaller_than_it_should_be(printed: dict[str, PrintedSheet]) -> None:
    for kind in ("card", "worksheet", "hints"):
        usual = sizes_of_letters(printed[kind].to_pdf())
        assert usual, kind
        # The footer has 10 points, the line above the title and what is beside a heading a little less than the text.
        assert min(usual - {10.0}) >= 10.9, (kind, usual)
        large = sizes_of_letters(replace(printed[kind], large_print=True, parts=printed[kind].parts[:1]).to_pdf())
        assert max(large) >= 25.0 and 18.0 in large


def test_the_same_sheet_gives_the_same_bytes(printed: dict[str, PrintedSheet], benches: Path) -> None:
    assert sheet("card", benches).to_pdf() == printed["card"].to_pdf()


@pytest.mark.parametrize("kind", SHEET_KINDS)
def test_a_page_loads_nothing_and_runs_nothing(printed: dict[str, PrintedSheet], kind: str) -> None:
    page = printed[kind].to_html()
    assert "<script" not in page and not re.search(r"(?:src|href)=|@import|url\((?!#)", page)
    assert "default-src 'none'" in page and ' style="' not in page
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert page.count("<h1") == len(printed[kind].parts)
    assert "size:A4" in page
    assert "size:letter" in replace(printed[kind], paper="us-letter").to_html()


def test_words_are_never_read_as_code(benches: Path, audits: list[Audit]) -> None:
    house = House(title=HOSTILE, local_rules=(HOSTILE,))
    facts = replace(BLANK_BENCH, title=HOSTILE, mass=HOSTILE, placed=HOSTILE, rate=HOSTILE)
    parts = (
        compose_card(facts, house),
        compose_worksheet(facts, house),
        compose_answers([replace(audits[0], title=HOSTILE), (HOSTILE, AnalysisError(HOSTILE, remedy=HOSTILE))], house),
    )
    one = PrintedSheet("card", HOSTILE, parts, house_title=HOSTILE, decimal=",")
    with pikepdf.open(io.BytesIO(one.to_pdf())) as pdf, pdf.open_metadata() as metadata:
        assert metadata["dc:title"] == HOSTILE
    page = one.to_html()
    assert "<script" not in page
    assert HOSTILE in html.unescape(page)  # the title's own point is left alone


def expected_numbers(found: Audit) -> set[str]:
    """Return the numbers that students are to find, as anybody might write them: three or four figures, also in mJ."""
    values = []
    for each in (found, *found.launches):
        for name in (
            "kinetic_energy",
            "potential_energy",
            "rotational_energy",
            "release_speed",
            "travel",
            "height",
            "unaccounted",
        ):
            if name in each.quantities:
                value = each.quantities[name].value  # type: ignore[union-attr]
                values += [value, 1000 * value, 100 * value]
        if "kinetic_energy" in each.quantities:
            bottom, top = (each.quantities[name].value for name in ("kinetic_energy", "potential_energy"))  # type: ignore[union-attr]
            values += [bottom / top, top / bottom, 100 * percent_difference(bottom, top), bottom - top]
        values += [each.quantities["relative_difference"].value * 100] if "relative_difference" in each.quantities else []  # type: ignore[union-attr]
    shown = {f"{value:.{digits}g}" for value in map(abs, values) for digits in (3, 4)} | {f"{abs(value):.3f}" for value in values}
    return {number for number in shown if len(re.sub(r"\D", "", number).lstrip("0")) >= 3 and "e" not in number}


def numbers_in(text: str) -> set[str]:
    """Return every number that a text shows, with a point."""
    return set(re.findall(r"(?<![\d.])\d+(?:\.\d+)?", re.sub(r"(?<=\d),(?=\d)", ".", text)))


def test_no_sheet_for_students_shows_what_they_are_to_find(
    printed: dict[str, PrintedSheet], audits: list[Audit], benches: Path
) -> None:
    wanted = set().union(*map(expected_numbers, audits))
    assert len(wanted) > 200
    # The search finds them where they are.
    answers = compose_answers(audits, House(uncertainty_digits=2))
    assert len(wanted & numbers_in(" ".join(texts(asdict(answers))))) >= 10
    # What stands in the bench files (mass, slope, length) and g are not to be found but to be entered.
    files = " ".join(path.read_text(encoding="utf-8") for path in benches.rglob("bench.toml"))
    wanted -= numbers_in(files) | {"9.81"}
    houses = [House(), *(House(comparison=method, uncertainty_digits=2) for method in COMPARISONS)]  # type: ignore[arg-type]
    for kind, house in itertools.product(("card", "worksheet", "hints"), houses):
        one = sheet(kind, benches, house=house, audits=audits)
        parts = [part for part in one.parts if part.reader == "students"]
        assert parts
        shown = " ".join(texts([asdict(part) for part in parts])) + words(replace(one, parts=tuple(parts)).to_html())
        assert wanted & numbers_in(shown) == set(), (kind, house.comparison)
    text = words(printed["worksheet"].to_html()) + words(printed["card"].to_html())
    assert not re.search(r"verdict|apex|expected (?:energy|loss|ratio)|\bloss\b", text)


def test_a_card_for_students_needs_no_record_and_looks_at_none(tmp_path: Path, benches: Path) -> None:
    (tmp_path / "bench.toml").write_text((benches / "bench-1" / "bench.toml").read_text(encoding="utf-8"), encoding="utf-8")
    text = words(sheet("card", tmp_path).to_html())
    for told in (
        "Bench 1, by the window",
        "0.5124 kg",
        "6.00°",
        "The bench file says",
        "We measured",
        "15 cm",
        "Bench code",
        CAUTIONS_LABEL,
    ):
        assert told in text
    assert "Planned" not in text
    (tmp_path / "bench.toml").write_text('title = "Bench 9"\n[track]\nlength = "2.2 m"\n', encoding="utf-8")
    assert "Value, with unit" in words(sheet("card", tmp_path).to_html())


def test_the_local_rules_stand_in_their_box_or_leave_room() -> None:
    own = compose_card(BLANK_BENCH, House(local_rules=("Bags under the tables.",)))
    (cautions,) = blocks(own, Cautions)
    assert cautions.local.content == ("Bags under the tables.",)
    (empty,) = blocks(compose_card(BLANK_BENCH, House()), Cautions)
    assert empty.local.content == () and empty.local.height >= 3
    assert empty.label == CAUTIONS_LABEL and empty.items == SHEET_CAUTIONS
    assert 'contenteditable="true"' in PrintedSheet("card", "Card", (own,)).to_html()


def test_the_cautions_are_those_of_the_trade() -> None:
    # BENCH_FACTS.md, common practice in the trade, no source: a word of each.
    text = " ".join(SHEET_CAUTIONS)
    for word in ("travel", "stop", "lowest", "face", "fingers", "two people", "stand", "leads", "floor", "feet", "implants"):
        assert word in text


@pytest.mark.parametrize("method", COMPARISONS)
def test_the_worksheet_follows_the_houses_comparison(method: Any) -> None:
    part = compose_worksheet(BLANK_BENCH, House(comparison=method))
    told = " ".join(texts(asdict(part)))
    own = {
        "percent difference": "average of the two energies", "overlap of intervals": "share a stretch",
        "percentage uncertainty": "combined uncertainty", "t-prime": "cannot be told apart", "model test": "μ ÷ tan θ",
    }  # fmt: skip
    assert own[method] in told
    others = {name: text for name, text in own.items() if name not in (method, "t-prime")}
    assert not [name for name, text in others.items() if text in told]


def test_the_worksheet_shows_the_steps_of_the_house_and_numbers_them_anew() -> None:
    page = words(PrintedSheet("worksheet", "W", (compose_worksheet(BLANK_BENCH, House(steps=("readings", "claim"))),)).to_html())
    assert "1 Take your readings" in page and "2 Make your claim" in page and "Calculate" not in page
    assert len(STEPS) == 8 and "8 Improve one thing" in words(
        PrintedSheet("worksheet", "W", (compose_worksheet(BLANK_BENCH, House()),)).to_html()
    )


def test_formulas_can_be_left_to_the_students() -> None:
    shown = blocks(compose_worksheet(BLANK_BENCH, House()), Sum)
    recalled = blocks(compose_worksheet(BLANK_BENCH, House(formulas=False)), Sum)
    assert [each.result for each in shown] == [each.result for each in recalled]
    assert all(each.formula for each in shown) and not any(each.formula or each.numbers for each in recalled)


def test_launches_gravity_and_digits_are_the_houses() -> None:
    gravity = Input("place.gravity", 9.8067, "m/s^2", 0.01, "rectangular")
    house = House(launches=5, gravity=gravity, uncertainty_digits=2, tolerance=0.03)
    part = compose_worksheet(BLANK_BENCH, house)
    (launches,) = [table for table in blocks(part, Tabled) if table.caption == "The launches"]
    assert [row[0] for row in launches.rows] == ["1", "2", "3", "4", "5"]
    told = " ".join(texts(asdict(part)))
    assert "9.8067 m/s²" in told and "two digits" in told and "no more than 3 %" in told
    assert "9,8067" in words(PrintedSheet("worksheet", "W", (part,), decimal=",").to_html())


@pytest.mark.parametrize("minutes", [35, 40, 45, 46, 50, 60, 90])
def test_the_period_adds_up(minutes: int) -> None:
    stages = timeline(minutes)
    assert sum(stages) == minutes and min(stages) >= 4
    # BENCH_FACTS.md, common practice: 5, 8, 5, 12, 10 and 5 minutes of 45.
    assert timeline(45) == (5, 8, 5, 12, 10, 5)
    rows = blocks(compose_run_sheet(House(minutes=minutes)), Tabled)[0].rows
    assert rows[0][0].startswith("0–") and rows[-1][0].endswith(f"–{minutes}")


def test_the_run_sheet_names_commands_that_are_there(printed: dict[str, PrintedSheet]) -> None:
    from joulebook.cli.main import COMMANDS

    page = words(printed["run"].to_html())
    commands = set(re.findall(r"joulebook (sweep|audit|\w+ FOLDER)", page))
    assert commands == {"sweep", "audit"} <= set(COMMANDS)
    assert "6 of them" in page and "Never tell a group" in page


def test_the_run_sheet_has_what_a_substitute_needs() -> None:
    part = compose_run_sheet(House(minutes=50, local_rules=("Bags under the tables.",)))
    (period,) = [table for table in blocks(part, Tabled) if table.caption == "A period of 50 minutes"]
    assert period.headings == ("Minute", "Stage", "You", "The groups", "Go on when") and all(all(row) for row in period.rows)
    (cautions,) = blocks(part, Cautions)
    assert cautions.label == CAUTIONS_LABEL and "Bags under the tables." in cautions.local.content
    assert cautions.local.editable and cautions.local.height >= 2  # room for more than the house's own
    told = " ".join(texts(asdict(part)))
    for needed in ("Responsible teacher", "In an emergency call", "If no ranger works at all", "What helps", "hurt"):
        assert needed in told
    # Large letters leave room for four columns.
    large = blocks(compose_run_sheet(House(), large=True), Tabled)[0]
    assert len(large.headings) == 4 and large.rows[3][0] == "18–30: Launches"


def test_the_answer_sheet_says_what_the_audits_say(printed: dict[str, PrintedSheet], audits: list[Audit]) -> None:
    page = words(printed["answers"].to_html())
    assert "For the teacher only" in page
    for found in audits:
        assert found.title in page
        for finding in found.findings:
            if finding.severity != "note":
                assert finding.code in page and finding.message.split(";")[0][:40] in page
    energies, slopes = blocks(printed["answers"].parts[0], Tabled)[:2]
    for row, line, found in zip(energies.rows, slopes.rows, audits, strict=True):
        if any(finding.severity == "stop" for finding in found.findings):
            continue
        bottom, top = found.quantity("kinetic_energy"), found.quantity("potential_energy")
        # One meaning for every ±: half the 95 % interval, written with the house's digits.
        for cell, quantity in ((row[2], bottom), (row[3], top)):
            value, half = map(float, cell.partition(" ▲")[0].split(" ± "))
            assert value == pytest.approx(quantity.value, abs=quantity.u)
            assert half == pytest.approx(quantity.expanded, rel=0.5) and half > 1.4 * quantity.u
        assert row[4].startswith(
            f"{100 * percent_difference(bottom.value, top.value):.1f} %: {compare(bottom, top, House()).answer}"
        )
        loss = found.quantity("relative_difference")
        value, half = map(float, line[3].partition(" %")[0].replace("−", "-").split(" ± "))
        assert (value, half) == (pytest.approx(100 * loss.value, abs=0.1), pytest.approx(100 * loss.expanded, abs=0.1))
    assert "95 %" in energies.caption and "95 %" in slopes.caption
    # Limits of ± 0.25° hold the value with certainty; 95 % of a rectangle are 0.95 of its width.
    assert slopes.rows[0][1] == "6.00° ± 0.24°" and slopes.rows[1][1].startswith("8.048° ± ")


def test_what_is_in_doubt_is_marked_where_it_counts_and_a_stopped_bench_shows_nothing(printed: dict[str, PrintedSheet]) -> None:
    energies, slopes = blocks(printed["answers"].parts[0], Tabled)[:2]
    window, _, sink, corner, door, _ = energies.rows
    assert window[1] == "yes" and "▲" not in "".join(window)
    # A wrong slope changes the height and all that follows from it, not the kinetic energy.
    assert sink[1] == "▲ look first: slope" and "▲" not in sink[2]
    assert all(cell.endswith("▲\u00a0slope") for cell in sink[3:])
    assert slopes.rows[2][3].endswith("▲\u00a0slope") and slopes.rows[2][4] == "▲ angle-mismatch"
    # A wrong mass changes every joule, and cancels in every ratio.
    assert door[1] == "▲ look first: mass" and door[2].endswith("▲\u00a0mass") and door[3].endswith("▲\u00a0mass")
    assert "▲" not in door[4] + door[5] + slopes.rows[4][3]
    assert corner[1:] == ("■ do not use: repeat", "–", "–", "–", "–")
    assert slopes.rows[3][2:4] == ("–", "–") and slopes.rows[3][4] == "■ too-close"
    page = words(printed["answers"].to_html())
    assert "look first: slope" in page and "3 of 6 benches can be used as they are." in page
    assert "Of those that can be used as they are: loss 3." in page


def test_every_finding_that_asks_for_a_look_has_a_word() -> None:
    first = {code.code for code in CODES if code.severity == "look"}
    # One that usually stops a ledger may have a word too, for the cases in which it only asks for a look.
    assert first <= set(DOUBTS) <= {code.code for code in CODES if "look" in code.severities}
    assert all(word and numbers for word, numbers in DOUBTS.values())


def test_the_answer_sheet_names_what_was_planned_and_not_measured(audits: list[Audit]) -> None:
    inputs = tuple(replace(item, origin="planned") if item.name == "cart.mass" else item for item in audits[0].inputs)
    energies = blocks(compose_answers([replace(audits[0], inputs=inputs)], House()), Tabled)[0]
    assert energies.rows[0][1] == "planned, not measured: mass of the cart"


def test_answers_without_a_ledger_and_without_an_audit(audits: list[Audit]) -> None:
    rows = [audits[0], sample_stopped(), ("bench-7", AnalysisError("Nothing moved.", remedy="Record it again."))]
    part = compose_answers(rows, House(comparison="model test"))
    told = " ".join(texts(asdict(part)))
    assert "do not use: repeat" in told and "Nothing moved." in told and "Record it again." in told and "1 of 3 benches" in told
    none = " ".join(texts(asdict(compose_answers(rows[1:], House()))))
    assert "No bench has a ledger that can be used." in none


def test_hint_cards_keep_the_last_grade_from_students() -> None:
    *students, teacher = compose_hints()
    assert [part.reader for part in (*students, teacher)] == ["students", "students", "teacher"]
    shown = " ".join(texts([asdict(part) for part in students]))
    told = " ".join(texts(asdict(teacher)))
    for code, hint in HINTS.items():
        assert hint.look in shown and hint.question in shown and hint.measure in shown
        assert hint.teacher in told and hint.teacher not in shown
        assert f"({code})" in told and f"({code})" not in shown
    for title, hint in SLIPS:
        assert hint.measure in shown and hint.teacher in told and title in told and title not in shown
    assert set(HINTS) == {code.code for code in CODES}


def test_hint_cards_for_a_section_are_those_of_its_findings(printed: dict[str, PrintedSheet], audits: list[Audit]) -> None:
    codes = {finding.code for found in audits for finding in found.findings}
    told = " ".join(texts(asdict(printed["hints"].parts[-1])))
    assert {code for code in HINTS if f"({code})" in told} == codes != set()


def test_the_factors_told_to_the_teacher_are_those_of_the_slips() -> None:
    # SLIPS.md: cosine for sine 11.43 at 5°, radians +7.11 at 8° and of the wrong sign at 5°, tallest sample 0.83 at 10/s.
    told = {title: hint.teacher for title, hint in SLIPS}
    assert round(math.cos(math.radians(5)) / math.sin(math.radians(5))) == 11
    assert "about 11 times" in told["Cosine for sine, or the way along the track as height"]
    assert math.sin(8) / math.sin(math.radians(8)) == pytest.approx(7.11, abs=0.005) and math.sin(5) < 0
    assert "some 7 times" in told["Calculator in radians"] and "wrong sign at 5°" in told["Calculator in radians"]


def plan() -> dict[str, Any]:
    set_up = {
        "mass_kg": 0.5, "angle_deg": 6.0, "speed_m_s": 0.93, "stroke_m": 0.031, "rate_Hz": 20.0, "launches": 4,
        "placed": "top", "track_length_m": 1.55,
    }  # fmt: skip
    bench = {"title": "Bench A", "set_up": set_up, "nearest_m": 0.462, "farthest_m": 1.231, "kinetic_energy": {"value": 0.2237}}
    return {"format": "joulebook/plan-1", "title": "Section", "recommended": bench, "benches": [bench]}


def test_a_plan_gives_cards_with_what_to_aim_at_and_no_forecast() -> None:
    (facts,) = facts_of_plan(plan())
    # 100 cm × sin 6.0° = 10.45 cm.
    assert facts.aim == "6.0°, a rise of 10.5 cm on 100 cm of track"
    assert (facts.load, facts.distance, facts.rate, facts.strength, facts.launches) == (
        "0.50 kg",
        "about 1.20 m",
        "20",
        "3.1 cm",
        4,
    )
    told = " ".join(texts([asdict(compose(facts, House())) for compose in (compose_card, compose_worksheet)]))
    assert "launch-1 to launch-4" in told and "3.1 cm" in told
    assert "0.2237" not in told and "0.93" not in told
    assert "Put the ranger (the motion sensor) at the top end." in told and "1.55" not in told
    assert [each.title for each in facts_of_plan({**plan(), "benches": []})] == ["Bench A"]


def test_a_plan_with_the_ranger_at_the_bottom() -> None:
    """The cocked cart is then nearest: 0.462 m, and 3.1 cm more at the stop."""
    lower = plan()
    lower["benches"][0]["set_up"]["placed"] = "bottom"
    (facts,) = facts_of_plan(lower)
    assert (facts.placed, facts.distance) == ("bottom", "about 0.49 m")
    told = " ".join(texts(asdict(compose_card(facts, House()))))
    assert "(the motion sensor) at the bottom end." in told and "The cart at the stop is about 0.49 m away from it." in told
    lower["benches"][0]["set_up"]["placed"] = "middle"
    with pytest.raises(ValueError, match="placed is 'middle', not top or bottom"):
        facts_of_plan(lower)


@pytest.mark.parametrize(
    ("item", "text"),
    [
        (Input("track.angle", 9.8, "deg", 0.25 / math.sqrt(3), "rectangular"), "9.80° ± 0.25°"),
        (Input("track.angle", 9.8, "deg", 0.5 / math.sqrt(3), "rectangular"), "9.8° ± 0.5°"),
        (Input("cart.mass", 0.2513, "kg", 0.0005 / math.sqrt(3), "rectangular"), "0.2513 kg ± 0.0005 kg"),
        (Input("cart.mass", 0.25134, "kg", 0.00012, "normal"), "0.25134 kg ± 0.00012 kg"),
        (Input("cart.mass", 0.25, "kg", 0.0, "constant"), "0.25 kg"),
    ],
)
def test_a_value_is_written_as_it_was_entered(item: Input, text: str) -> None:
    assert entered(item) == text


def test_the_decimal_comma_reaches_page_and_paper(printed: dict[str, PrintedSheet]) -> None:
    card = replace(printed["card"], decimal=",", parts=printed["card"].parts[:1])
    page = words(card.to_html())
    assert "0,5124 kg" in page and "0.5124" not in page and "Bench 1, by the window" in page
    assert card.to_pdf() != replace(card, decimal=".").to_pdf()
    picture = replace(printed["run"], decimal=",").to_html()
    assert ">0,8<" in picture and ">0.8<" not in picture


def test_another_paper_is_refused(printed: dict[str, PrintedSheet]) -> None:
    other = replace(printed["card"], paper="a5")  # type: ignore[arg-type]
    for lay_out in (other.to_html, other.to_pdf):
        with pytest.raises(OutputError, match="There is no paper size 'a5'"):
            lay_out()


def test_a_planned_bench_file_gives_a_card_with_aims_and_no_readings(tmp_path: Path) -> None:
    plan_table = '[plan]\ncart.mass = "0.50 kg ± 0.01 kg"\ntrack.rise = "8.72 cm ± 0.2 cm"\ntrack.along = "100 cm ± 0.1 cm"\n'
    (tmp_path / "bench.toml").write_text(plan_table, encoding="utf-8")
    text = words(sheet("card", tmp_path).to_html())
    assert "weighs about 0.50 kg" in text and "two marks on the track, 100.0 cm apart" in text
    assert "until the upper mark is about 8.7 cm higher above the table than the lower one" in text
    assert "Planned: measure and replace" in text and "The bench file says" not in text
    (tmp_path / "bench.toml").write_text('[plan]\ntrack.angle = "6 deg"\n', encoding="utf-8")
    assert "until an angle gauge on the track shows about 6.0°." in words(sheet("card", tmp_path).to_html())
    (tmp_path / "bench.toml").write_text('[cart]\nmass = "0.5124 kg ± 0.0005 kg"\n' + plan_table, encoding="utf-8")
    mixed = words(sheet("card", tmp_path).to_html())
    assert "weighs about" not in mixed and "The bench file says" in mixed
    assert "8.7 cm (planned: measure and replace)" in mixed and "0.5124 kg (planned" not in mixed


@pytest.mark.parametrize(
    ("distribution", "u", "half"),
    [
        # GUM (JCGM 100:2008) G.1.3: 1.96 standard uncertainties of a normal; 0.95 of a rectangle's half-width (0.25°);
        # of a triangle's, where 1 − (1 − t)² = 0.95: 0.776 (4.3.9 gives u = a/√6).
        ("normal", 0.20, "0.39"),
        ("rectangular", 0.25 / math.sqrt(3.0), "0.24"),
        ("triangular", 0.25 / math.sqrt(6.0), "0.19"),
    ],
)
def test_a_stated_slope_is_shown_with_its_interval(audits: list[Audit], distribution: str, u: float, half: str) -> None:
    angle = Input("track.angle", 6.0, "deg", u, distribution)
    inputs = tuple(angle if item.name == "track.angle" else item for item in audits[0].inputs)
    _, slopes = blocks(compose_answers([replace(audits[0], inputs=inputs)], House()), Tabled)
    assert slopes.rows[0][1] == f"6.00° ± {half}°"


RISE, GAUGE = replace(BLANK_BENCH, slope="rise"), replace(BLANK_BENCH, slope="gauge", angle="6.00° ± 0.25°")


def told_of(part: Any) -> str:
    return " ".join(texts(asdict(part)))


def test_one_letter_stands_for_one_length(benches: Path) -> None:
    """L is the stretch between the two marks, and nothing else: on the card, on the worksheet and in the picture of both."""
    for compose in (compose_card, compose_worksheet):
        told = told_of(compose(RISE, House()))
        assert "length L" not in told and "upper mark" in told and "lower mark" in told
        assert "L is the distance between them along the track." in told  # what the picture shows, for who cannot see it
    assert "The distance between them, along the track, is L." in told_of(compose_card(RISE, House()))
    # The track's own length is nobody's business at the bench.
    assert "1.60" not in told_of(sheet("card", benches).parts[1])


def test_a_bench_with_an_angle_gauge_is_asked_for_an_angle(printed: dict[str, PrintedSheet]) -> None:
    gauge, rise = printed["worksheet"].parts[:2]
    assert "sin θ" in told_of(gauge) and "upper mark" not in told_of(gauge) and "h ÷ L" not in told_of(gauge)
    assert "d × h ÷ L" in told_of(rise) and "θ" not in told_of(rise)
    assert "angle gauge" in told_of(printed["card"].parts[0]) and "angle gauge" not in told_of(printed["card"].parts[1])
    named = {**plan(), "benches": []}
    for method, way in (("protractor", "gauge"), ("height over length", "rise")):
        named["recommended"]["set_up"]["angle_method"] = method
        assert facts_of_plan(named)[0].slope == way


@pytest.mark.parametrize(
    ("facts", "added"), [(RISE, ("m % + d % + h % + L %", "d % + h % + L %")), (GAUGE, ("m % + d % + sin θ %", "d % + sin θ %"))]
)
def test_percentages_are_joined_and_the_mass_left_out_of_the_comparison(facts: Any, added: tuple[str, str]) -> None:
    for method in ("percent difference", "percentage uncertainty"):
        lines = {each.result: each.formula for each in blocks(compose_worksheet(facts, House(comparison=method)), Sum)}
        assert lines["± of KE"] == "m % + 2 × v %" and lines["± of PE"] == added[0]
        assert lines["Combined ±"] == f"2 × v % + {added[1]}"
    for method in ("overlap of intervals", "t-prime", "model test"):
        part = compose_worksheet(facts, House(comparison=method))
        lines = {each.result: each.formula for each in blocks(part, Sum)}
        assert lines["u of KE, without m"] == "2 × v %" and "m²" not in lines["u of PE, without m"]
        assert "u = ± ÷ √3" in told_of(part)
    assert "So leave m out when you compare KE with PE." in told_of(part)


@pytest.mark.parametrize("method", COMPARISONS)
def test_the_calculation_has_a_column_for_each_uncertainty(method: Any) -> None:
    part = compose_worksheet(BLANK_BENCH, House(comparison=method))
    (table,) = [each for each in blocks(part, Tabled) if each.caption == "All launches"]
    sign = "± J" if method in ("percent difference", "percentage uncertainty") else "u, J"
    assert table.headings == ("Launch", "KE, J", sign, "PE, J", sign, "KE − PE, J")
    # Without the step about percentages, the lines that a comparison needs stand in the calculation.
    short = compose_worksheet(BLANK_BENCH, House(comparison=method, steps=("readings", "calculation", "comparison")))
    assert [each.result for each in blocks(short, Sum)] == [each.result for each in blocks(part, Sum)][2:5] + [
        each.result for each in blocks(part, Sum)
    ][:2] + [each.result for each in blocks(part, Sum)][5:]


def test_the_worksheets_percentages_are_those_of_the_energies() -> None:
    """What a student adds bounds what is true: worst cases of ½ m v² and m g d h/L, to first order (GUM 5.1.2, linear sum)."""
    m, v, d, h, length = 0.5, 1.0, 0.6, 0.10, 1.00
    off = {"m": 0.001, "v": 0.02, "d": 0.005, "h": 0.002, "L": 0.002}
    percent = {"m": off["m"] / m, "v": off["v"] / v, "d": off["d"] / d, "h": off["h"] / h, "L": off["L"] / length}
    kinetic = (m + off["m"]) * (v + off["v"]) ** 2 / (m * v**2) - 1
    potential = (m + off["m"]) * (d + off["d"]) * (h + off["h"]) / (length - off["L"]) / (m * d * h / length) - 1
    lines = {each.result: each.formula for each in blocks(compose_worksheet(RISE, House()), Sum)}
    for name, worst in (("± of KE", kinetic), ("± of PE", potential)):
        terms = [re.fullmatch(r"(?:(\d) × )?(\w) %", term) for term in lines[name].split(" + ")]
        total = sum(int(term[1] or 1) * percent[term[2]] for term in terms if term)
        assert all(terms) and total == pytest.approx(worst, rel=0.03)


def test_a_value_that_no_such_bench_has_is_warned_of(tmp_path: Path) -> None:
    (tmp_path / "bench.toml").write_text(
        '[cart]\nmass = "512 kg ± 1 kg"\n[track]\nangle = "84 deg ± 0.5 deg"\n', encoding="utf-8"
    )
    text = words(sheet("card", tmp_path).to_html())
    assert "512 kg ▲" in text and "84.0° ▲" in text
    assert "▲ Check. m, mass of the cart: lab carts weigh 0.1 kg to 3 kg." in text
    assert "tilted by 0.8° to 40°, this would be 84.0°" in text
    rise = '[cart]\nmass = "0.5 kg"\n[track]\nrise = "97 cm"\nalong = "100 cm"\n'
    (tmp_path / "bench.toml").write_text(rise, encoding="utf-8")
    text = words(sheet("card", tmp_path).to_html())
    # asin 0.97 = 75.9°.
    assert "97.0 cm ▲" in text and "this would be 75.9°" in text and "0.500 kg ▲" not in text
    (tmp_path / "bench.toml").write_text(rise.replace("97", "9.7"), encoding="utf-8")
    assert "▲" not in words(sheet("card", tmp_path).to_html())


def test_a_default_is_said_to_be_one(benches: Path) -> None:
    bench = read_bench(benches / "bench-1", with_records=False)
    inputs = {**bench.inputs, "cart.mass": replace(bench.inputs["cart.mass"], origin="default")}
    told = told_of(compose_card(facts_of(replace(bench, inputs=inputs)), House()))
    assert "m, mass of the cart: nobody has measured it; it is only a usual value." in told


def test_every_strip_bears_its_cards_number() -> None:
    *students, teacher = compose_hints()
    cards = [card for part in students for card in blocks(part, Strips)]
    assert len(cards) == len(HINTS) + len(SLIPS)
    for card in cards:
        number = card.title.removeprefix("Card ")
        assert len(card.items) == 3 and all(lead.startswith(f"{number} · ") for lead, _ in card.items)
    assert not blocks(teacher, Strips)  # nothing of the teacher's is cut up
    assert "Do not cut it up, do not hand it out." in told_of(teacher)


JARGON = r"datum|coverage|rectangular|Type [AB]|degrees of freedom|residual|apex|standard uncertainty|inertia|propagat|expanded"


def test_students_read_no_jargon(benches: Path, audits: list[Audit]) -> None:
    for kind, method in itertools.product(("card", "worksheet", "hints"), COMPARISONS):
        one = sheet(kind, benches, house=House(comparison=method), audits=audits)  # type: ignore[arg-type]
        told = " ".join(told_of(part) for part in one.parts if part.reader == "students")
        assert not re.search(JARGON, told), (kind, method)
    assert re.search(JARGON, told_of(compose_hints()[-1]))  # the search finds it where it is


def lowest_ink(page: Any) -> float:
    """Return how far down a page its lowest letter or line above the footer stands, as a share of the page's height."""
    height = float(page.mediabox[3])
    lowest, stack, matrix, line = 0.0, [], pikepdf.Matrix(), pikepdf.Matrix()
    for operands, operator in pikepdf.parse_content_stream(page):
        name = str(operator)
        if name == "q":
            stack.append(matrix)
        elif name == "Q":
            matrix = stack.pop()
        elif name == "cm":
            matrix = pikepdf.Matrix(*map(float, operands)) @ matrix
        elif name == "Tm":
            line = pikepdf.Matrix(*map(float, operands))
        points = {"Tj": [(0.0, 0.0)], "TJ": [(0.0, 0.0)]}.get(name, [])
        at = (line @ matrix) if points else matrix
        if name in ("m", "l"):
            points = [(float(operands[0]), float(operands[1]))]
        for point in points:
            _, y = at.transform(point)
            share = 1.0 - y / height
            # The footer stands in the margin of 17 mm.
            if y > 17 / 25.4 * 72:
                lowest = max(lowest, share)
    return lowest


@pytest.mark.parametrize(("paper", "large"), list(itertools.product(SIZES, (False, True))))
@pytest.mark.parametrize("kind", ["card", "worksheet", "hints"])
def test_no_page_is_left_almost_empty(
    printed: dict[str, PrintedSheet], kind: str, paper: Any, large: bool, benches: Path
) -> None:
    one = sheet(kind, benches, paper=paper, large_print=large) if kind != "hints" else None
    parts = compose_hints() if one is None else one.parts[:2]
    with pikepdf.open(io.BytesIO(replace(printed[kind], paper=paper, large_print=large, parts=parts).to_pdf())) as pdf:
        filled = [lowest_ink(page) for page in pdf.pages]
    assert min(filled) > 1 / 3, filled


@pytest.mark.parametrize("method", COMPARISONS)
def test_no_worksheet_of_any_comparison_has_an_almost_empty_page(method: Any) -> None:
    for paper, launches in itertools.product(SIZES, (1, 3, 5)):
        parts = tuple(compose_worksheet(facts, House(comparison=method, launches=launches)) for facts in (RISE, GAUGE))
        one = PrintedSheet("worksheet", "W", parts, paper=paper)  # type: ignore[arg-type]
        with pikepdf.open(io.BytesIO(one.to_pdf())) as pdf:
            filled = [lowest_ink(page) for page in pdf.pages]
        assert min(filled) > 1 / 3, (paper, launches, filled)


def test_pages_are_spread_evenly_and_lines_fill_the_last(printed: dict[str, PrintedSheet]) -> None:
    card = replace(printed["card"], parts=printed["card"].parts[:1])
    with pikepdf.open(io.BytesIO(card.to_pdf())) as pdf:
        assert len(pdf.pages) == 2 and lowest_ink(pdf.pages[1]) > 0.85
    # Twelve cards that would leave a few on a page of their own.
    hints = replace(printed["hints"], parts=compose_hints(set())[:1], paper="us-letter")
    with pikepdf.open(io.BytesIO(hints.to_pdf())) as pdf:
        assert min(lowest_ink(page) for page in pdf.pages) > 0.5
