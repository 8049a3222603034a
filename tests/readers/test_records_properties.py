"""Properties: whatever is written in whatever dialect comes back equal, and no bytes at all bring the reader down."""

from __future__ import annotations

import io
import math
from contextlib import suppress

import numpy as np
import xlsxwriter
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from joulebook.engine.record import Record
from joulebook.errors import JoulebookError, RecordError
from joulebook.readers.records import list_runs, read_record, read_records

HEADINGS = {
    "English": ("Time", "Distance", "utf-8"),
    "German": ("Zeit", "Höhe", "latin-1"),
    "French": ("Temps", "Déplacement", "cp1252"),
    "Spanish": ("Tiempo", "Posición", "latin-1"),
    "Portuguese": ("Tempo", "Posição", "cp1252"),
    "Polish": ("Czas", "Odległość", "utf-16"),
    "Czech": ("Čas", "Vzdálenost", "utf-8-sig"),
    "Hungarian": ("Idő", "Távolság", "utf-8"),
    "Romanian": ("Timp", "Distanță", "utf-16"),
    "Greek": ("Χρόνος", "Απόσταση", "utf-8"),
    "none": ("", "", "utf-8"),
}
LENGTHS = {"m": (1.0, 4), "cm": (100.0, 2), "mm": (1000.0, 1)}
TIMES = {"s": (1.0, 3), "ms": (1000.0, 0)}
WRITTEN = ("({})", "[{}]", "/{}", "_{}", " ({})")
MISSING = ("", "", "NaN", "-", "#N/A")


@st.composite
def motions(draw: st.DrawFn) -> tuple[list[int], list[int | None]]:
    """An invented launch on a bench: times in ms, distances in 0.1 mm, some missing; all exact."""
    step = draw(st.sampled_from((5, 10, 20, 25, 40, 50, 100, 200)))
    count = draw(st.integers(12, 60))
    start = draw(st.integers(0, 2000))
    middle = draw(st.floats(0.2, 1.5))
    swing = draw(st.floats(0.02, 0.9)) * middle
    pace = draw(st.floats(0.2, 2.5)) / max(swing, 0.05)
    seed = draw(st.integers(0, 1000))
    noise = np.random.default_rng(seed).normal(0.0, 5e-4, count)
    times = [start + step * k for k in range(count)]
    places: list[int | None] = [
        max(200, round(1e4 * (middle + swing * math.sin(pace * (t - start) / 1000) + noise[k]))) for k, t in enumerate(times)
    ]
    for k in draw(st.lists(st.integers(0, count - 1), max_size=4, unique=True)):
        places[k] = None
    return times, places


@st.composite
def files(draw: st.DrawFn) -> tuple[bytes, list[int], list[int | None], dict[str, object]]:
    """The same launch written in any dialect; the last entry says what the reader cannot know and is told."""
    times, places = draw(motions())
    separator = draw(st.sampled_from((",", ";", "\t", "|", "  ", ", ", " ; ")))
    decimal = draw(st.sampled_from((".", ",")))
    quoted = draw(st.booleans()) if separator.strip() in (",", ";") else False
    if separator.strip() == "," and decimal == ",":
        quoted = True
    language = draw(st.sampled_from(sorted(HEADINGS)))
    length, clock = draw(st.sampled_from(sorted(LENGTHS))), draw(st.sampled_from(sorted(TIMES)))
    newline = draw(st.sampled_from(("\n", "\r\n", "\r")))
    time_word, place_word, encoding = HEADINGS[language]
    options: dict[str, object] = {}
    if language == "none":
        options["unit"] = f"{clock}, {length}"
    scientific = draw(st.booleans()) and decimal == "."

    def show(value: float, digits: int) -> str:
        text = f"{value:.{digits + 5}E}" if scientific else f"{value:.{digits}f}"
        text = text.replace(".", decimal)
        return f'"{text}"' if quoted else text

    size, digits = LENGTHS[length]
    pace, clock_digits = TIMES[clock]
    words = MISSING if separator.strip() else MISSING[2:]
    lines = []
    if time_word:
        style = draw(st.sampled_from(WRITTEN))
        heads = [f"{time_word}{style.format(clock)}", f"{place_word}{style.format(length)}"]
        lines.append(separator.join(f'"{head}"' if quoted else head for head in heads))
    for k, (t, x) in enumerate(zip(times, places, strict=True)):
        cell = words[k % len(words)] if x is None else show(x / 1e4 * size, digits)
        lines.append(separator.join((show(t / 1000 * pace, clock_digits), cell)))
    return (newline.join(lines) + newline).encode(encoding), times, places, options


@settings(max_examples=150)
@given(files())
def test_every_dialect_reads_back_equal(written: tuple[bytes, list[int], list[int | None], dict[str, object]]) -> None:
    content, times, places, options = written
    # Whole numbers one apart count samples, they are no clock: the reader says so, and is not asked here.
    record = read_record(content, **options)  # type: ignore[arg-type]
    np.testing.assert_allclose(record.time, np.array(times) / 1000, atol=1e-12, rtol=0)
    expected = np.array([math.nan if x is None else x / 1e4 for x in places])
    np.testing.assert_allclose(record.distance, expected, atol=1e-12, rtol=0)
    assert record.notices == ()
    assert record.run == ""


