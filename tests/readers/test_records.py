"""File shapes: each is written here as bytes, and read back to the numbers that were put in."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest

from joulebook.engine.record import Record
from joulebook.errors import RecordError
from joulebook.readers.records import RunInfo, list_runs, read_record, read_records

MOTION = Path(__file__).parents[1] / "data" / "motion"

# An invented launch: up a slope and back, 20 samples per second, printed to the millimetre.
TIME = np.arange(60) * 0.05
PLACE = np.round(0.9 - np.maximum(0.0, 1.1 * (TIME - 0.4) - 0.55 * (TIME - 0.4) ** 2) * (TIME > 0.4), 3)
SPEED = np.gradient(PLACE, TIME)
CHANGE = np.gradient(SPEED, TIME)


def table(head: str, *columns: Sequence[float], sep: str = ",", dec: str = ".", digits: int = 3, end: str = "\n") -> str:
    """Return delimited text; shorter columns end with blank cells."""
    rows = max(len(column) for column in columns)
    lines = [head] if head else []
    for k in range(rows):
        cells = [f"{column[k]:.{digits}f}".replace(".", dec) if k < len(column) else "" for column in columns]
        lines.append(sep.join(cells))
    return end.join(lines) + end


def same(record: Record, *, distance_tolerance: float = 1e-12) -> None:
    """The record holds the invented launch, whole."""
    np.testing.assert_allclose(record.time, TIME, atol=1e-12)
    np.testing.assert_allclose(record.distance, PLACE, atol=distance_tolerance)


PLAIN = table("Time (s),Position (m)", TIME, PLACE)

SHAPES: dict[str, str] = {
    "comma": PLAIN,
    "semicolon": table("Time (s);Position (m)", TIME, PLACE, sep=";"),
    "tab": table("Time (s)\tPosition (m)", TIME, PLACE, sep="\t"),
    "bar": table("Time (s)|Position (m)", TIME, PLACE, sep="|"),
    "bars all round": "".join(f"| {line} |\n" for line in table("Time (s) | Position (m)", TIME, PLACE, sep=" | ").splitlines()),
    "spaces": table("Time (s)   Position (m)", TIME, PLACE, sep="   "),
    "one space": table("Time (s) Position (m)", TIME, PLACE, sep=" "),
    "spaces before": table("  t   x", TIME, PLACE, sep="   ").replace("\n", "\n   "),
    "comma and space": table("Time (s), Position (m)", TIME, PLACE, sep=", "),
    "semicolon, decimal comma": table("Zeit (s);Weg (m)", TIME, PLACE, sep=";", dec=","),
    "tab, decimal comma": table("Zeit (s)\tWeg (m)", TIME, PLACE, sep="\t", dec=","),
    "spaces, decimal comma": table("Zeit Weg", TIME, PLACE, sep="  ", dec=","),
    "comma both ways, quoted": "".join(f'"{t:.2f}","{x:.3f}"\n'.replace(".", ",") for t, x in zip(TIME, PLACE, strict=True)),
    "comma both ways, bare": table("Zeit,Weg", TIME, PLACE, dec=","),
    "no header": table("", TIME, PLACE),
    "no header, tab": table("", TIME, PLACE, sep="\t"),
    "comments first": "# bench 3\n# recorded 4 May; rate: 20\n#\n" + PLAIN,
    "comment before headings": "# " + PLAIN,
    "key and value lines first": "Title,launch\nRate (Hz),20\nSamples,60\n\n" + PLAIN,
    "percent comment": "% t  x\n" + table("", TIME, PLACE, sep="  "),
    "units in square brackets": table("Time [s],Position [m]", TIME, PLACE),
    "units after a slash": table("t/s,x/m", TIME, PLACE),
    "units after a slash with blanks": table("t / s;x / m", TIME, PLACE, sep=";"),
    "units after an underscore": table("t_s,x_m", TIME, PLACE),
    "units after a blank": table("Time s,Position m", TIME, PLACE),
    "units after in": table("Zeit in s;Weg in m", TIME, PLACE, sep=";"),
    "units row": "Time,Position\ns,m\n" + table("", TIME, PLACE),
    "units row in brackets": "Time,Position\n(s),(m)\n" + table("", TIME, PLACE),
    "units alone": table("s;m", TIME, PLACE, sep=";"),
    "symbols t s": table("t,s", TIME, PLACE),
    "symbols t d": table("t,d", TIME, PLACE),
    "symbols t r": table("t,r", TIME, PLACE),
    "quoted headings": '"Time (s)","Position (m)"\n' + table("", TIME, PLACE),
    "quoted cells": "".join(f'"{t:.2f}","{x:.3f}"\n' for t, x in zip(TIME, PLACE, strict=True)),
    "whole row in one quoted field": "".join(f'"{line}"\n' for line in PLAIN.splitlines()),
    "whole row quoted, cells quoted again": "".join(f'"{t:.2f},""{x:.3f}"""\n' for t, x in zip(TIME, PLACE, strict=True)),
    "whole row quoted, semicolons behind": "".join(f'"{line}";;\n' for line in PLAIN.splitlines()),
    "CRLF": table("Time (s),Position (m)", TIME, PLACE, end="\r\n"),
    "CR": table("Time (s),Position (m)", TIME, PLACE, end="\r"),
    "CR CR LF": table("Time (s),Position (m)", TIME, PLACE, end="\r\r\n"),
    "blank lines between all": table("Time (s),Position (m)", TIME, PLACE, end="\n\n"),
    "no newline at the end": PLAIN.rstrip("\n"),
    "DOS end of file": PLAIN + "\x1a",
    "blank columns": table(",Time (s),,Position (m),", TIME, PLACE, sep=",,").replace("\n", ",\n,").rstrip(","),
    "E notation": "".join(f"{t:.4E},{x:.4E}\n" for t, x in zip(TIME, PLACE, strict=True)),
    "E notation, decimal comma": "".join(f"{t:.4e};{x:.4e}\n".replace(".", ",") for t, x in zip(TIME, PLACE, strict=True)),
    "Fortran D": "".join(f"{t:.4E} {x:.4E}\n".replace("E", "D") for t, x in zip(TIME, PLACE, strict=True)),
    "a heading 0": table("Time (s),0", TIME, PLACE),
    "columns numbered": table("0,1", TIME, PLACE),
    "columns numbered, rows numbered": ",0,1\n"
    + "".join(f"{k},{t:.2f},{x:.3f}\n" for k, (t, x) in enumerate(zip(TIME, PLACE, strict=True))),
    "extra columns": table("Time (s),Velocity (m/s),Position (m),Acceleration (m/s²)", TIME, SPEED, PLACE, CHANGE),
    "extra columns, no header": table("", TIME, PLACE, SPEED, CHANGE, digits=4),
    "velocity first, no header": table("", TIME, SPEED, PLACE, CHANGE, digits=4),
    "index column": table("Sample,Time (s),Position (m)", range(60), TIME, PLACE),
    "index column, no header": table("", range(1, 61), TIME, PLACE),
    "position before time": table("Position (m),Time (s)", PLACE, TIME),
    "position before time, no header": table("", PLACE, TIME),
    "words beside": "".join(f"{t:.2f},{x:.3f},ok\n" for t, x in zip(TIME, PLACE, strict=True)),
    "trailing separators": table("Time (s),Position (m),,", TIME, PLACE).replace("\n", ",,\n"),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_file_shapes(shape: str) -> None:
    record = read_record(SHAPES[shape].encode(), name="launch.csv")
    same(record)
    assert record.file == "launch.csv"
    assert record.run == ""
    assert record.read_as.startswith("Read 60 samples: time from column ")
    assert record.read_as.count(". ") == 0 and record.read_as.endswith(".")


