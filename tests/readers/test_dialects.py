"""Separators and decimal marks, told from the lines alone."""

from __future__ import annotations

import pytest

from joulebook.errors import RecordError
from joulebook.readers.dialects import sniff, split_line

CASES = [
    (["0.05,0.312", "0.10,0.298"], ",", "."),
    (["0.05;0.312", "0.10;0.298"], ";", "."),
    (["0,05;0,312", "0,10;0,298"], ";", ","),
    (["0,05\t0,312", "0,10\t0,298"], "\t", ","),
    (["0,05|0,312", "0,10|0,298"], "|", ","),
    (["0,05  0,312", "0,10  0,298"], " ", ","),
    (["0.05  0.312", "0.10  0.298"], " ", "."),
    (["0.05, 0.312", "0.10, 0.298"], ",", "."),
    (['"0,05","0,312"', '"0,10","0,298"'], ",", ","),
    (["1;2", "3;4"], ";", "."),
    (["1,234\t2,345", "1,334\t2,445"], "\t", ","),
    (["1,234.5\t2,345.5", "1,334.5\t2,445.5"], "\t", "."),
    (["4 May 2031, 10 h", "a;b", "0.1;0.2", "0.3;0.4", "0.5;0.6"], ";", "."),
    (["0.05", "0.10"], "", "."),
]


@pytest.mark.parametrize(("lines", "delimiter", "decimal"), CASES)
def test_sniff(lines: list[str], delimiter: str, decimal: str) -> None:
    dialect = sniff(lines, decimal=None, name="x")
    assert (dialect.delimiter, dialect.decimal) == (delimiter, decimal)


def test_the_given_decimal_mark_holds() -> None:
    assert sniff(["1,234\t2,345"] * 3, decimal=".", name="x").decimal == "."
    assert sniff(["1.5;2.5"] * 3, decimal=",", name="x").decimal == ","


def test_commas_for_both_are_paired_only_where_that_is_certain() -> None:
    assert sniff(["0,05,0,312", "0,10,0,298", "0,15,0,285"], decimal=None, name="x").paired
    assert not sniff(["1,5,3,12", "2,10,4,98", "3,15,5,85"], decimal=None, name="x").paired
    with pytest.raises(RecordError, match="commas stand both between the columns and inside the numbers"):
        sniff(["0,0,312", "0,05,0,298", "0,1,0,285", "0,15,0,27"], decimal=None, name="x")


def test_dialects_describe_themselves() -> None:
    assert str(sniff(["0,05;0,312"] * 3, decimal=None, name="x")) == "semicolon separated, decimal comma"
    assert str(sniff(["0.05  0.312"] * 3, decimal=None, name="x")) == "space separated, decimal point"


def test_split_line_follows_rfc_4180() -> None:
    """RFC 4180, section 2, rules 5 to 7, on one line."""
    assert split_line('"a,b","c ""d"" e",f', ",", quoted=True) == ["a,b", 'c "d" e', "f"]
    assert split_line("  0.1 \t 0.2 ", " ", quoted=False) == ["0.1", "0.2"]
