"""The documentation runs: commands shown in README.md and docs/ are executed, and what they print is what is shown.

A block after `<!-- run -->` holds one command and its output, after `<!-- run head=12 -->` the first 12 lines of it. Words
must agree exactly, numbers to within 2 % (the last digit of a Monte Carlo interval may differ between processors). Written
anew by `make docs`.
"""

from __future__ import annotations

import os
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from joulebook.cli.main import COMMANDS, joulebook

ROOT = Path(__file__).parents[1]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
REWRITE = os.environ.get("JOULEBOOK_REWRITE") == "1"

RUN = re.compile(r"<!-- run(?: head=(\d+))? -->\n```console\n\$ (.+)\n((?:.*\n)*?)```\n")
EXECUTE = re.compile(r"<!-- execute -->\n```python\n((?:.*\n)*?)```\n")
NUMBER = re.compile(r"\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
LINK = re.compile(r"\]\((?!\w+:)([^)#\s]+)(?:#[^)]*)?\)")


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder in which the commands run, with the demo section that the examples use."""
    folder = tmp_path_factory.mktemp("readme")
    before = Path.cwd()
    os.chdir(folder)
    output("joulebook demo --out tour --no-pdf")
    yield folder
    os.chdir(before)


def output(command: str) -> str:
    """Return what a command of the documentation prints, as at a terminal 100 columns wide."""
    program, *arguments = shlex.split(command)
    if program == "cat":
        return "".join(Path(name).read_text(encoding="utf-8") for name in arguments)
    assert program == "joulebook"
    result = CliRunner(env={"COLUMNS": "100", "NO_COLOR": "1", "TERM": "dumb"}).invoke(
        joulebook, arguments, prog_name="joulebook", terminal_width=100
    )
    assert result.exit_code == 0, result.output
    return result.output


def shown(text: str, head: str | None) -> str:
    """Return output as a block shows it: no trailing blanks, at most `head` lines."""
    lines = [line.rstrip() for line in text.rstrip().splitlines()]
    if head is not None and len(lines) > int(head):
        lines = [*lines[: int(head)], "…"]
    return "".join(f"{line}\n" for line in lines)


def words(text: str) -> list[str]:
    """Return the text without its numbers; the room that a number takes may differ."""
    return NUMBER.sub("0", text).split()


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_commands_print_what_is_shown(page: Path, request: pytest.FixtureRequest) -> None:
    text = page.read_text(encoding="utf-8")
    blocks = list(RUN.finditer(text))
    assert len(blocks) == text.count("<!-- run"), "a block marked to be run is not written as this test expects"
    if not blocks:
        return
    request.getfixturevalue("place")
    if REWRITE:
        for head, command, old in (match.groups() for match in blocks):
            text = text.replace(f"$ {command}\n{old}```", f"$ {command}\n{shown(output(command), head)}```")
        page.write_text(text, encoding="utf-8")
        return
    for head, command, expected in (match.groups() for match in blocks):
        found = shown(output(command), head)
        assert words(found) == words(expected), command
        numbers = [[float(number) for number in NUMBER.findall(each)] for each in (found, expected)]
        assert numbers[0] == pytest.approx(numbers[1], rel=0.02), command


def test_the_python_example_runs(place: Path) -> None:
    (example,) = EXECUTE.findall((ROOT / "README.md").read_text(encoding="utf-8"))
    names: dict[str, object] = {}
    exec(compile(example, "README.md", "exec"), names)
    assert {"audit", "same", "line"} <= set(names)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_lead_somewhere(page: Path) -> None:
    for target in LINK.findall(page.read_text(encoding="utf-8")):
        assert (page.parent / target).exists(), f"{target} is linked in {page.name} and is not there"


def test_every_page_is_in_the_index() -> None:
    index = ROOT / "docs" / "index.md"
    linked = {(index.parent / target).resolve() for target in LINK.findall(index.read_text(encoding="utf-8"))}
    decisions = {page for page in PAGES if page.parent.name == "adr" and page.name != "README.md"}
    missing = {page for page in PAGES if page.is_relative_to(ROOT / "docs")} - linked - decisions - {index}
    assert not missing, f"docs/index.md links to no {sorted(page.name for page in missing)}"


def test_every_decision_is_in_the_list() -> None:
    folder = ROOT / "docs" / "adr"
    linked = set(LINK.findall((folder / "README.md").read_text(encoding="utf-8")))
    assert linked == {page.name for page in folder.glob("0*.md")}
    for page in folder.glob("0*.md"):
        text = page.read_text(encoding="utf-8")
        assert [word for word in ("## Context", "## Decision", "## Consequences") if word not in text] == [], page.name


def test_every_command_has_its_help_in_the_docs() -> None:
    text = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    assert [command for _, command, _ in RUN.findall(text)] == [
        "joulebook --help",
        *(f"joulebook {name} --help" for name in COMMANDS),
    ]
