"""docs/findings.md says what the code does: every code has its section, with the severities, limits and remedy that it has."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from joulebook.engine.experiment import FindingCode
from joulebook.experiments import (
    ramp_bench_findings,
    ramp_codes,
    ramp_findings,
    ramp_ranger_findings,
    ramp_record_findings,
    ramp_unfitted_findings,
)
from joulebook.experiments.ramp_codes import CODES

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "findings.md").read_text(encoding="utf-8")
MODULES = (ramp_bench_findings, ramp_findings, ramp_ranger_findings, ramp_record_findings, ramp_unfitted_findings)
PARTS = ("What is seen", "Thresholds", "Why it matters", "How much it changes the answer", "What to do")


def sections(page: str) -> dict[str, str]:
    """Return the text under each heading of the second level, by the heading."""
    parts = re.split(r"^## (.+)$", page, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def severities(section: str) -> tuple[str, ...]:
    """Return the severities in a section's table; each must say when."""
    return tuple(match[1] for match in re.finditer(r"^\| `(\w+)` \| \S.{5,} \|$", section, re.MULTILINE))


def made() -> dict[str, set[str]]:
    """Return which severities the source gives to each code: the words in the second argument of every call of `finding`."""
    found: dict[str, set[str]] = {}
    for module in MODULES:
        for node in ast.walk(ast.parse(Path(str(module.__file__)).read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "finding":
                code, severity = node.args[0], node.args[1]
                assert isinstance(code, ast.Constant)
                constants = [each.value for each in ast.walk(severity) if isinstance(each, ast.Constant)]
                found.setdefault(str(code.value), set()).update(each for each in constants if isinstance(each, str))
    return found


SECTIONS = sections(PAGE)


def test_every_code_has_its_section_and_every_section_its_code() -> None:
    assert list(SECTIONS) == [item.code for item in CODES]


@pytest.mark.parametrize("item", CODES, ids=lambda item: item.code)
def test_a_section_says_what_the_table_says(item: FindingCode) -> None:
    section = SECTIONS[item.code]
    assert section.strip().startswith(f"{item.title}.")
    assert severities(section) == item.severities
    told = {part: re.search(rf"^- \*\*{part}\.\*\* (.+)$", section, re.MULTILINE) for part in PARTS}
    for part, text in told.items():
        assert text is not None and (len(text[1]) > 30 or part in ("Thresholds", "What to do")), part
    assert told["What to do"] is not None and told["What to do"][1] == item.remedy


def test_the_table_holds_the_severities_that_are_given() -> None:
    order = ("stop", "look", "note")
    given = {code: tuple(sorted(words, key=order.index)) for code, words in made().items()}
    assert given == {item.code: item.severities for item in CODES}


def test_the_design_names_the_same_codes() -> None:
    """DESIGN §6."""
    assert [item.code for item in CODES] == [
        "no-launch", "cut-short", "too-close", "too-far", "too-slow", "lost-echo", "ghost-echo", "stuck-echo", "clock", "no-rest",
        "rest-mismatch", "rest-cocked", "wrong-side", "angle-mismatch", "angle-suspect", "mass-suspect", "units-suspect",
        "pushed-by-hand", "caught", "second-launch", "soft-stop", "misfit", "velocity-only",
    ]  # fmt: skip


LIMITS = {
    "no-launch": [f"{100 * ramp_unfitted_findings._SWING:g} cm"],
    "cut-short": [f"{100 * ramp_record_findings._MUCH_OF_CLIMB:g} %", f"{100 * ramp_record_findings._MUCH_OF_DESCENT:g} %"],
    "too-slow": [f"at less than {ramp_unfitted_findings._SLOW:g} samples"],
    "lost-echo": [
        f"{100 * ramp_unfitted_findings._MANY_BLANK:g} %", f"{100 * ramp_ranger_findings._MANY_LOST:g} %",
        f"{ramp_ranger_findings._MANY_LOST:g} s", f"{100 * ramp_ranger_findings._MANY_BLANK:g} %",
    ],
    "clock": [f"{100 * ramp_record_findings._BAD_STAMPS:g} %", f"{ramp_record_findings._FASTEST:g} samples"],
    "rest-mismatch": [f"{1000 * ramp_findings._MOVED:g} mm", f"longer than {ramp_findings._CONTACTS[1]:g} s"],
    "angle-mismatch": ["three standard uncertainties", f"{ramp_bench_findings._ALIKE:g}°"],
    "angle-suspect": [f"outside {ramp_bench_findings.SLOPES[0]:g}° to {ramp_bench_findings.SLOPES[1]:g}°"],
    "mass-suspect": [f"{ramp_bench_findings.CARTS[0]:g} to {ramp_bench_findings.CARTS[1]:g} kg"],
    "units-suspect": [f"{ramp_record_findings._LONGEST_TRACK:g} m long"],
    "pushed-by-hand": [f"{ramp_findings._LONGEST_PUSH:.2f} s"],
    "caught": [f"{ramp_unfitted_findings._FIRED:g} m/s", f"{100 * ramp_unfitted_findings._SWING:g} cm"],
    "soft-stop": [f"{1000 * ramp_findings._SOFT[0]:g} mm", f"{100 * ramp_findings._SOFT[1]:g} %"],
    "misfit": [f"{1e5 * ramp_findings._CHANCE:g} of 100 000"],
}  # fmt: skip


@pytest.mark.parametrize(("code", "limits"), LIMITS.items(), ids=lambda value: value if isinstance(value, str) else "")
def test_the_limits_on_the_page_are_those_of_the_code(code: str, limits: list[str]) -> None:
    assert ramp_bench_findings._FAR_OFF == 3.0
    for limit in limits:
        assert limit in SECTIONS[code], limit


def test_the_index_leads_to_the_page() -> None:
    assert "(findings.md)" in (ROOT / "docs" / "index.md").read_text(encoding="utf-8")


def test_a_missing_section_would_be_seen() -> None:
    """The comparisons above can fail: a page without one code, or with another severity, is not what the table says."""
    item = next(item for item in CODES if item.code == "caught")
    without = PAGE.replace("## caught", "### caught")
    assert list(sections(without)) != [each.code for each in CODES]
    assert severities(SECTIONS["caught"].replace("`stop`", "`note`")) != item.severities
    assert ramp_codes.finding("caught", "look", "m").remedy == item.remedy