def test_single_byte_code_pages_are_told_by_their_words() -> None:
    for words, codec in (
        (("Čas", "Vzdálenost", "Rychlost"), "cp1250"),
        (("Idő", "Távolság", "Sebesség"), "cp1250"),
        (("Czas", "Odległość", "Prędkość"), "cp1250"),
        (("Χρόνος", "Θέση", "Ταχύτητα"), "cp1253"),
        (("Время", "Положение", "Скорость"), "cp1251"),
        (("Temps", "Déplacement", "Vitesse"), "mac_roman"),
    ):
        text = table(f"{words[2]};{words[1]};{words[0]}", SPEED + 2, PLACE, TIME, sep=";", dec=",")
        record = read_record(text.encode(codec))
        same(record)
        assert f"“{words[1]}”" in record.read_as and record.notices == ()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "latin-1", "cp1252"])
def test_encodings(encoding: str) -> None:
    text = table("Durée (s);Déplacement (cm)", TIME, PLACE * 100, sep=";", dec=",")
    content = ("\ufeff" * (encoding in ("utf-16-be",)) + text).encode(encoding)
    record = read_record(content)
    same(record)
    assert "“Déplacement (cm)” in cm" in record.read_as


def test_minus_signs_and_thin_spaces() -> None:
    """U+2212 is a minus sign; SI Brochure 5.4.4 groups digits in threes by a thin space."""
    text = "t/ms;x/mm\n" + "".join(f"{t:.0f};\u2212{x:.0f}\n" for t, x in zip(TIME * 1000, PLACE * 1000, strict=True))
    text = (
        text.replace("1000;", "1\u2009000;")
        .replace("1050;", "1\u202f050;")
        .replace("1100;", "1\u00a0100;")
        .replace("1150;", "1 150;")
    )
    record = read_record(text.encode())
    np.testing.assert_allclose(record.time, TIME, atol=1e-12)
    np.testing.assert_allclose(record.distance, -PLACE, atol=1e-12)