@settings(max_examples=25)
@given(motions(), st.sampled_from(sorted(LENGTHS)))
def test_every_workbook_reads_back_equal(motion: tuple[list[int], list[int | None]], length: str) -> None:
    times, places = motion
    buffer = io.BytesIO()
    with xlsxwriter.Workbook(buffer, {"in_memory": True}) as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["Time (s)", f"Position ({length})"])
        for k, (t, x) in enumerate(zip(times, places, strict=True), start=1):
            sheet.write(k, 0, t / 1000)
            if x is not None:
                sheet.write(k, 1, x / 1e4 * LENGTHS[length][0])
    record = read_record(buffer.getvalue())
    # A last row without distance belongs to the record: its time is there.
    np.testing.assert_allclose(record.time, np.array(times) / 1000, atol=1e-12)
    expected = np.array([math.nan if x is None else x / 1e4 for x in places])
    np.testing.assert_allclose(record.distance, expected, atol=1e-12)


def check(content: bytes, **options: object) -> None:
    """Reading gives records that keep their promises, or a RecordError with something to say; never anything else."""
    try:
        record = read_record(content, **options)  # type: ignore[arg-type]
    except JoulebookError as error:
        assert isinstance(error, RecordError)
        assert str(error).strip() and error.to_dict()["message"]
        assert error.remedy or error.faults
    else:
        assert isinstance(record, Record)
        assert record.time.shape == record.distance.shape
        assert record.time.dtype == record.distance.dtype == np.float64
        assert not np.any(np.isinf(record.time)) and not np.any(np.isinf(record.distance))
        assert record.read_as.startswith(f"Read {record.samples} samples")
        assert record.distance_step >= 0.0 and math.isfinite(record.distance_step)
        assert record.content == content
        if not record.velocity_only:
            assert np.count_nonzero(np.isfinite(record.time) & np.isfinite(record.distance)) >= 5
    with suppress(RecordError):
        runs = list_runs(content)
        assert [run.number for run in runs] == list(range(1, len(runs) + 1))
        names = [run.name.casefold() for run in runs]
        assert len(set(names)) == len(names)
    with suppress(RecordError):
        read_records(content)


@settings(max_examples=200)
@given(st.binary(max_size=600))
@example(b"PK\x03\x04")
@example(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")
@example(b"\xff\xfe\x00\xd8")
@example(b"\xff\xfe\x00\x00\xff\xff\xff\xff")
def test_arbitrary_bytes(content: bytes) -> None:
    check(content)


CELLS = st.one_of(
    st.sampled_from(
        (
            "",
            " ",
            "-",
            "NaN",
            "0",
            "1",
            "0.05",
            "0,05",
            "1e400",
            "-1e308",
            "1e308",
            "9" * 400,
            "1_0",
            "t",
            "x",
            "Time (s)",
            "Position (m)",
            "v",
            "Run 1",
            '"',
            '""',
            "'",
            "#",
            "(s)",
            "m",
            "٣",
            "½",
            "1.2.3",
            "1,2,3",
            "\u2212",
            "\ufeff",
            "in in",
            "/ s",
            "0x1F",
            "Infinity",
        )
    ),
    st.floats(allow_nan=False).map(repr),
    st.text(max_size=6),
)


@settings(max_examples=150)
@given(
    st.lists(st.lists(CELLS, min_size=0, max_size=5), max_size=14),
    st.sampled_from((",", ";", "\t", "|", " ", ", ")),
    st.sampled_from(("\n", "\r\n", "\r", "\n\n")),
)
def test_arbitrary_tables(rows: list[list[str]], separator: str, newline: str) -> None:
    check(newline.join(separator.join(row) for row in rows).encode("utf-8", errors="surrogatepass"))


@settings(max_examples=100)
@given(files(), st.data())
def test_mutated_files(written: tuple[bytes, list[int], list[int | None], dict[str, object]], data: st.DataObject) -> None:
    content = bytearray(written[0])
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(content) - 1))
        match data.draw(st.sampled_from(("flip", "cut", "insert", "repeat", "truncate"))):
            case "flip":
                content[at] = data.draw(st.integers(0, 255))
            case "cut":
                del content[at : at + data.draw(st.integers(1, 60))]
            case "insert":
                content[at:at] = data.draw(
                    st.sampled_from((b"\n", b'"', b",", b";", b"\n\n", b"Time (s),x\n", b"\x00", b"1e999", b"\xe9"))
                )
            case "repeat":
                content[at:at] = content[at : at + 200]
            case "truncate":
                del content[at:]
        assume(content)
    check(bytes(content))


@settings(max_examples=60)
@given(
    files(),
    st.fixed_dictionaries(
        {},
        optional={
            "time_column": st.one_of(st.integers(-3, 9), st.text(max_size=8), st.just("t"), st.just("²")),
            "position_column": st.one_of(st.integers(-3, 9), st.text(max_size=8), st.just("x"), st.just("Distance")),
            "unit": st.text(max_size=6),
            "run": st.one_of(st.integers(-3, 9), st.text(max_size=8), st.just("²")),
            "decimal": st.sampled_from((".", ",", ";", "")),
        },
    ),
)
def test_arbitrary_overrules(
    written: tuple[bytes, list[int], list[int | None], dict[str, object]], options: dict[str, object]
) -> None:
    check(written[0], **options)


def workbook() -> bytes:
    buffer = io.BytesIO()
    with xlsxwriter.Workbook(buffer, {"in_memory": True}) as book:
        sheet = book.add_worksheet()
        for k in range(12):
            sheet.write_row(k, 0, [k * 0.05, 0.5 + 0.01 * k * k])
    return buffer.getvalue()


WORKBOOK = workbook()


@settings(max_examples=80)
@given(st.lists(st.tuples(st.integers(0, len(WORKBOOK) - 1), st.integers(0, 255)), min_size=1, max_size=8), st.integers(0, 400))
def test_mutated_workbooks(changes: list[tuple[int, int]], cut: int) -> None:
    content = bytearray(WORKBOOK)
    for at, value in changes:
        content[at] = value
    check(bytes(content[: len(content) - cut]))
