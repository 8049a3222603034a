"""The trace as CSV: every sample, read back as it was, and no cell that a spreadsheet would run."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace

import numpy as np
import pytest
from tests.render.sample_audit import sample_audit, sample_stopped

from joulebook.engine.report import Audit
from joulebook.render.trace_table import HEADINGS, write_trace_csv


@pytest.fixture(scope="module")
def audit() -> Audit:
    return sample_audit()


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_every_sample_of_every_launch_comes_back_the_same(audit: Audit) -> None:
    rows = read(write_trace_csv(audit))
    for launch in audit.launches:
        series = launch.series
        assert series is not None
        own = [row for row in rows if row["launch"] == launch.file]
        assert [int(row["sample"]) for row in own] == list(range(series.time.size))
        for heading, values in (
            ("time (s)", series.time),
            ("distance from sensor (m)", series.distance),
            ("position up the slope (m)", series.position),
            ("fitted position (m)", series.fitted),
            ("residual (m)", series.residual),
        ):
            back = np.array([float(row[heading]) if row[heading] else math.nan for row in own])
            np.testing.assert_array_equal(back, values)
        assert [row["flag"] for row in own] == list(series.flags)
        assert [row["used"] == "yes" for row in own] == list(series.used)
    assert len(rows) == 300


def test_samples_carry_their_phase(audit: Audit) -> None:
    rows = read(write_trace_csv(replace(audit, launches=audit.launches[:1])))
    for phase in audit.launches[0].phases:
        middle = (phase.first + phase.last) // 2
        if phase.last > phase.first + 1:
            assert rows[middle]["phase"] == phase.kind
    assert {row["phase"] for row in rows if row["used"] == "yes"} == {"climb", "descent"}


def test_it_is_rfc_4180_text(audit: Audit) -> None:
    text = write_trace_csv(audit)
    lines = text.split("\r\n")
    assert lines[0] == ",".join(HEADINGS) and lines[-1] == ""
    assert "\n" not in text.replace("\r\n", "")
    # RFC 4180, 2.4: the same number of fields in each line.
    assert {len(row) for row in csv.reader(io.StringIO(text, newline=""))} == {len(HEADINGS)}


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", " ="])
def test_a_name_that_looks_like_a_formula_is_made_harmless(audit: Audit, start: str) -> None:
    launch = replace(audit.launches[0], file=f'{start}HYPERLINK("x"),1.csv')
    cell = read(write_trace_csv(replace(audit, launches=(launch,))))[0]["launch"]
    assert cell.startswith("'") and cell.endswith('HYPERLINK("x"),1.csv')


def test_numbers_below_zero_stay_numbers(audit: Audit) -> None:
    series = audit.launches[0].series
    assert series is not None
    below = int(np.flatnonzero(series.position < 0)[0])
    assert float(read(write_trace_csv(audit))[below]["position up the slope (m)"]) == series.position[below] < 0


def test_a_launch_without_a_trace_leaves_the_headings() -> None:
    assert write_trace_csv(sample_stopped()) == ",".join(HEADINGS) + "\r\n"