def test_thousands_with_a_decimal_point_beside_them() -> None:
    text = "t (ms)\tx (mm)\n" + "".join(f"{t:,.1f}\t{x:.1f}\n" for t, x in zip(TIME * 1000, PLACE * 1000, strict=True))
    same(read_record(text.encode()))


# RFC 4180, section 2: rule 5 (fields may be quoted), 6 (line breaks and commas inside quotes), 7 (a quote is doubled).
RFC_4180 = [
    ('"Time (s)","Position (m)"', "rule 5"),
    ('"Time (s)","Position, from the ranger (m)"', "rule 6: a comma inside quotes"),
    ('"Time\r\n(s)","Position\r\n(m)"', "rule 6: a line break inside quotes"),
    ('"Time (s)","Position, ""raw"" (m)"', "rule 7: doubled quotes"),
]


@pytest.mark.parametrize(("heading", "rule"), RFC_4180, ids=[rule for _, rule in RFC_4180])
def test_rfc_4180_quoting(heading: str, rule: str) -> None:
    record = read_record((heading + "\r\n" + table("", TIME, PLACE, end="\r\n")).encode())
    same(record)


def test_rfc_4180_line_numbers_count_lines_of_the_file() -> None:
    text = '"Time\n(s)","Position\n(m)"\n' + table("", TIME, PLACE).replace("1.000,", "1.000,junk")
    with pytest.raises(RecordError) as caught:
        read_record(text.encode())
    assert caught.value.faults[0].where == "line 24, column 2"  # three heading lines, then the 21st sample


def test_a_quote_never_closed_swallows_nothing() -> None:
    lines = PLAIN.splitlines()
    lines[0] = 'Time (s),"Position (m)'
    same(read_record("\n".join(lines).encode()))


def test_blank_cells_and_words_for_missing() -> None:
    lines = PLAIN.splitlines()
    words = ["", " ", "NaN", "nan", "-", "--", "#N/A", "#NV", "n/a", "NULL", "inf", "1.#QNAN", "no echo", "***"]
    for k, word in enumerate(words):
        lines[5 + k] = f"{TIME[4 + k]:.3f},{word}"
    lines[30] = f",{PLACE[29]:.3f}"
    record = read_record("\n".join(lines).encode())
    assert record.samples == 60
    assert np.all(np.isnan(record.distance[4 : 4 + len(words)]))
    assert np.count_nonzero(np.isnan(record.distance)) == len(words)
    assert np.flatnonzero(np.isnan(record.time)).tolist() == [29]
    assert f"; {len(words) + 1} blank cells." in record.read_as


def test_rows_keep_file_order_even_where_the_clock_is_wrong() -> None:
    time = TIME.copy()
    time[[20, 21]] = time[[21, 20]]
    record = read_record(table("Time (s),Position (m)", time, PLACE).encode())
    np.testing.assert_array_equal(record.time, np.round(time, 3))


