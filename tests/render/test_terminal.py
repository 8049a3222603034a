"""The terminal: whole words at every width, plain when piped, and text that is shown, never obeyed."""

from __future__ import annotations

import io
import math
import re
from dataclasses import replace

import pytest
from rich.cells import cell_len
from rich.console import Console
from tests.render.exact_audit import exact_audit
from tests.render.sample_audit import sample_audit, sample_stopped

from joulebook.engine.report import Audit, Finding
from joulebook.errors import Fault, RecordError
from joulebook.render.section import section_lines, section_sentence
from joulebook.render.terminal import show, show_section


def printed(audit: Audit, width: int = 80, *, verbose: bool = False) -> str:
    stream = io.StringIO()
    show(audit, Console(file=stream, width=width), verbose=verbose)
    return stream.getvalue()


def flowing(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("width", [40, 60, 80, 120])
@pytest.mark.parametrize("verbose", [False, True])
def test_no_line_is_too_long_and_no_word_of_the_verdict_is_cut(width: int, verbose: bool) -> None:
    audit = sample_audit()
    text = printed(audit, width, verbose=verbose)
    assert audit.verdict.sentence in flowing(text)
    for finding in audit.findings:
        assert finding.message in flowing(text) and finding.remedy in flowing(text)
    assert max(cell_len(line) for line in text.splitlines()) <= width
    assert not [line for line in text.splitlines() if line != line.rstrip()]


@pytest.mark.parametrize("width", [60, 80])
def test_order_verdict_then_people_then_numbers_then_how_we_know(width: int) -> None:
    text = flowing(printed(sample_audit(), width))
    parts = ["Bench 3, the blue trolley", "The cart had 0.0053 J less", "Mechanical energy: loss.",
             "What needs a person first:", "Stop: too-close",
             "Look first: angle-suspect", "Energy from release to apex:",
             "What the uncertainty of the relative difference comes from:",
             "79 % stated slope", "Records:", "launch-3.csv: 100 samples", "Notes:", "Note: ghost-echo"]  # fmt: skip
    places = [text.index(part) for part in parts]
    assert places == sorted(places)


def test_the_ledger_shows_value_uncertainty_and_interval() -> None:
    text = printed(sample_audit())
    assert re.search(r"kinetic energy at release +0\.1414\(11\) J +0\.1392 to 0\.1435 J", text)
    assert re.search(r"relative difference +3\.5\(15\) % +0\.6 to 6\.4 %", text)
    assert re.search(r"unaccounted for +−0\.0003\(20\) J +−0\.0042 to 0\.0036 J", text)
    assert "95 % interval" in text
    assert "A difference below 2.1 % of the energy at release would not have been told from zero" in flowing(text)
    assert "a loss has to be near 4 % to be found nearly always." in flowing(text)


def test_piped_output_is_plain_text() -> None:
    assert "\x1b" not in printed(sample_audit(), verbose=True)


def test_no_color_keeps_the_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    stream = io.StringIO()
    show(sample_audit(), Console(file=stream, width=80, force_terminal=True, color_system="standard"))
    codes = set(re.findall(r"\x1b\[([\d;]*)m", stream.getvalue()))
    assert codes and not [code for code in codes if re.search(r"(^|;)(3|4|9|10)\d", code)]
    assert flowing(re.sub(r"\x1b\[[\d;]*m", "", stream.getvalue())) == flowing(printed(sample_audit()))


def test_colour_marks_what_needs_a_person_on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    stream = io.StringIO()
    show(sample_audit(), Console(file=stream, width=80, force_terminal=True, color_system="standard"))
    assert re.search(r"\x1b\[1;31m■ Stop: too-close", stream.getvalue())


@pytest.mark.parametrize("title", ["[bold]x[/bold]", "=cmd()", "<script>alert(1)</script>", ":smile:", "[/]", "100 %s {0}"])
def test_hostile_titles_are_shown_as_they_stand(title: str) -> None:
    assert printed(replace(sample_audit(), title=title)).startswith(title + "\n")
    stream = io.StringIO()
    show_section([replace(sample_audit(), title=title)], Console(file=stream, width=80))
    assert title in stream.getvalue()


def test_control_characters_cannot_steer_the_terminal() -> None:
    finding = Finding("misfit", "look", "a\x1b[2J\x1b]0;owned\x07b\rc\u202ed\x9be", "r")
    text = printed(replace(sample_audit(), title="t\x1b[31m\x08\nx", findings=(finding,)))
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202e]", text)
    assert "a[2J]0;ownedb cde" in text and text.startswith("t[31m x\n")


def test_a_terminal_without_greek_gets_its_own_letters() -> None:
    stream = io.TextIOWrapper(io.BytesIO(), encoding="ascii", errors="strict")
    show(sample_audit(), Console(file=stream, width=80), verbose=True)
    stream.flush()
    stream.seek(0)
    text = stream.read()
    assert "# Stop: too-close" in text and "9.80 deg" in text and "-0.0042 to 0.0036 J" in text


def test_several_launches_and_bounces_are_told_one_by_one() -> None:
    text = flowing(printed(sample_audit(launches=3), verbose=True))
    assert all(f"launch-{number}.csv: " in text for number in (1, 2, 3))
    assert "restitution, bounce 1 0.7900(80)" in text and "restitution, bounce 2 0.7750(80)" in text
    assert re.search(r"climb 1\.134 s to 1\.757 s samples 23 to 35", text)


