"""Inputs and settings of a bench file: groups, defaults, limits, and every fault by field."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import pytest
from tests.readers.bench_texts import DESIGN, SHORT, only

from joulebook.engine.bench import Bench, InputSpec, SettingSpec
from joulebook.errors import Fault
from joulebook.experiments.ramp_inputs import INPUTS

R3 = math.sqrt(3.0)


def test_a_bare_number_gets_the_documented_half_width(bench_of: Callable[..., Bench]) -> None:
    inputs = bench_of(DESIGN.replace(" ± 0.25 deg", "").replace(" ± 0.0005 kg", "").replace("0.015 ± 0.015", "0.015")).inputs
    angle, mass, wheels = inputs["track.angle"], inputs["cart.mass"], inputs["cart.rotating_fraction"]
    assert (angle.value, angle.u, angle.distribution, angle.origin) == (9.8, 0.5 / R3, "rectangular", "given")
    assert angle.note == "Written without uncertainty: the documented default of ± 0.5 deg is taken as limits."
    assert mass.u == pytest.approx(0.005 * 0.2513 / R3)
    assert wheels.u == pytest.approx(0.5 * 0.015 / R3)


def test_a_bare_zero_whose_half_width_is_a_part_of_it_is_exact(bench_of: Callable[..., Bench]) -> None:
    wheels = bench_of(SHORT.replace("mass", "rotating_fraction = 0\nmass")).inputs["cart.rotating_fraction"]
    assert (wheels.value, wheels.u, wheels.distribution, wheels.origin) == (0.0, 0.0, "constant", "given")
    assert "taken as exact" in wheels.note


def test_what_is_left_out_takes_its_default_and_says_so(bench_of: Callable[..., Bench]) -> None:
    bench = bench_of(SHORT)
    specs = {spec.name: spec for spec in INPUTS}
    given = {"cart.mass", "track.angle"}
    assert {name for name, item in bench.inputs.items() if item.origin == "given"} == given
    for name, item in bench.inputs.items():
        if name not in given:
            assert item.value == specs[name].default
            assert item.u == pytest.approx(specs[name].default_half_width / R3)
            assert (item.origin, item.distribution) == ("default", "rectangular")
    assert bench.inputs["place.gravity"].note == "Left out: the documented default of (9.807 ± 0.027) m/s^2 is taken as limits."
    assert bench.inputs["cart.rotating_fraction"].note == "Left out: the documented default of 0.02 ± 0.02 is taken as limits."
    assert bench.title == "bench-3"


@pytest.mark.parametrize(
    ("table", "present", "absent"),
    [
        ('[track]\nrise = "17.1 cm ± 0.1 cm"\nalong = "100.0 cm"', ["track.rise", "track.along"], ["track.angle"]),
        (
            '[track]\nangle = "9.8°"\n[place]\nlatitude = "47° N"'.replace("° N", "°"),
            ["place.latitude", "place.altitude"],
            ["place.gravity"],
        ),
        (
            '[track]\nangle = "9.8°"\n[sensor]\nair_temperature = "27 °C"',
            ["sensor.air_temperature", "sensor.humidity"],
            ["sensor.scale"],
        ),
    ],
)
def test_another_way_replaces_the_usual_one(
    bench_of: Callable[..., Bench], table: str, present: list[str], absent: list[str]
) -> None:
    """An unused alternative does not appear; the rest of a chosen one takes its defaults."""
    inputs = bench_of(f'[cart]\nmass = "250 g"\n{table}\n').inputs
    assert set(present) <= set(inputs)
    assert not set(absent) & set(inputs)
    assert inputs["cart.mass"].value == 0.25


def test_values_that_win_over_the_file(bench_of: Callable[..., Bench]) -> None:
    """A way of giving the slope replaces the file's other way, and nothing else."""
    bench = bench_of(DESIGN, values={"track.rise": "17 cm", "track.along": "1 m", "sensor.placed": "bottom"})
    assert "track.angle" not in bench.inputs
    assert bench.inputs["track.rise"].value == 0.17
    assert bench.word("sensor.placed") == "bottom"
    assert bench.inputs["cart.mass"].value == 0.2513


def test_decimal_commas(bench_of: Callable[..., Bench]) -> None:
    mass = bench_of(DESIGN.replace("0.2513 kg ± 0.0005 kg", "0,2513 kg ± 0,0005 kg")).inputs["cart.mass"]
    assert (mass.value, mass.u) == (0.2513, 0.0005 / R3)