HEADINGS = {
    "English": ("Time", "Distance", "Velocity", "Acceleration"),
    "German": ("Zeit", "Abstand", "Geschwindigkeit", "Beschleunigung"),
    "French": ("Temps", "Déplacement", "Vitesse", "Accélération"),
    "Spanish": ("Tiempo", "Posición", "Velocidad", "Aceleración"),
    "Italian": ("Tempo", "Posizione", "Velocità", "Accelerazione"),
    "Portuguese": ("Tempo", "Posição", "Velocidade", "Aceleração"),
    "Catalan": ("Temps", "Posició", "Velocitat", "Acceleració"),
    "Dutch": ("Tijd", "Afstand", "Snelheid", "Versnelling"),
    "Polish": ("Czas", "Położenie", "Prędkość", "Przyspieszenie"),
    "Czech": ("Čas", "Vzdálenost", "Rychlost", "Zrychlení"),
    "Slovak": ("Čas", "Poloha", "Rýchlosť", "Zrýchlenie"),
    "Slovene": ("Čas", "Razdalja", "Hitrost", "Pospešek"),
    "Croatian": ("Vrijeme", "Položaj", "Brzina", "Ubrzanje"),
    "Swedish": ("Tid", "Avstånd", "Hastighet", "Acceleration"),
    "Danish": ("Tid", "Strækning", "Hastighed", "Acceleration"),
    "Norwegian": ("Tid", "Posisjon", "Fart", "Akselerasjon"),
    "Finnish": ("Aika", "Etäisyys", "Nopeus", "Kiihtyvyys"),
    "Estonian": ("Aeg", "Kaugus", "Kiirus", "Kiirendus"),
    "Hungarian": ("Idő", "Távolság", "Sebesség", "Gyorsulás"),
    "Romanian": ("Timp", "Distanță", "Viteză", "Accelerație"),
    "Greek": ("Χρόνος", "Θέση", "Ταχύτητα", "Επιτάχυνση"),
    "Lithuanian": ("Laikas", "Atstumas", "Greitis", "Pagreitis"),
    "Latvian": ("Laiks", "Attālums", "Ātrums", "Paātrinājums"),
    "Turkish": ("Zaman", "Konum", "Hız", "İvme"),
    "Russian": ("Время", "Положение", "Скорость", "Ускорение"),
    "Ukrainian": ("Час", "Відстань", "Швидкість", "Прискорення"),
}


@pytest.mark.parametrize("language", HEADINGS)
@pytest.mark.parametrize("case", [str, str.upper, str.lower])
def test_headings_decide_in_every_language(language: str, case: Callable[[str], str]) -> None:
    """The order of columns is one that numbers alone would not guess, and the velocity is a plausible distance."""
    time, place, speed, change = (case(word) for word in HEADINGS[language])
    text = table(f"{change} (m/s^2);{speed} (m/s);{place};{time}", CHANGE, SPEED + 2, PLACE, TIME, sep=";")
    record = read_record(text.encode())
    same(record)
    assert f"time from column 4 “{time}” in s, distance from column 3 “{place}” in m" in record.read_as
    assert record.notices == ()


@pytest.mark.parametrize("language", HEADINGS)
def test_velocity_and_acceleration_are_never_a_distance(language: str) -> None:
    time, _, speed, change = HEADINGS[language]
    record = read_record(table(f"{time};{speed};{change}", TIME, SPEED, CHANGE, sep=";").encode())
    assert record.velocity_only
    assert record.samples == 60
    assert np.all(np.isnan(record.distance))
    np.testing.assert_allclose(record.time, TIME, atol=1e-12)
    assert f"“{speed}” is a velocity, which is not used" in record.read_as


def test_an_unknown_heading_is_taken_by_its_numbers_and_said() -> None:
    record = read_record(table("Uhr;Wagen", TIME, PLACE, sep=";").encode())
    same(record)
    assert record.notices == (
        "the heading of column 2 “Wagen” does not say what it holds; it was taken as the distance by its numbers",
        "the heading of column 1 “Uhr” does not say what it holds; it was taken as the time by its even steps",
    )


def test_a_column_beside_a_velocity_is_a_distance_only_if_the_velocity_is_its_rate() -> None:
    same(read_record(table("Time (s),Velocity (m/s),Cart", TIME, SPEED, PLACE).encode()))
    other = np.random.default_rng(7).uniform(0.2, 3.0, TIME.size)
    assert read_record(table("Time (s),Velocity (m/s),Lamp", TIME, SPEED, other).encode()).velocity_only


