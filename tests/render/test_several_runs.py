"""A file of several runs: what is audited is said under the verdict, with what to write for another run."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

from joulebook.analysis import audit_bench
from joulebook.engine.report import Audit
from joulebook.planning.demo_section import demo_benches
from joulebook.planning.folder import write_bench_folder
from joulebook.planning.simulate import simulate_bench
from joulebook.readers.bench_file import read_bench
from joulebook.render.contents import compose
from joulebook.render.notebook import display_html
from joulebook.render.page import write_page
from joulebook.render.several_runs import RUNS_QUESTION, runs_notice
from joulebook.render.terminal import show


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a bench whose one launch file holds two launches, one below the other, and whose bench file names no run."""
    place = tmp_path_factory.mktemp("runs") / "bench"
    design = replace(demo_benches()[0].design, launches=2)
    write_bench_folder(simulate_bench(design, np.random.default_rng(8)), place)
    first, second = (place / f"launch-{number}.csv" for number in (1, 2))
    text = f"{first.read_text(encoding='utf-8').rstrip()}\n\n{second.read_text(encoding='utf-8')}"
    (place / "launches.csv").write_text(text, encoding="utf-8")
    first.unlink()
    second.unlink()
    bench = place / "bench.toml"
    named = 'launch = ["launch-1.csv", "launch-2.csv"]'
    stated = bench.read_text(encoding="utf-8")
    assert named in stated
    bench.write_text(stated.replace(named, 'launch = ["launches.csv"]'), encoding="utf-8")
    return place


def audit(folder: Path, launch: str | None = None) -> Audit:
    bench = folder / "bench.toml"
    stated = bench.read_text(encoding="utf-8")
    if launch is not None:
        bench.write_text(stated.replace('launch = ["launches.csv"]', f"launch = {launch}"), encoding="utf-8")
    try:
        return audit_bench(read_bench(folder), method="linear")
    finally:
        bench.write_text(stated, encoding="utf-8")


def test_the_notice_stands_under_the_verdict_wherever_it_is_read(folder: Path) -> None:
    found = audit(folder)
    notice = runs_notice(found)
    assert notice.startswith("launches.csv holds 2 runs, and only the first, “Run 1”, is audited; left out: “Run 2” (")
    assert 'launch = ["launches.csv#1", "launches.csv#2"]' in notice
    assert compose(found).claims[0] == (RUNS_QUESTION, notice)
    page = write_page(found)
    assert page.index(RUNS_QUESTION) < page.index("What to look at first")
    assert RUNS_QUESTION in display_html(found)
    stream = io.StringIO()
    show(found, Console(file=stream, width=80, color_system=None))
    shown = " ".join(stream.getvalue().split())
    assert f"{RUNS_QUESTION}: {notice}" in shown
    assert shown.index(RUNS_QUESTION) < shown.index("Energy from release to apex")


def test_what_the_notice_says_to_write_does_what_it_says(folder: Path) -> None:
    second = audit(folder, '["launches.csv#2"]')
    assert runs_notice(second) == ""
    assert RUNS_QUESTION not in dict(compose(second).claims)
    assert second.launches[0].quantities["travel"] != audit(folder).launches[0].quantities["travel"]
    both = audit(folder, '["launches.csv#1", "launches.csv#2"]')
    assert runs_notice(both) == ""
    assert len(both.launches) == 2
