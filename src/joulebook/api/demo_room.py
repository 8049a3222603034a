"""A room filled with an invented section in the middle of its period: every state that a board can show, and honest write-ups."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np

from joulebook.classroom.changes import Draft
from joulebook.classroom.own_work import FIELDS
from joulebook.planning.demo_section import write_demo
from joulebook.planning.design import random_design
from joulebook.planning.faults import faulty_bench
from joulebook.planning.folder import write_bench_folder
from joulebook.planning.simulate import simulate_bench

if TYPE_CHECKING:
    from joulebook.engine.report import Audit
    from joulebook.store.store import Store

__all__ = ["DEMO_TITLE", "fill_demo_room"]

DEMO_TITLE = "Physics, second period"

_HOUSE: Mapping[str, object] = {
    "title": DEMO_TITLE,
    "comparison": {"method": "t-prime", "tolerance": "5 %"},
    "lesson": {"minutes": 45, "launches": 3},
}
_NAMES = {1: "Comets", 2: "Otters", 5: "The Pendulums", 6: "Team Slope", 11: "Late Bell"}
# Further benches than the demo's six: seed and fault of what they recorded, "" for a sound one.
_MORE = {9: (91, ""), 11: (93, ""), 12: (94, "caught")}
_HOW = {"cart.mass": "balance", "track.angle": "angle gauge", "track.rise": "ruler at two marks", "track.along": "tape"}
# How each group worked: what its own energies are multiplied by, and its claim. Bench 2 forgot the half; the rest is honest
# rounding.
_WORK: Mapping[int, tuple[float, float, str]] = {
    1: (1.0, 1.0, "undecided"),
    2: (2.0, 1.0, "loss"),
    5: (1.0, 1.0, "conserved"),
    6: (1.0, 1.0, "loss"),
    11: (1.0, 1.0, "conserved"),
}


def fill_demo_room(store: Store, *, seed: int = 20) -> str:
    """Fill a store with the demo's section and return its id; a store that holds it already is left alone.

    Twelve benches: the demo's six, one without data, one with a rest record alone, one whose set-up readings are missing, one
    that saved a wrong file, one that is done, and one that asks for help. seed: of the invented records.
    """
    for line in store.sections():
        if line.title == DEMO_TITLE:
            return line.id
    section = store.make_section(DEMO_TITLE, benches=12, house=dict(_HOUSE))
    with TemporaryDirectory() as folder:
        files = dict(enumerate(write_demo(folder, seed=seed), 1))
        for number, (own_seed, fault) in _MORE.items():
            files[number] = _bench_file(Path(folder) / f"bench-{number}", own_seed, fault)
        for number, file in files.items():
            _fill_bench(store, section, number, file, values=number != 9)
        rest = next(file for file in files[9].parent.glob("rest*"))
        _add(store, section, 7, "rest.csv", rest.read_bytes(), "rest")
    _add(store, section, 10, "shopping list.txt", b"two springs, tape, chalk\n", "launch")
    for number, name in _NAMES.items():
        store.append(section, Draft("bench-named", "bench", number, {"name": name}))
    _work(store, section)
    _hand_in(store, section)
    store.append(section, Draft("help-asked", "bench", 12))
    for number in (1, 3, 11):
        store.append(section, Draft("visited", "teacher", number))
    store.append(section, Draft("hint-released", "teacher", 3, {"code": "angle-mismatch", "grade": "look"}))
    store.append(section, Draft("signed-off", "teacher", 11))
    return section


def _bench_file(folder: Path, seed: int, fault: str) -> Path:
    rng = np.random.default_rng(seed)
    design = random_design(rng, stop="spring", placed="top", rate=20.0, angle=7.0, launches=2, hands=False)
    return write_bench_folder(faulty_bench(fault, rng, design=design) if fault else simulate_bench(design, rng), folder)


def _fill_bench(store: Store, section: str, number: int, file: Path, *, values: bool) -> None:
    document = tomllib.loads(file.read_text(encoding="utf-8"))
    given = {
        f"{table}.{key}": str(text) for table in ("cart", "track", "sensor") for key, text in document.get(table, {}).items()
    }
    kit = {name: text for name, text in given.items() if name not in _HOW}
    store.append(section, Draft("values-planned", "teacher", number, {"values": kit}))
    if values:
        read = {name: text for name, text in given.items() if name in _HOW}
        how = {name: _HOW[name] for name in read}
        store.append(section, Draft("values-set", "bench", number, {"values": read, "how": how}))
    files = document.get("files", {})
    rest = files.get("rest")
    for name in [*([rest] if rest else []), *files.get("launch", [])]:
        content = (file.parent / name).read_bytes()
        _add(store, section, number, name, content, "rest" if name == rest else "launch")


def _add(store: Store, section: str, number: int, name: str, content: bytes, role: str) -> None:
    body = {"name": name, "sha256": hashlib.sha256(content).hexdigest(), "size": len(content), "role": role, "via": "upload"}
    store.append(section, Draft("record-added", "bench", number, body), content=content)


def _work(store: Store, section: str) -> None:
    """Let some groups work: their numbers are the audit's, rounded as people round, times a slip of their own."""
    from joulebook.classroom.judging import judge_bench

    state = store.section(section)
    for number, (kinetic, potential, claim) in _WORK.items():
        bench = state.benches[number]
        contents = store.contents(section, [record.sha256 for record in bench.records])
        audit = judge_bench(bench, contents, state.house).ledger
        if audit is None:
            continue
        for step, fields in _own_numbers(audit, kinetic, potential, claim).items():
            assert set(fields) <= {field.name for field in FIELDS[step]}
            store.append(section, Draft("work-saved", "bench", number, {"step": step, "fields": fields}))
        if number in (2, 6, 11):
            store.append(section, Draft("work-committed", "bench", number))


