"""A record drawn to be read: nothing but its own samples, and values at a moment."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import numpy as np
import pytest

from joulebook.engine.record import Record
from joulebook.render.reading_picture import MOST_ROWS, clamped, draw_reading, value_at

_NS = {"s": "http://www.w3.org/2000/svg"}


def _record(count: int = 60, step: float = 0.05, **more: object) -> Record:
    time = step * np.arange(count)
    return Record("a<b>.csv", time, 1.0 + 0.3 * np.sin(2.0 * time), **more)  # type: ignore[arg-type]


def test_every_sample_is_drawn_where_the_axes_say() -> None:
    record = _record()
    drawn = draw_reading(record, name="r")
    assert drawn is not None
    for svg, plot in ((drawn.picture.svg, drawn.wide), (drawn.picture.narrow, drawn.narrow)):
        paths = [path.get("d", "") for path in ET.fromstring(svg).iterfind(".//s:path", _NS)]
        dots = next(path for path in paths if path.count("h.01") == 60)
        places = np.array([[float(part) for part in place.split(",")] for place in dots.strip("M").replace("h.01", "").split("M")])
        x = plot.left + (record.time - plot.start) / (plot.end - plot.start) * (plot.right - plot.left)
        y = plot.foot - (record.distance - plot.low) / (plot.high - plot.low) * (plot.foot - plot.top)
        # Places are written to a hundredth of a unit.
        assert np.abs(places[:, 0] - x).max() <= 0.0051 and np.abs(places[:, 1] - y).max() <= 0.0051
        assert plot.foot > plot.top and 0 < plot.left < plot.right <= plot.width


def test_neither_sentence_nor_table_gives_the_extremes_away_and_the_file_name_is_text() -> None:
    record = _record()
    drawn = draw_reading(record, name="r")
    assert drawn is not None
    text = drawn.picture.sentence
    assert text == "Distance from the motion sensor against time, as a<b>.csv holds it: all 60 samples, from 0.00 s to 2.95 s."
    assert "<b>" not in drawn.picture.svg and "&lt;b&gt;" in drawn.picture.svg
    assert "style=" not in drawn.picture.svg and "script" not in drawn.picture.svg
    assert drawn.picture.table_rows[1] == ("0.050", f"{record.distance[1]:.4f}")


def test_a_table_has_the_files_own_digits_and_an_end() -> None:
    assert draw_reading(_record(distance_step=0.001), name="r").picture.table_rows[0][1] == "1.000"  # type: ignore[union-attr]
    drawn = draw_reading(_record(count=MOST_ROWS + 40), name="r")
    assert drawn is not None
    assert (len(drawn.picture.table_rows), drawn.left_out) == (MOST_ROWS, 40)


def test_a_stretch_is_shown_within_the_record_and_never_too_narrow() -> None:
    record = _record()
    assert clamped(record, None) == (0.0, pytest.approx(2.95))
    assert clamped(record, (2.0, 1.0)) == (1.0, 2.0), "the two ends may come in either order"
    assert clamped(record, (-5.0, 99.0)) == (0.0, pytest.approx(2.95))
    start, end = clamped(record, (1.0, 1.0))
    assert end - start == pytest.approx(0.25) and start < 1.0 < end
    start, end = clamped(record, (50.0, 60.0))
    assert 0.0 <= start < end <= 2.96
    assert clamped(record, (float("nan"), 1.0)) == clamped(record, None)
    drawn = draw_reading(record, name="r", stretch=(1.0, 2.0))
    assert drawn is not None
    assert "21 of 60 samples, from 1.00 s to 2.00 s" in drawn.picture.sentence


def test_blank_cells_are_counted_and_no_line_is_drawn_over_a_gap() -> None:
    record = _record()
    distance = record.distance.copy()
    distance[20:30] = np.nan
    drawn = draw_reading(Record("a.csv", record.time, distance), name="r")
    assert drawn is not None and "10 rows have no distance." in drawn.picture.sentence
    lines = [path.get("d", "") for path in ET.fromstring(drawn.picture.svg).iterfind(".//s:path", _NS) if "h.01" not in path.get("d", "")]
    runs = sorted(path.count("L") + 1 for path in lines if path.count("L") > 5)
    assert runs == [20, 30]


def test_a_record_without_distance_has_no_picture() -> None:
    time = np.arange(5.0)
    assert draw_reading(Record("v.csv", time, np.full(5, np.nan)), name="r") is None
    assert value_at(Record("v.csv", time, np.full(5, np.nan)), 1.0) is None


def test_a_value_is_the_nearest_sample_and_the_line_between_neighbours() -> None:
    record = Record("a.csv", np.array([0.0, 1.0, 2.0]), np.array([1.0, 3.0, 2.0]))
    found = value_at(record, 1.25)
    assert found is not None
    assert (found.time, found.distance, found.between) == (1.0, 3.0, pytest.approx(2.75))
    outside = value_at(record, 5.0)
    assert outside is not None and outside.between is None and outside.time == 2.0
    assert value_at(record, float("inf")) is None


def test_a_mark_stands_where_the_reader_put_it() -> None:
    drawn = draw_reading(_record(), name="r", marks=(("A", 1.0, 1.2), ("B", 99.0, 1.2)))
    assert drawn is not None
    texts = [text.text for text in ET.fromstring(drawn.picture.svg).iterfind(".//s:text", _NS)]
    assert "A" in texts and "B" not in texts, "a mark off the stretch is not drawn"