@pytest.mark.parametrize(
    ("change", "where", "what", "remedy"),
    [
        (('angle = "9.8 deg ± 0.25 deg"', ""), "track.angle", "the slope is missing",
         r'track.angle = "… deg ± … deg", or track.rise = "… m ± … m" with track.along'),
        (('angle = "9.8 deg ± 0.25 deg"', 'rise = "17 cm"'), "track.along", "missing; it goes with track.rise",
         'track.along = "… m ± … m"'),
        (('length = "1.20 m"', 'rise = "17 cm"\nalong = "1 m"'), "track.angle",
         "slope is given twice, by track.angle, track.rise and track.along", "Keep one"),
        (('scale = "1.000 ± 0.007"', 'assumed_temperature = "20 degC"'), "sensor.air_temperature",
         "goes with sensor.assumed_temperature", "air_temperature"),
        (('gravity = "9.80665 m/s^2"', 'gravity = "9.8 m/s^2"\nlatitude = "47 deg"'), "place.gravity",
         "gravity is given twice", "Keep one"),
        (('mass = "0.2513 kg ± 0.0005 kg"', ""), "cart.mass", "is missing: mass of the cart", "cart.mass"),
        (("0.2513 kg ± 0.0005 kg", "0.2513"), "cart.mass", "no unit", r'Write "0\.2513 kg"'),
        (('"0.2513 kg ± 0.0005 kg"', "0.2513"), "cart.mass", "no unit", r'Write "0\.2513 kg"'),
        (('"0.2513 kg ± 0.0005 kg"', "[1]"), "cart.mass", "neither a number nor a text", "Write"),
        (('"0.2513 kg ± 0.0005 kg"', "true"), "cart.mass", "neither a number nor a text", "Write"),
        (('"0.2513 kg ± 0.0005 kg"', "1979-05-27"), "cart.mass", "neither a number nor a text", "Write"),
        (("0.2513 kg ± 0.0005 kg", "9.8 deg"), "cart.mass", "an angle, but a mass is needed", "kg"),
        (("0.2513 kg ± 0.0005 kg", "251300 kg"), "cart.mass", r'"251300 kg" is above the limit of 10000 kg for the mass',
         "number and its unit"),
        (("0.2513 kg ± 0.0005 kg", "-0.2 kg"), "cart.mass", r'"-0.2 kg" is below the limit of 1e-06 kg', "number and its unit"),
        (("9.8 deg ± 0.25 deg", "2 rad"), "track.angle", r'"2 rad", which is 114.592 deg, is above the limit of 89 deg',
         "number and its unit"),
        (('"1.000 ± 0.007"', "3"), "sensor.scale", "3 is above the limit of 2 for the true distance", "number"),
        (('"0.15 m"', '"0.15 kg"'), "sensor.min_range", "a mass, but a length", '"m"'),
        (('"0.15 m"', '"15 m"'), "sensor.min_range", "above the limit of 2 m", "number"),
        (('placed = "top"', 'placed = "left"'), "sensor.placed", '"left" is none of its words', 'Write "top" or "bottom"'),
        (('placed = "top"', "placed = 3"), "sensor.placed", "3 is none of its words", 'Write "top" or "bottom"'),
        (("rotating_fraction", "rotation_fraction"), "cart.rotation_fraction", "no name that joulebook knows",
         "Did you mean cart.rotating_fraction"),
        (("[track]\n", "[track]\nmass = 3\n"), "track.mass", "no name", "Did you mean cart.mass"),
        (("[track]\n", "[track]\nzz = 3\n"), "track.zz", "no name", "Known here: cart.mass, "),
        (("[place]", "[plaec]"), "plaec", "no name", "Did you mean place"),
        (("[cart]", "colour = 3\n[cart]"), "colour", "no name", "Known here: title, experiment, cart, track"),
        (('[cart]\nmass = "0.2513 kg ± 0.0005 kg"', 'mass = "0.25 kg"\n[cart]\nmass = "0.25 kg"'), "mass", "no name",
         "Did you mean cart.mass"),
        (('"Bench 3"', "3"), "title", "must be a text", "Bench 3"),
        (('"Bench 3"', '" "'), "title", "must be a text", "Bench 3"),
        (('"ramp-launch"', "7"), "experiment", "must be a name", "ramp-launch"),
        (('"ramp-launch"', '"ramp-lunch"'), "experiment", '"ramp-lunch" is no experiment',
         'Did you mean "ramp-launch".* Known: '),
    ],
)  # fmt: skip
def test_a_fault_names_its_field(
    faults_of: Callable[..., tuple[Fault, ...]], change: tuple[str, str], where: str, what: str, remedy: str
) -> None:
    assert DESIGN.count(change[0]) == 1
    only(faults_of(DESIGN.replace(*change)), where, what, remedy)


@dataclass(frozen=True)
class Lamp:
    """Another experiment's tables, which the reader has never heard of."""

    inputs: tuple[InputSpec, ...] = (
        InputSpec("lamp.voltage", "V", "voltage across the lamp", bare_half_width=0.1, required=True),
        InputSpec("lamp.age", "h", "hours that it has burnt", default=0.0),
    )
    settings: tuple[SettingSpec, ...] = (SettingSpec("lamp.kind", "kind of lamp", choices=("arc", "tube")),)


def test_another_experiments_tables(bench_of: Callable[..., Bench], faults_of: Callable[..., tuple[Fault, ...]]) -> None:
    tables: Mapping[str, Lamp] = {"lamp": Lamp()}
    text = 'experiment = "lamp"\n[lamp]\nvoltage = "12 V"\nkind = "Tube"\n'
    bench = bench_of(text, tables=tables.__getitem__)
    assert (bench.inputs["lamp.voltage"].u, bench.word("lamp.kind")) == (0.1 / R3, "tube")
    assert (bench.inputs["lamp.age"].distribution, bench.inputs["lamp.age"].note) == (
        "constant", "Left out: the documented default of 0 h is taken as exact.",
    )  # fmt: skip
    faults = faults_of(text.replace("12 V", "12 kg") + "[cart]\nmass = 3\n", tables=tables.__getitem__)
    assert [fault.where for fault in faults] == ["cart", "lamp.voltage"]
