"""A record as the logger shows it: every reading drawn where it is, nothing named."""

from __future__ import annotations

import re

import numpy as np
import pytest

from joulebook.render.diagnosis_picture import draw_record


def dots(svg: str) -> list[tuple[float, float]]:
    path = re.search(r'd="((?:M[\d.]+,[\d.]+h\.01)+)"', svg)
    assert path is not None
    return [(float(x), float(y)) for x, y in re.findall(r"M([\d.]+),([\d.]+)h", path[1])]


def test_every_reading_is_a_dot_in_its_place() -> None:
    time, values = np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.5, np.nan, 1.5, 1.0])
    picture = draw_record(time, values, name="r", title="Record 1")
    for svg in (picture.svg, picture.narrow):
        (x1, y1), (x2, y2), (x3, y3) = dots(svg)
        assert x1 < x2 < x3
        assert (x2 - x1) == pytest.approx(2.0 * (x3 - x2), abs=0.1)
        assert y2 < y3 < y1
        assert (y1 - y2) == pytest.approx(2.0 * (y3 - y2), abs=0.1)
        assert svg.count("stroke-dasharray") == 0


def test_rest_record_and_sentence() -> None:
    time = np.linspace(0.0, 2.0, 41)
    picture = draw_record(time, 1.0 - 0.3 * np.sin(time), name="r", title="Record 1", rest=1.02)
    assert picture.svg.count("stroke-dasharray") == 2
    assert "reading of the rest record" in picture.svg
    assert picture.sentence.startswith("41 readings of 41 rows, one every 0.05 s. They begin at 1.000 m;")
    assert picture.sentence.endswith("The rest record reads 1.020 m.")
    without = draw_record(time, time, name="r", title="Record 1")
    assert without.sentence.endswith("There is no rest record.")


def test_the_table_stays_short() -> None:
    time = np.arange(1000) * 0.01
    picture = draw_record(time, time, name="r", title="Record 1")
    assert len(picture.table_rows) == 40
    assert picture.table_headings[0] == "Row (every 25th)"
    assert picture.table_rows[1] == ("26", "0.250", "0.2500")


def test_a_record_without_a_reading() -> None:
    picture = draw_record(np.arange(5.0), np.full(5, np.nan), name="r", title="Record 1", quantity="velocity, m/s")
    assert picture.sentence == "A record of 5 rows without a single reading."
    assert "velocity, m/s" in picture.svg
