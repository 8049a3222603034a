"""Single headings: kind, unit and run."""

from __future__ import annotations

import pytest

from joulebook.readers.headings import read_heading
from joulebook.readers.records import read_record

CASES = [
    ("Time (s)", "time", "s", ""),
    ("TIME [S]", "time", "s", ""),
    ("t/s", "time", "s", ""),
    ("t / ms", "time", "ms", ""),
    ("t_s", "time", "s", ""),
    ("Time, s", "time", "s", ""),
    ("Zeit in s", "time", "s", ""),
    ("Messzeit {s}", "time", "s", ""),
    ("temps écoulé (min)", "time", "min", "écoulé"),
    ("Position (m)", "position", "m", ""),
    ("Position cm", "position", "cm", ""),
    ("Weg s", "position", "", ""),
    ("Weg s (cm)", "position", "cm", ""),
    ("Höhe h / m", "position", "m", ""),
    ("x_cm", "position", "cm", ""),
    ("d[mm]", "position", "mm", ""),
    ("x (in)", "position", "in", ""),
    ("Distance from sensor (ft)", "position", "ft", "from sensor"),
    ("Run 1: Position (m)", "position", "m", "Run 1"),
    ("Position (m) Run 2", "position", "m", "Run 2"),
    ("Position A (m)", "position", "m", "A"),
    ("x2", "position", "", "2"),
    ("Drop 3 Time (s)", "time", "s", "Drop 3"),
    ("Velocity", "velocity", "", ""),
    ("v", "velocity", "", ""),
    ("v (m/s)", "velocity", "m/s", ""),
    ("v in m/s", "velocity", "m/s", ""),
    ("Speed cm/s", "velocity", "cm/s", ""),
    ("vx [m·s⁻¹]", "velocity", "m·s⁻¹", ""),
    ("dx/dt", "velocity", "", ""),
    ("Position (m/s)", "velocity", "m/s", ""),
    ("Acceleration (m/s²)", "acceleration", "m/s²", ""),
    ("a (m/s^2)", "acceleration", "m/s^2", ""),
    ("a / m s^-2", "acceleration", "m s^-2", ""),
    ("acceleration (m/s/s)", "acceleration", "m/s/s", ""),
    ("Accélération", "acceleration", "", ""),
    ("Force (N)", "other", "n", ""),
    ("Temperature (°C)", "other", "°c", ""),
    ("Potential energy (J)", "other", "j", ""),
    ("Sample", "index", "", ""),
    ("Drop #", "index", "", ""),
    ("No.", "index", "", ""),
    ("Run 1", "unknown", "", "Run 1"),
    ("cart", "unknown", "", "cart"),
    ("(s)", "time", "s", ""),
    ("cm", "position", "cm", ""),
    ("m", "position", "m", ""),
    ("", "unknown", "", ""),
]


@pytest.mark.parametrize(("text", "kind", "unit", "tag"), CASES)
def test_headings(text: str, kind: str, unit: str, tag: str) -> None:
    heading = read_heading(text)
    assert (heading.kind, heading.unit.symbol if heading.unit else "", heading.tag) == (kind, unit, tag)
    assert heading.text == text


def test_a_unit_of_the_wrong_kind_does_not_stick() -> None:
    """Seconds over a distance are a slip; the distance has no unit then."""
    heading = read_heading("Position (s)")
    assert heading.kind == "position"
    assert heading.unit is None


def test_quotes_and_blanks_around_are_taken_off() -> None:
    assert read_heading(' "Time\u00a0 (s) " ').text == "Time (s)"


def test_an_endless_heading_is_cut() -> None:
    assert read_heading("x" * 1000).text == "x" * 200


SAMPLES = "".join(f"{0.05 * i:.2f},{0.95 - 0.02 * i:.3f}\n" for i in range(1, 30))


@pytest.mark.parametrize(
    ("head", "told"),
    [
        ("t (s),d (m)\n0.00,O.95\n", "line 2 (“0.00; O.95”)"),
        ("t (s),d (m)\nx1,0.950\n", "line 2 (“x1; 0.950”)"),
        ("O.00,0.950\n", "line 1 (“O.00; 0.950”)"),
    ],
)
def test_a_first_sample_with_a_spoilt_cell_is_told(head: str, told: str) -> None:
    """It looks like a heading, for a heading is a line of text above the numbers; that it holds a number is said back."""
    record = read_record((head + SAMPLES).encode(), name="launch.csv")
    assert record.samples == 29
    (notice,) = [notice for notice in record.notices if "was taken for a heading though it holds a number" in notice]
    assert notice.startswith(told)
    if head.startswith("t"):
        assert "“t (s)”" in record.read_as and "“d (m)”" in record.read_as


@pytest.mark.parametrize("head", ["t (s),d (m)\n", "Launch 3\nt (s),d (m)\n", "Time,0\n", "mass,0.5\n\nt (s),d (m)\n", "", "s,m\n"])
def test_headings_are_not_taken_for_spoilt_samples(head: str) -> None:
    record = read_record((head + SAMPLES).encode(), name="launch.csv")
    assert not [notice for notice in record.notices if "though it holds a number" in notice]