def test_smeared_velocity_without_heading_is_recognised() -> None:
    """BENCH_FACTS: exported velocities are the 3:2:1 weighted mean of the ±1, ±2, ±3 sample central differences."""
    padded = np.pad(PLACE, 3, mode="edge")
    rates = [(padded[3 + k : 63 + k] - padded[3 - k : 63 - k]) / (0.1 * k) for k in (1, 2, 3)]
    smeared = (3 * rates[0] + 2 * rates[1] + rates[2]) / 6
    record = read_record(table("", TIME, smeared, PLACE, digits=5).encode())
    same(record, distance_tolerance=1e-9)


def test_two_kinds_of_distance_are_said() -> None:
    record = read_record(table("t,x,y", TIME, PLACE, PLACE / 2, digits=4).encode())
    same(record)
    assert record.notices == ("column 3 “y” could be the distance too; position_column chooses",)
    np.testing.assert_allclose(
        read_record(table("t,x,y", TIME, PLACE, PLACE / 2, digits=4).encode(), position_column="y").distance, PLACE / 2, atol=1e-9
    )


SECOND = PLACE[::-1][:45]

RUNS: dict[str, tuple[str, tuple[str, str]]] = {
    "repeated headings": (
        table("Time (s),Position (m),Time (s),Position (m)", TIME, PLACE, TIME[:45], SECOND),
        ("Run 1", "Run 2"),
    ),
    "run in the heading": (
        table("Run A: Time (s),Run A: Position (m),Run B: Time (s),Run B: Position (m)", TIME, PLACE, TIME[:45], SECOND),
        ("Run A", "Run B"),
    ),
    "run behind the heading": (
        table("Time (s) #1,Position (m) #1,Time (s) #2,Position (m) #2", TIME, PLACE, TIME[:45], SECOND),
        ("# 1", "# 2"),
    ),
    "grouped by kind": (
        table("Time 1 (s),Time 2 (s),Position 1 (m),Position 2 (m)", TIME, TIME[:45], PLACE, SECOND),
        ("Run 1", "Run 2"),
    ),
    "run names above": (
        table("soft spring,,hard spring,\nTime (s),Position (m),Time (s),Position (m)", TIME, PLACE, TIME[:45], SECOND),
        ("soft spring", "hard spring"),
    ),
    "run names above, units below": (
        table("Run 1,,Run 2,\nTime,Position,Time,Position\ns,m,s,m", TIME, PLACE, TIME[:45], SECOND),
        ("Run 1", "Run 2"),
    ),
    "extra columns in each": (
        table("Time (s),Position (m),Velocity (m/s)," * 2, TIME, PLACE, SPEED, TIME[:45], SECOND, SPEED[:45]),
        ("Run 1", "Run 2"),
    ),
    "position first": (table("Position (m),Time (s),Position (m),Time (s)", PLACE, TIME, SECOND, TIME[:45]), ("Run 1", "Run 2")),
    "no headings": (table("", TIME, PLACE, TIME[:45], SECOND), ("Run 1", "Run 2")),
    "one clock, run names as headings": (table("Time (s),Run 1,Run 2", TIME, PLACE, SECOND), ("Run 1", "Run 2")),
    "one clock, numbered positions": (table("Time (s),Position 1 (m),Position 2 (m)", TIME, PLACE, SECOND), ("Run 1", "Run 2")),
    "one clock, same headings": (table("t,x,x", TIME, PLACE, SECOND), ("Run 1", "Run 2")),
    "one clock, no headings": (table("", TIME, PLACE, SECOND + 0.1), ("Run 1", "Run 2")),
    "below, headings again": (
        table("Time (s),Position (m)", TIME, PLACE) + table("Time (s),Position (m)", TIME[:45], SECOND),
        ("Run 1", "Run 2"),
    ),
    "below, names and headings": (
        "up\n" + table("Time (s),Position (m)", TIME, PLACE) + "\ndown\n" + table("Time (s),Position (m)", TIME[:45], SECOND),
        ("up", "down"),
    ),
    "below, names only": (
        table("Time (s),Position (m)", TIME, PLACE) + "\nRun 2\n" + table("", TIME[:45], SECOND),
        ("Run 1", "Run 2"),
    ),
    "below, a blank line": (
        table("Time (s),Position (m)", TIME, PLACE) + "\n" + table("", TIME[:45], SECOND),
        ("Run 1", "Run 2"),
    ),
    "below, separators only": (
        table("Time (s),Position (m)", TIME, PLACE) + ",\n" + table("", TIME[:45], SECOND),
        ("Run 1", "Run 2"),
    ),
    "below, clock restarts": (table("", TIME, PLACE) + table("", TIME[:45], SECOND), ("Run 1", "Run 2")),
    "below, run number column": (
        table("Run,Time (s),Position (m)", np.ones(60), TIME, PLACE) + table("", np.full(45, 2.0), TIME[:45], SECOND),
        ("Run 1", "Run 2"),
    ),
}