def test_verbose_tells_inputs_cross_checks_and_what_was_read() -> None:
    audit = sample_audit()
    text = flowing(printed(audit, verbose=True))
    assert "track.angle = 9.80(14)°, given, rectangular" in text
    assert "cart.drag_area = 0.0030(17) m², default, rectangular. Left out: the default for a small cart." in text
    assert "Slope from the motion: 9.800(62)°; stated: 9.80(14)°." in text
    assert "The tallest velocity sample would have said 0.968 m/s (0.118 J)." in text
    assert f"SHA-256 {audit.records[1].sha256}" in text and f"Read as: {audit.records[1].read_as}" in text
    short = flowing(printed(audit))
    assert "track.angle =" not in short and "SHA-256" not in short


def test_no_descent_no_bounces_no_findings() -> None:
    text = printed(exact_audit(descent=False, restitution=(), launches=1), verbose=True)
    assert "What needs a person first" not in text and "Notes:" not in text and "bounce" not in text
    assert "cart.rolling_resistance = 0.0060(23), default, rectangular" in text


@pytest.mark.parametrize(("severity", "head", "part"), [
    ("stop", "■ Stop: x", "What needs a person first:"), ("look", "▲ Look first: x", "What needs a person first:"),
    ("note", "● Note: x", "Notes:"),
])  # fmt: skip
def test_every_severity_has_its_place(severity: str, head: str, part: str) -> None:
    finding = Finding("x", severity, "seen", "done")  # type: ignore[arg-type]
    lines = printed(replace(sample_audit(), findings=(finding,))).splitlines()
    assert lines[lines.index(part) + 1 : lines.index(part) + 4] == [f"  {head}", "    seen", "    What to do: done"]


def test_no_ledger_shows_only_what_is_known() -> None:
    text = printed(sample_stopped(), verbose=True)
    assert "No ledger can be given: launch-1.csv ends before the cart turned round." in text
    assert "Energy from release to apex" not in text and "Mechanical energy:" not in text
    assert "nan" not in text and "inf" not in text


def test_small_influences_are_put_together() -> None:
    text = printed(sample_audit())
    assert " 2 %  rotating fraction (cart.rotating_fraction)" in text and "gravity" not in text
    assert "under 1 %  gravity (place.gravity)" in printed(sample_audit(), verbose=True)


ROWS = [
    sample_audit(title="Bench 1"),
    exact_audit(title="Bench 2", launches=1),
    ("bench-7", RecordError("there is no number in it", source="launch.csv", faults=[Fault("line 2", "no number")])),
    {"folder": "bench-8", "ok": True, "audit": exact_audit(title="Bench 8", launches=1).to_dict()},
    {"folder": "bench-9", "ok": False, "error": {"code": "bench-file", "message": "track.angle is missing", "remedy": "Add it."}},
    replace(sample_audit(title="Bench 4"), findings=tuple(f for f in sample_audit().findings if f.severity == "look")),
]


def test_section_lines() -> None:
    lines = section_lines(ROWS)
    assert [(line.title, line.verdict, line.severity, line.finding) for line in lines] == [
        ("Bench 1", "loss", "stop", "too-close"),
        ("Bench 2", "loss", "note", ""),
        ("bench-7", "no ledger", "stop", ""),
        ("Bench 8", "loss", "note", ""),
        ("bench-9", "no ledger", "stop", ""),
        ("Bench 4", "loss", "look", "angle-suspect"),
    ]
    assert lines[0].reason == "3.5 ± 2.9 %" and "line 2: no number" in lines[2].reason
    assert lines[1].reason == lines[3].reason
    assert section_sentence(lines) == "6 benches: go first to Bench 1, bench-7 and bench-9, then look at Bench 4."


def test_section_sentences() -> None:
    assert section_sentence([]) == "No benches."
    assert section_sentence(section_lines([exact_audit(launches=1)])) == "1 bench; nobody needs to be visited first."
    stopped = section_lines([sample_stopped()])[0]
    assert stopped.verdict == "no ledger" and stopped.finding == "cut-short" and "ends before" in stopped.reason


@pytest.mark.parametrize("width", [50, 80, 100])
def test_a_section_fits_and_keeps_the_order(width: int) -> None:
    stream = io.StringIO()
    show_section(ROWS, Console(file=stream, width=width))
    text = stream.getvalue()
    assert max(cell_len(line) for line in text.splitlines()) <= width
    places = [text.index(title) for title in ("Bench 1", "Bench 2", "bench-7", "Bench 8", "bench-9", "Bench 4")]
    assert places == sorted(places)
    assert "Stop: too-close" in text and "Look: angle-suspect" in text
    assert "track.angle is missing" in flowing(text) or "track.angle is" in text
    if width >= 80:
        assert re.search(r"^Bench 2 +loss +nothing +\d\.\d ± \d\.\d %$", text, re.MULTILINE)


def test_an_unknown_resolution_is_not_printed_as_a_number() -> None:
    audit = replace(sample_audit(), verdict=replace(sample_audit().verdict, resolution=math.inf))
    assert "inf" not in printed(audit) and "smallest loss" not in printed(audit)
