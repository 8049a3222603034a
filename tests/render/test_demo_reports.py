"""Every report of every bench of the demo's section, from simulated records through the real audit."""

from __future__ import annotations

import csv
import io
import re
from xml.etree import ElementTree as ET

import numpy as np
import pikepdf
import pytest

from joulebook.analysis import audit_bench
from joulebook.engine.report import Audit
from joulebook.planning.demo_section import DemoBench, demo_benches
from joulebook.planning.simulate import simulate_bench
from joulebook.render.energy_pictures import energy_stacks
from joulebook.render.page import write_page
from joulebook.render.paper import write_paper
from joulebook.render.pictures import draw_pictures
from joulebook.render.trace_table import write_trace_csv

BENCHES = demo_benches()


@pytest.fixture(scope="module", params=BENCHES, ids=[bench.folder for bench in BENCHES])
def audit(request: pytest.FixtureRequest) -> Audit:
    bench: DemoBench = request.param
    return audit_bench(simulate_bench(bench.design, np.random.default_rng(20)).bench)


def test_every_report_can_be_written(audit: Audit) -> None:
    pictures = draw_pictures(audit)
    page = write_page(audit, pictures=pictures)
    assert audit.verdict.sentence[:20] in page.replace("\u00a0", " ")
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    text = re.sub(r"<style>.*?</style>|<[^>]+>", " ", page)
    assert not re.search(r"\b(nan|inf|None)\b", text)
    with pikepdf.open(io.BytesIO(write_paper(audit, pictures=pictures))) as pdf:
        assert 2 <= len(pdf.pages) <= 5
    rows = list(csv.reader(io.StringIO(write_trace_csv(audit), newline="")))
    assert len(rows) - 1 == sum(launch.series.time.size for launch in audit.launches if launch.series is not None)


def test_the_pictures_hold_what_the_audit_found(audit: Audit) -> None:
    pictures = draw_pictures(audit)
    assert pictures.trace is not None and pictures.residuals is not None
    assert len(pictures.launches) == len(audit.launches) - 1
    for picture in (pictures.trace, pictures.residuals, pictures.joules, pictures.budget):
        assert picture is not None
        assert ET.fromstring(picture.svg).get("role") == "img"
    stacks = energy_stacks(audit)
    energy = audit.quantity("kinetic_energy").value + audit.quantity("rotational_energy").value
    for stack in stacks:
        assert sum(value for _, value in stack.parts) == pytest.approx(energy, rel=1e-9)
    # Each bounce leaves less than there was before, within what the stop can lose.
    kept = [stack.value for stack in stacks if stack.moment.startswith("after")]
    assert kept and all(0 < after < before for before, after in zip([energy, *kept], kept, strict=False))