@pytest.mark.parametrize("shape", RUNS)
def test_several_runs(shape: str) -> None:
    text, names = RUNS[shape]
    content = text.encode()
    found = list_runs(content)
    assert [run.name for run in found] == list(names)
    assert [run.number for run in found] == [1, 2]
    assert [run.samples for run in found] == [60, 45]
    first = read_record(content)
    same(first)
    assert first.run == names[0]
    assert any("holds 2 runs" in notice and names[1] in notice for notice in first.notices)
    shift = 0.1 if shape == "one clock, no headings" else 0.0
    for wanted in (2, "2", names[1], names[1].upper()):
        second = read_record(content, run=wanted)
        assert second.run == names[1]
        np.testing.assert_allclose(second.distance, SECOND + shift, atol=1e-12)
        np.testing.assert_allclose(second.time, TIME[:45], atol=1e-12)
    both = read_records(content)
    assert [record.run for record in both] == list(names)
    np.testing.assert_array_equal(both[1].distance, second.distance)


def test_run_info_names_the_columns() -> None:
    assert list_runs(PLAIN.encode()) == (RunInfo("", 1, 60, ("Time (s)", "Position (m)")),)
    assert list_runs(table("", TIME, PLACE).encode()) == (RunInfo("", 1, 60, ("column 1", "column 2")),)


def test_columns_grouped_by_kind_are_paired_by_their_numbers() -> None:
    text = table("Time 1 (s),Time 2 (s),Position 1 (m),Position 2 (m)", TIME, TIME[:45] + 1, PLACE, SECOND)
    second = read_record(text.encode(), run=2)
    np.testing.assert_allclose(second.time, TIME[:45] + 1, atol=1e-12)
    np.testing.assert_allclose(second.distance, SECOND, atol=1e-12)


def test_three_runs_with_ragged_ends() -> None:
    heads = ",".join(f"Run {k}: Time (s),Run {k}: Position (m)" for k in (1, 2, 3))
    text = table(heads, TIME, PLACE, TIME[:30], PLACE[:30], TIME[:50], PLACE[:50])
    assert [run.samples for run in list_runs(text.encode())] == [60, 30, 50]
    assert read_record(text.encode(), run="run 3").samples == 50


def test_a_remark_among_the_samples_is_passed_over_and_said() -> None:
    text = table("Time (s),Position (m)", TIME[:30], PLACE[:30]) + "# cart touched\n" + table("", TIME[30:], PLACE[30:])
    record = read_record(text.encode())
    same(record)
    assert record.notices == ("line 32 (“# cart touched”) is no sample and was passed over",)


def test_headings_repeated_on_each_page_interrupt_nothing() -> None:
    head = "Time (s),Position (m)"
    text = table(head, TIME[:30], PLACE[:30]) + "\n" + table(head, TIME[30:], PLACE[30:])
    same(read_record(text.encode()))


def test_a_named_second_part_is_a_run_even_if_the_clock_runs_on() -> None:
    head = "Time (s),Position (m)"
    text = "up\n" + table(head, TIME[:30], PLACE[:30]) + "down\n" + table(head, TIME[30:], PLACE[30:])
    assert [run.name for run in list_runs(text.encode())] == ["up", "down"]


def test_footers_are_passed_over_and_said() -> None:
    record = read_record((PLAIN + "Mean,0.6\nend of record\n").encode())
    same(record)
    assert record.notices == (
        "line 62 (“Mean; 0.6”) is no sample and was passed over",
        "line 63 (“end of record”) is no sample and was passed over",
    )


