"""The fields of own work, and the numbers that are read from them."""

from __future__ import annotations

import pytest

from joulebook.classroom.own_work import COMMITTED_STEPS, FIELDS, Field, check_fields, own_number
from joulebook.engine.house import STEPS
from joulebook.errors import InputError

_ENERGY = Field("kinetic_energy", "KE", "number", "J")
_LENGTH = Field("travel", "d", "number", "m")
_RATIO = Field("own_comparison", "percent", "number", "")


@pytest.mark.parametrize(
    ("text", "field", "value"),
    [
        ("0.31", _ENERGY, 0.31), (" 0,31 ", _ENERGY, 0.31), ("−0.02", _ENERGY, -0.02), ("3.1e-1", _ENERGY, 0.31),
        ("310 mJ", _ENERGY, 0.31), ("52 cm", _LENGTH, 0.52), ("0.52 m", _LENGTH, 0.52), ("8 %", _RATIO, 0.08),
        ("8%", _RATIO, 0.08), ("0.08", _RATIO, 0.08), ("", _ENERGY, None), ("   ", _ENERGY, None),
    ],
)  # fmt: skip
def test_a_number_is_read_as_it_was_meant(text: str, field: Field, value: float | None) -> None:
    found = own_number(text, field)
    assert found == (None if value is None else pytest.approx(value))


@pytest.mark.parametrize("text", ["about a third", "0.3.1", "1,000.5,2", "0.31 kg", "nan", "1e99"])
def test_what_is_no_number_is_told_with_an_example(text: str) -> None:
    with pytest.raises(InputError) as caught:
        own_number(text, _ENERGY)
    assert text[:40] in caught.value.message and caught.value.remedy


def test_the_example_has_the_sign_of_the_house() -> None:
    with pytest.raises(InputError) as caught:
        own_number("much", _ENERGY, decimal=",")
    assert "0,25" in caught.value.remedy and "J" in caught.value.remedy


@pytest.mark.parametrize(
    ("step", "fields", "where", "what"),
    [
        ("claim", {"claim": "perhaps"}, "claim", "none of the choices"),
        ("claim", {"claim_why": "x" * 2001}, "claim_why", "2001 characters long"),
        ("claim", {"mark": "A"}, "mark", "no field of this step"),
        ("uncertainty", {"kinetic_energy_u": "-0.01"}, "kinetic_energy_u", "not above zero"),
        ("uncertainty", {"kinetic_energy_u": "0"}, "kinetic_energy_u", "not above zero"),
        ("calculation", {"travel": "0.5 kg"}, "travel", "not understood"),
        ("calculation", {"travel": "1" * 61}, "travel", "61 characters long"),
    ],
)
def test_a_faulty_field_is_named(step: str, fields: dict[str, str], where: str, what: str) -> None:
    (fault,) = check_fields(step, fields)
    assert fault.where == where and what in fault.what


def test_blank_fields_are_never_wrong() -> None:
    for step, fields in FIELDS.items():
        assert check_fields(step, {field.name: "" for field in fields}) == ()


def test_the_steps_are_those_of_the_worksheet_and_each_has_fields() -> None:
    assert set(FIELDS) == set(STEPS)
    assert set(COMMITTED_STEPS) < set(STEPS)
    names = [field.name for fields in FIELDS.values() for field in fields]
    assert len(names) == len(set(names)), "a name means one thing in the whole write-up"
    assert all(field.choices for fields in FIELDS.values() for field in fields if field.shape == "choice")
