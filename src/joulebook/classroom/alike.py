"""What is identical across write-ups, benches or years: evidence for the teacher alone, with what else would explain it.

Nothing here says that anybody copied: it says what is the same, and what harmless reasons there are.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from joulebook.classroom.section import Section
from joulebook.classroom.write_up import WriteUp

__all__ = ["Alike", "alike_records", "alike_write_ups"]

_NUMBERS = (
    "start_distance", "apex_distance", "release_speed", "travel", "height", "kinetic_energy", "potential_energy",
    "kinetic_energy_u", "potential_energy_u", "own_comparison", "loss_size",
)  # fmt: skip
_FEWEST = 4  # numbers that must be the same before it is worth a line


@dataclass(frozen=True, slots=True)
class Alike:
    """What is the same. who: codes or places. what: one sentence that says what is identical. may_be: harmless reasons."""

    who: tuple[str, ...]
    what: str
    may_be: str


def alike_write_ups(write_ups: Iterable[WriteUp]) -> tuple[Alike, ...]:
    """Return write-ups of different benches whose readings and results are the same in four numbers or more.

    Members of one bench share its readings by right and are not compared.
    """
    listed = list(write_ups)
    found = []
    for index, one in enumerate(listed):
        for other in listed[index + 1 :]:
            if one.bench == other.bench:
                continue
            same = _same(one.fields, other.fields)
            if len(same) >= _FEWEST:
                found.append(
                    Alike(
                        (one.code, other.code),
                        f"{len(same)} numbers are the same to the last digit, at benches {one.bench} and {other.bench}: "
                        f"{', '.join(name.replace('_', ' ') for name in same)}.",
                        "The two may have worked at one bench, a row may have been typed twice, or a bench's number may be wrong.",
                    )
                )
    return tuple(found)


def alike_records(sections: Mapping[str, Section]) -> tuple[Alike, ...]:
    """Return records whose bytes are the same at two benches, or in two sections. sections: by what they are called."""
    places: dict[str, list[str]] = defaultdict(list)
    names: dict[str, str] = {}
    for title, section in sections.items():
        for bench in section.benches.values():
            for record in bench.records:
                place = f"{title}, bench {bench.number}"
                if place not in places[record.sha256]:
                    places[record.sha256].append(place)
                names[record.sha256] = record.name
    return tuple(
        Alike(
            tuple(where),
            f"The record {names[sha]} is the same, byte for byte, in {len(where)} places.",
            "A file may have been saved to the wrong bench, handed out as an example, or carried over from a rehearsal.",
        )
        for sha, where in places.items()
        if len(where) > 1
    )


def _same(one: Mapping[str, str], other: Mapping[str, str]) -> list[str]:
    return [name for name in _NUMBERS if _text(one, name) and _text(one, name) == _text(other, name)]


def _text(fields: Mapping[str, str], name: str) -> str:
    return "".join(fields.get(name, "").split()).replace(",", ".")
