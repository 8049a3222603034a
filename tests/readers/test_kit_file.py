"""Kit files: what may be written, the defaults, and every fault at once."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from joulebook.errors import InputError
from joulebook.experiments.ramp_kit import KIT_SPECS
from joulebook.readers.kit_file import make_kit, read_kit

KIT = """
title = "Blue kit"

[track]
length = "180 cm"

[cart]
mass = ["250 g ± 1 g", "0.50 kg"]

[launch]
stiffness = "200 N/m"
strokes = ["30 mm", "4 cm"]
numbers = [3, 1]

[sensor]
scale = "1.002(4)"
placed = "bottom"

[[angle.methods]]
name = "protractor"
limits = "0.5 deg"

[[angle.methods]]
name = "ruler"
over = "1.00 m ± 2 mm"
reading = "1 mm"

[[angle.methods]]
name = "inclinometer"
u = "0.1 deg"
"""


def faults_of(**values: object) -> dict[str, str]:
    with pytest.raises(InputError) as caught:
        make_kit(values={name.replace("__", "."): value for name, value in values.items()})
    assert caught.value.code == "kit-file"
    return {fault.where: f"{fault.what} {fault.remedy}" for fault in caught.value.faults}


def test_a_kit_file_is_read(tmp_path: Path) -> None:
    (tmp_path / "kit.toml").write_text(KIT, encoding="utf-8")
    kit = read_kit(tmp_path)
    assert kit.title == "Blue kit"
    assert kit.track_length == pytest.approx(1.80)
    assert [item.value for item in kit.masses] == pytest.approx([0.25, 0.5])
    assert [item.u for item in kit.masses] == pytest.approx([0.001 / math.sqrt(3), 0.0025 / math.sqrt(3)])
    assert kit.strokes == pytest.approx((0.03, 0.04))
    assert kit.stiffness == pytest.approx(200.0)
    assert kit.speeds == ()
    assert kit.numbers == (1, 3)
    assert (kit.scale.value, kit.scale.u, kit.scale.distribution) == pytest.approx((1.002, 0.004, "normal"))
    assert kit.placed == "bottom"
    protractor, ruler, inclinometer = kit.methods
    assert protractor.u == pytest.approx(0.5 / math.sqrt(3))
    assert (ruler.over, ruler.over_u, ruler.reading_u) == pytest.approx((1.0, 0.002 / math.sqrt(3), 0.001 / math.sqrt(3)))
    assert (inclinometer.u, inclinometer.distribution) == (pytest.approx(0.1), "normal")
    assert "track.length" not in kit.defaults
    assert "sensor.noise" in kit.defaults
    assert not {"launch.speeds", "launch.stiffness"} & set(kit.defaults)


def test_values_win_over_the_file(tmp_path: Path) -> None:
    file = tmp_path / "cupboard.toml"
    file.write_text(KIT, encoding="utf-8")
    kit = read_kit(file, values={"length": "2 m", "speeds": ["1.1 m/s"]})
    assert kit.track_length == 2.0
    assert kit.speeds == (1.1,)
    assert kit.strokes == ()
    assert read_kit(file, values={"strokes": ["5 cm"]}).strokes == (0.05,)


def test_everything_has_a_default() -> None:
    kit = make_kit()
    assert set(kit.defaults) == {spec.name for spec in KIT_SPECS if spec.default != ()}
    assert [method.name for method in kit.methods] == ["protractor", "digital level", "height over length"]


def test_all_faults_at_once() -> None:
    found = faults_of(
        track__length="3 s", cart__mass=[], masss="1 kg", sensor__noise=2, launch__speeds=["1 m/s"], launch__strokes=["2 cm"],
        angle__methods=[{"name": "x"}], sensor__placed="side",
    )  # fmt: skip
    assert "time" in found["track.length"]
    assert "empty list" in found["cart.mass"]
    assert "Did you mean cart.mass?" in found["masss"]
    assert "no unit" in found["sensor.noise"]
    assert "both speeds and strokes" in found["launch"]
    assert "goes with launch.strokes" in found["launch.stiffness"]
    assert "measured in no way" in found["angle.methods 1"]
    assert "top or bottom" in found["sensor.placed"]


@pytest.mark.parametrize(
    ("values", "where", "words"),
    [
        ({"track__length": ["1 m", "2 m"]}, "track.length", "holds 2 values"),
        ({"track__length": "30 m"}, "track.length", "above the limit of 20 m"),
        ({"cart__mass": "1 g"}, "cart.mass", "below the limit of 0.01 kg"),
        ({"track__start": "1.5 m"}, "track.start", "beyond the track's end at 1.2 m"),
        ({"sensor__min_range": "2 m", "sensor__max_range": "1 m"}, "sensor.min_range", "not below sensor.max_range"),
        ({"launch__numbers": [1.5]}, "launch.numbers", "no whole number"),
        ({"launch__strokes": ["2 cm"]}, "launch.stiffness", "is missing"),
        ({"angle__methods": "protractor"}, "angle.methods", "one or more tables"),
        ({"angle__methods": ["protractor"]}, "angle.methods 1", "must be a table"),
        ({"angle__methods": [{"limits": "1 deg"}]}, "angle.methods 1.name", "is missing"),
        ({"angle__methods": [{"name": "a", "limits": "1 deg", "u": "1 deg"}]}, "angle.methods 1", "2 ways: limits, u"),
        ({"angle__methods": [{"name": "a", "limits": "1 cm"}]}, "angle.methods 1.limits", "length"),
        ({"angle__methods": [{"name": "a", "limits": "-1 deg"}]}, "angle.methods 1.limits", "not above zero"),
        ({"angle__methods": [{"name": "a", "limit": "1 deg", "u": "1 deg"}]}, "angle.methods 1.limit", "Did you mean"),
        ({"angle__methods": [{"name": "a", "u": "1 deg"}] * 2}, "angle.methods", 'two ways are called "a"'),
    ],
)
def test_single_faults(values: dict[str, object], where: str, words: str) -> None:
    assert words in faults_of(**values)[where]


def test_an_entry_given_twice() -> None:
    with pytest.raises(InputError, match="given twice"):
        make_kit(values={"track.length": "1 m"}, length="2 m")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"[track\nlength = 1", "not TOML"),
        (b"\xff\xfe\x00", "not TOML in UTF-8"),
        (b"#" * 70_000, "longer than 64 KiB"),
        (b"title = 3", "must be a text"),
        (b"colour = 3", "is no name that joulebook knows"),
    ],
)
def test_files_that_are_no_kit(tmp_path: Path, content: bytes, words: str) -> None:
    file = tmp_path / "kit.toml"
    file.write_bytes(content)
    with pytest.raises(InputError, match=words) as caught:
        read_kit(file)
    assert caught.value.source == str(file)


def test_a_missing_kit_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_kit(tmp_path / "none.toml")


def test_the_entries_are_documented() -> None:
    page = (Path(__file__).parents[2] / "docs" / "planning.md").read_text(encoding="utf-8")
    for spec in KIT_SPECS:
        assert f"| `{spec.name}` |" in page, spec.name
        assert spec.meaning in page, spec.name