def test_overrules_by_number_and_by_heading() -> None:
    text = table("t1,t2,left,right", TIME, TIME + 1, PLACE, PLACE / 2, digits=4).encode()
    for time, place in ((2, 4), ("2", "4"), ("t2", "right"), ("T2", "RIGHT")):
        record = read_record(text, time_column=time, position_column=place)
        np.testing.assert_allclose(record.time, TIME + 1, atol=1e-9)
        np.testing.assert_allclose(record.distance, PLACE / 2, atol=1e-9)
        assert "time from column 2 “t2” in s, distance from column 4 “right” in m" in record.read_as


def test_overruling_the_time_lets_a_counting_column_be_time() -> None:
    text = table("", range(60), PLACE).encode()
    record = read_record(text, time_column=1, unit="ms")
    np.testing.assert_allclose(record.time, np.arange(60) / 1000)


def test_a_heading_without_its_unit_is_enough() -> None:
    text = table("Time (s),Position (m),Depth (m)", TIME, PLACE, PLACE / 2, digits=4).encode()
    np.testing.assert_allclose(read_record(text, position_column="depth").distance, PLACE / 2, atol=1e-9)


def test_overruled_columns_hold_for_the_chosen_run() -> None:
    text = table("Time,Near,Far,Time,Near,Far", TIME, PLACE, PLACE + 1, TIME[:45], SECOND, SECOND + 1).encode()
    np.testing.assert_allclose(read_record(text, position_column="Far", run=2).distance, SECOND + 1, atol=1e-12)


def test_the_decimal_mark_may_be_overruled() -> None:
    lines = [f"{k}\t{3 + k % 5},{k % 10}00" for k in range(0, 120, 2)]
    content = "\n".join(["t (ms)\tx (mm)", *lines]).encode()
    assert read_record(content, unit="ms, mm").distance[1] == pytest.approx(0.0052)
    assert read_record(content, unit="ms, mm", decimal=".").distance[1] == pytest.approx(5.2)


@pytest.mark.parametrize("unit", ["in", "ft", "yd", "cm", "mm", "dm", "m", "zoll"])
def test_units_of_length(unit: str) -> None:
    """NIST SP 811, appendix B.8: 1 in = 0.0254 m, 1 ft = 0.3048 m, 1 yd = 0.9144 m, exactly."""
    size = {"in": 0.0254, "zoll": 0.0254, "ft": 0.3048, "yd": 0.9144, "cm": 0.01, "mm": 0.001, "dm": 0.1, "m": 1.0}[unit]
    record = read_record(table(f"Time (s),Position ({unit})", TIME, PLACE / size, digits=7).encode())
    np.testing.assert_allclose(record.distance, PLACE, atol=1e-7)
    assert record.notices == ()
    overruled = read_record(table("Time (s),Position (m)", TIME, PLACE / size, digits=7).encode(), unit=unit)
    np.testing.assert_allclose(overruled.distance, PLACE, atol=1e-7)
    assert overruled.notices == ()


def test_units_of_time() -> None:
    for unit, size in (("ms", 1e-3), ("min", 60.0), ("µs", 1e-6)):
        record = read_record(table(f"t ({unit}),x (m)", TIME / size, PLACE, digits=8).encode())
        np.testing.assert_allclose(record.time, TIME, atol=1e-6)


STEPS = [
    ("m", 1.0, 3, 1e-3),
    ("m", 1.0, 5, 1e-5),
    ("cm", 100.0, 1, 1e-3),
    ("mm", 1000.0, 0, 1e-3),
    ("m", 1.0, 15, 0.0),
]


@pytest.mark.parametrize(("unit", "scale", "digits", "step"), STEPS)
def test_distance_step_is_the_last_printed_digit(unit: str, scale: float, digits: int, step: float) -> None:
    noise = np.random.default_rng(3).normal(0.0, 1e-4, TIME.size)
    lines = [f"{t:.2f},{x * scale:.{digits}f}" for t, x in zip(TIME, PLACE + noise, strict=True)]
    record = read_record("\n".join([f"t (s),x ({unit})", *lines]).encode())
    assert record.distance_step == pytest.approx(step, rel=1e-9)