def _hand_in(store: Store, section: str) -> None:
    """Let students of the demo's benches hand in write-ups, so that there is something to mark."""
    from joulebook.api.demo_write_ups import demo_write_up_rows
    from joulebook.classroom.judging import judge_bench
    from joulebook.classroom.mark_table import read_write_ups, to_csv

    state = store.section(section)
    audits = {}
    for number in range(1, 7):
        bench = state.benches[number]
        found = judge_bench(bench, store.contents(section, [record.sha256 for record in bench.records]), state.house)
        if found.ledger is not None:
            audits[number] = found.ledger
    for each in read_write_ups(to_csv(demo_write_up_rows(audits)).encode(), name="write-ups.csv"):
        body = {"code": each.code, "fields": dict(each.fields), "values": dict(each.values), "via": "table"}
        store.append(section, Draft("write-up-added", "teacher", each.bench, body))


def _own_numbers(audit: Audit, kinetic: float, potential: float, claim: str) -> dict[str, dict[str, str]]:
    launch = audit.launches[0].quantities

    def told(name: str, digits: int = 2, times: float = 1.0) -> str:
        value = launch[name]
        assert not isinstance(value, tuple)
        return f"{value.value * times:.{digits}g}"

    return {
        "predict": {"prediction": "less", "prediction_why": "Some of it goes into rolling."},
        "readings": {
            "release_speed": told("release_speed", 3),
            "release_speed_u": "0.03",
            "speed_how": "slope between two points",
        },
        "calculation": {
            "travel": told("travel", 3),
            "height": told("height", 2),
            "kinetic_energy": told("kinetic_energy", 2, kinetic),
            "potential_energy": told("potential_energy", 2, potential),
        },
        "uncertainty": {
            "kinetic_energy_u": f"{0.06 * float(told('kinetic_energy', 2, kinetic)):.1g}",
            "potential_energy_u": f"{0.08 * float(told('potential_energy', 2, potential)):.1g}",
            "largest": "slope",
        },
        "claim": {"claim": claim, "claim_why": "The two energies with their give or take."},
    }
