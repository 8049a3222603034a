"""Units by plausibility: what is plausible stays, what cannot be is converted and said, in both directions."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from joulebook.readers.records import read_record

TIME = np.arange(120) * 0.05
PLACE = 0.3 + 1.1 * np.abs(np.sin(1.1 * TIME))


def text(time: np.ndarray, place: np.ndarray, head: str = "", digits: int = 6) -> bytes:
    lines = [head] if head else []
    lines += [f"{t:.{digits}f},{x:.{digits}f}" for t, x in zip(time, place, strict=True)]
    return "\n".join(lines).encode()


CONTRADICTED = [
    ("Time (s),Position (cm)", 1.0, 1.0, "the heading of column 2 “Position (cm)” says cm", "read as m"),
    ("Time (s),Position (mm)", 1.0, 1.0, "the heading of column 2 “Position (mm)” says mm", "read as m"),
    ("Time (s),Position (m)", 1.0, 100.0, "the heading of column 2 “Position (m)” says m,", "read as cm"),
    ("Time (s),Position (m)", 1.0, 1000.0, "the heading of column 2 “Position (m)” says m,", "read as mm"),
    ("Time (s),Position (cm)", 1.0, 1000.0, "the heading of column 2 “Position (cm)” says cm", "read as mm"),
    ("Time (s),Position (m)", 1000.0, 1.0, "the heading of column 1 “Time (s)” says s,", "read as ms"),
    ("Time (ms),Position (m)", 1.0, 1.0, "the heading of column 1 “Time (ms)” says ms", "read as s"),
    ("", 1.0, 100.0, "no unit is given for column 2", "read as cm"),
    ("", 1.0, 1000.0, "no unit is given for column 2", "read as mm"),
    ("", 1000.0, 1.0, "no unit is given for column 1", "read as ms"),
    ("Time (s),Position (m)", 0.01, 1.0, "column 1 “Time (s)” would mean 2000 samples", "evidently divided by 100"),
    ("", 0.01, 1.0, "column 1 would mean 2000 samples", "evidently divided by 100"),
]


@pytest.mark.parametrize(("head", "time_factor", "place_factor", "said", "done"), CONTRADICTED)
def test_contradicted_units_are_converted_and_said(
    head: str, time_factor: float, place_factor: float, said: str, done: str
) -> None:
    record = read_record(text(TIME * time_factor, PLACE * place_factor, head))
    np.testing.assert_allclose(record.time, TIME, atol=1e-4)
    np.testing.assert_allclose(record.distance, PLACE, atol=1e-5)
    (notice,) = record.notices
    assert said in notice and done in notice and "overrule" in notice
    unit = done.removeprefix("read as ")
    assert f" in {unit}" in record.read_as or "in s (printed times 100)" in record.read_as
    # Where the file says otherwise, and for every guess at the unit of distance, the record carries the doubt.
    against = head != "" or "divided by 100" in done or "column 2" in said
    assert {record.time_doubt, record.unit_doubt} == ({notice, ""} if against else {""})


def test_two_wrong_units_at_once() -> None:
    record = read_record(text(TIME * 1000, PLACE * 1000))
    np.testing.assert_allclose(record.time, TIME, atol=1e-9)
    np.testing.assert_allclose(record.distance, PLACE, atol=1e-9)
    assert len(record.notices) == 2


@pytest.mark.parametrize(("head", "factor"), [("t (s),x (cm)", 1.0), ("t (s),x (m)", 100.0), ("", 100.0)])
def test_a_unit_that_the_user_gives_is_never_questioned(head: str, factor: float) -> None:
    record = read_record(text(TIME, PLACE * factor, head), unit="in")
    np.testing.assert_allclose(record.distance, PLACE * factor * 0.0254, atol=1e-6)
    assert all("read as" not in notice for notice in record.notices)


def test_a_time_unit_that_the_user_gives_is_never_questioned() -> None:
    record = read_record(text(TIME * 1000, PLACE), unit="s")
    np.testing.assert_allclose(record.time, TIME * 1000, atol=1e-3)
    assert record.notices == ()


def launch(angle: float, speed: float, rate: float, start: float, top: bool) -> tuple[np.ndarray, np.ndarray]:
    """An ordinary launch: still, up, down, still; distance from a ranger at the top or the bottom."""
    drop = 9.81 * np.sin(np.radians(angle))
    time = np.arange(0.0, 1.0 + 2 * speed / drop + 1.0, 1.0 / rate)
    flight = np.clip(time - 1.0, 0.0, 2 * speed / drop)
    up = speed * flight - 0.5 * drop * flight**2
    return time, (start + speed**2 / (2 * drop) - up) if top else (start + up)


ORDINARY = list(product((3.0, 8.0, 18.0), (0.5, 1.0, 1.6), (5.0, 10.0, 20.0, 50.0), (0.15, 0.5), (True, False)))


@pytest.mark.parametrize("unit", ["m", "cm", "mm"])
@pytest.mark.parametrize("said", [True, False])
def test_no_ordinary_launch_is_converted_on_a_whim(unit: str, said: bool) -> None:
    """With the unit in the heading nothing is ever converted; without it every launch comes out in metres."""
    size = {"m": 1.0, "cm": 100.0, "mm": 1000.0}[unit]
    wrong = []
    for angle, speed, rate, start, top in ORDINARY:
        time, place = launch(angle, speed, rate, start, top)
        # Without a unit, 40 mm of travel cannot be told from 40 cm: both are launches; it is read as cm, and said.
        if time.size < 5 or (unit == "mm" and not said and np.ptp(place) < 0.06):
            continue
        record = read_record(text(time, place * size, f"t (s),x ({unit})" if said else "t (s),x"))
        if not np.allclose(record.distance, place, atol=1e-5):
            wrong.append((angle, speed, rate, start, top, float(place.max())))
        elif said or unit == "m":
            assert record.notices == ()
        else:
            assert len(record.notices) == 1
    assert wrong == []


@pytest.mark.parametrize("unit", ["m", "cm", "mm"])
@pytest.mark.parametrize("place", [0.1, 0.25, 0.6, 1.2, 2.5])
def test_rest_records_with_their_unit_stay_as_they_are(unit: str, place: float) -> None:
    size = {"m": 1.0, "cm": 100.0, "mm": 1000.0}[unit]
    noise = np.random.default_rng(11).normal(0.0, 4e-4, TIME.size)
    record = read_record(text(TIME, (place + noise) * size, f"t (s),x ({unit})"))
    np.testing.assert_allclose(record.distance, place + noise, atol=1e-5)
    assert record.notices == ()


@pytest.mark.parametrize("place", [0.25, 0.6, 1.2])
def test_rest_records_in_centimetres_or_millimetres_without_unit(place: float) -> None:
    noise = np.random.default_rng(12).normal(0.0, 4e-4, TIME.size)
    for head in ("", "t (s),x (m)"):
        record = read_record(text(TIME, (place + noise) * 100, head, digits=2))
        np.testing.assert_allclose(record.distance, place + noise, atol=1e-4)
    time = [f"{t:.2f}" for t in TIME]
    whole = "\n".join(f"{t},{x * 1000:.0f}" for t, x in zip(time, place + noise, strict=True)).encode()
    np.testing.assert_allclose(read_record(whole).distance, place + noise, atol=1e-3)


def test_echoes_do_not_change_the_unit() -> None:
    """BENCH_FACTS: far echoes of about 3 m for one or two samples, and a floor at the minimum range."""
    place = PLACE.copy()
    place[[20, 55, 56, 90]] = 3.05
    place[40:44] = 0.02
    record = read_record(text(TIME, place, "Time (s),Position (m)"))
    np.testing.assert_allclose(record.distance, place, atol=1e-6)
    assert record.notices == ()


def test_far_but_possible_distances_are_kept_and_said() -> None:
    time = np.arange(45) / 15
    fall = 48.0 - 0.5 * 9.81 * time**2
    record = read_record(text(time, fall, "Time (s),Height (m)"))
    np.testing.assert_allclose(record.distance, fall, atol=1e-6)
    assert record.notices == ("column 2 “Height (m)” reads up to 48 m, farther than a motion sensor on a bench sees: check its unit",)


def test_a_clock_that_stands_still_or_runs_back_decides_nothing() -> None:
    for time in (np.zeros(30), -TIME[:30]):
        record = read_record(text(time, PLACE[:30] * 100, "t (s),x (m)"))
        np.testing.assert_allclose(record.distance, PLACE[:30] * 100, atol=1e-6)