def test_distance_step_with_exponents_and_decimal_comma() -> None:
    same_exponent = "".join(f"{t:.2f},{x * 10:.2f}E-01\n" for t, x in zip(TIME, PLACE, strict=True))
    assert read_record(same_exponent.encode()).distance_step == pytest.approx(1e-3)
    commas = table("t;x", TIME, PLACE, sep=";", dec=",", digits=4)
    assert read_record(commas.encode()).distance_step == pytest.approx(1e-4)


def test_distance_step_where_exponents_differ_is_the_numbers_common_step() -> None:
    """1.230E-01 and 9.870E-02 end in digits of different worth; all are whole millimetres."""
    text = "".join(f"{t:.2f},{x:.3E}\n" for t, x in zip(TIME, PLACE - 0.8, strict=True))
    assert read_record(text.encode()).distance_step == pytest.approx(1e-3)


def test_content_name_and_path(tmp_path: Path) -> None:
    path = tmp_path / "launch-1.csv"
    path.write_bytes(PLAIN.encode())
    for given in (path, str(path)):
        record = read_record(given)
        assert record.file == "launch-1.csv"
        assert record.content == PLAIN.encode()
        assert record.sha256 == hashlib.sha256(PLAIN.encode()).hexdigest()
    assert read_record(path, name="renamed").file == "renamed"
    assert read_record(PLAIN.encode()).file == "record"


def test_read_as_is_one_plain_sentence() -> None:
    lines = PLAIN.splitlines()
    lines[10] = "0.450,"
    lines[12] = "0.550,-"
    record = read_record("\n".join(lines).encode())
    assert record.read_as == (
        "Read 60 samples: time from column 1 “Time (s)” in s, distance from column 2 “Position (m)” in m; "
        "comma separated, decimal point; 2 blank cells."
    )


# The open records; source and licence of each in tests/data/motion/README.md.
def test_incline_ultrasonic() -> None:
    record = read_record(MOTION / "incline-ultrasonic.csv")
    assert record.samples == 28
    assert record.read_as == (
        "Read 28 samples: time from column 1 in s, distance from column 2 in m; comma separated, decimal point."
    )
    assert record.notices == ()
    # README: 5/s; the first 1.9 s drift from 49 to 29 mm.
    assert np.median(np.diff(record.time)) == pytest.approx(0.2, abs=0.001)
    assert record.distance[0] == pytest.approx(0.0492, abs=1e-4)
    assert record.distance[record.time < 1.9].min() == pytest.approx(0.029, abs=1e-3)


def test_projectile_video() -> None:
    record = read_record(MOTION / "projectile-video.txt")
    assert record.samples == 92
    assert "time from column 1 “t” in s, distance from column 2 “x” in m; tab separated" in record.read_as
    assert np.median(np.diff(record.time)) == pytest.approx(1 / 240, rel=0.01)
    height = read_record(MOTION / "projectile-video.txt", position_column="y")
    good = np.isfinite(height.distance)
    curve = np.polyfit(height.time[good], height.distance[good], 2)
    # README: g = 9.10 ± 0.08 m/s²; four standard uncertainties, since the README fits a window and this the whole.
    assert -2 * curve[0] == pytest.approx(9.10, abs=0.32)


def test_ball_drops() -> None:
    runs = list_runs(MOTION / "ball-drops.xlsx")
    assert len(runs) == 22  # README: 11 balls × 2 drops
    assert [run.name for run in runs[:3]] == ["Baseball: Drop 1", "Baseball: Drop 2", "Blue Basketball: Drop 1"]
    assert {run.columns for run in runs} == {("Time (s)", "Height (m)")}
    records = read_records(MOTION / "ball-drops.xlsx")
    assert [record.samples for record in records] == [run.samples for run in runs]
    for record in records:
        assert not record.velocity_only
        # README: from 47 m by video, 15/s.
        assert 44.0 < record.distance[0] < 50.0
        assert np.median(np.diff(record.time)) == pytest.approx(1 / 15, rel=0.03)
        assert any("farther than a motion sensor" in notice for notice in record.notices)
    named = read_record(MOTION / "ball-drops.xlsx", run="golf ball: drop 2")
    np.testing.assert_array_equal(named.distance, records[11].distance)


def test_beam_ball() -> None:
    record = read_record(MOTION / "beam-ball.csv")
    assert record.samples == 1554
    assert np.median(np.diff(record.time)) == pytest.approx(0.02)  # README: 50/s
    assert record.notices == ()
