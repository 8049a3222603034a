"""A sweep into files: each bench once, in order, the same bytes after any stop; and what it refuses to go on with."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

import joulebook
from joulebook.api import benches
from joulebook.api.sweeping.files import write_sweep
from joulebook.api.sweeping.journal import Journal
from joulebook.api.sweeping.work import Outcome, made_with
from joulebook.errors import InputError, OutputError

NAMES = [f"bench-{number}" for number in range(1, 6)]
Audits = list[str]


class Killed(BaseException):
    """Stands for the end of the process: nothing of ours catches it."""


@pytest.fixture
def root(sound_bench: Path, tmp_path: Path) -> Path:
    """Five bench folders, the fourth of them faulty, the launches of all different files."""
    folder = tmp_path / "root"
    for name in NAMES:
        shutil.copytree(sound_bench, folder / name)
        with (folder / name / "bench.toml").open("a") as stream:
            stream.write(f"# {name}\n")
    (folder / "bench-4/launch.csv").write_text("nothing to see here\n")
    return folder


@pytest.fixture
def audits(sound_bench: Path, root: Path, monkeypatch: pytest.MonkeyPatch) -> Audits:
    """Make audits quick: every sound bench gives one and the same, with its folder as title. Returned is which were audited."""
    real, known = benches.audit, {}
    asked: list[str] = []

    def quick(bench: str, **options: object) -> object:
        import dataclasses

        name = Path(bench).name
        asked.append(name)
        if name == "bench-4":
            return real(bench, method="linear")
        if "audit" not in known:
            known["audit"] = real(sound_bench, method="linear")
        return dataclasses.replace(known["audit"], title=name)

    monkeypatch.setattr(benches, "audit", quick)
    return asked


def stop_after(count: int) -> Callable[[int, int, int], None]:
    def progress(done: int, kept: int, total: int) -> None:
        if done - kept == count and done < total:
            raise Killed

    return progress


def table(path: Path) -> list[dict[str, object]]:
    from pyarrow import parquet

    return parquet.read_table(path).to_pylist()  # type: ignore[no-any-return]


def whole(root: Path, place: Path) -> tuple[bytes, bytes]:
    """Return both results of a sweep that nobody stopped."""
    write_sweep(root, jsonl=place / "whole.jsonl", parquet=place / "whole.parquet", method="linear")
    return (place / "whole.jsonl").read_bytes(), (place / "whole.parquet").read_bytes()


def test_lines_rows_and_summary_say_the_same(root: Path, audits: Audits, tmp_path: Path) -> None:
    told: list[tuple[int, int, int]] = []
    summary = write_sweep(
        root, jsonl=tmp_path / "a.jsonl", parquet=tmp_path / "a.parquet", progress=lambda *now: told.append(now)
    )
    lines = [json.loads(line) for line in (tmp_path / "a.jsonl").read_text().splitlines()]
    assert lines == json.loads(json.dumps(list(joulebook.sweep(root))))
    rows = table(tmp_path / "a.parquet")
    assert [row["bench"] for row in rows] == [line["folder"] for line in lines] == NAMES
    for line, row in zip(lines, rows, strict=True):
        assert row["audited"] == line["ok"]
        if line["ok"]:
            audit = line["audit"]
            assert row["verdict"] == audit["verdict"]["mechanical"]
            assert row["title"] == audit["bench"]["title"]
            for name, column in (("kinetic_energy", "kinetic_energy_{}J"), ("relative_difference", "relative_difference_{}")):
                parts = [row[column.format(part).rstrip("_")] for part in ("", "u_", "low_", "high_")]
                assert parts == [audit["quantities"][name][key] for key in ("value", "u", "low", "high")]
            assert row["restitution"] == [each["value"] for each in audit["quantities"]["restitution"]]
            assert row["findings"] == list(dict.fromkeys(finding["code"] for finding in audit["findings"]))
        else:
            assert {name: row[f"error_{name}"] for name in ("code", "message", "remedy")} == line["error"]
            assert row["kinetic_energy_J"] is None
            assert row["findings"] is None
    assert summary.to_dict()["benches"] == 5
    assert summary.to_dict()["errors"] == {"bench-file": 1}
    assert summary.refused == ["bench-4"]
    assert told[-1] == (5, 0, 5)
    assert [now[0] for now in told] == sorted(now[0] for now in told)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.jsonl", "a.parquet", "root"]


@pytest.mark.parametrize("stop", [1, 2, 3, 4])
def test_a_stopped_sweep_goes_on_where_it_was(root: Path, audits: Audits, tmp_path: Path, stop: int) -> None:
    expected = whole(root, tmp_path)
    results = tmp_path / "a.jsonl", tmp_path / "a.parquet"
    audits.clear()
    with pytest.raises(Killed):
        write_sweep(root, jsonl=results[0], parquet=results[1], method="linear", progress=stop_after(stop))
    assert not [path for path in results if path.exists()]
    told: list[tuple[int, int, int]] = []
    write_sweep(root, jsonl=results[0], parquet=results[1], method="linear", resume=True, progress=lambda *now: told.append(now))
    assert audits == NAMES
    assert tuple(path.read_bytes() for path in results) == expected
    assert told[0] == (stop + 1, stop, 5)


def test_rows_alone_are_kept_without_the_lines(root: Path, audits: Audits, tmp_path: Path) -> None:
    expected = whole(root, tmp_path)[1]
    with pytest.raises(Killed):
        write_sweep(root, parquet=tmp_path / "a.parquet", method="linear", progress=stop_after(3))
    assert not (tmp_path / "a.parquet.part").exists()
    assert (tmp_path / "a.parquet.journal").stat().st_size < 20_000
    write_sweep(root, parquet=tmp_path / "a.parquet", method="linear", resume=True)
    assert (tmp_path / "a.parquet").read_bytes() == expected


@pytest.mark.parametrize("suffix", ["journal", "part"])
@pytest.mark.parametrize("lost", [1, 2, 200, 3000])
def test_what_is_half_written_is_dropped(root: Path, audits: Audits, tmp_path: Path, suffix: str, lost: int) -> None:
    """However much of the end is missing, in whichever of the two files."""
    expected = whole(root, tmp_path)[0]
    with pytest.raises(Killed):
        write_sweep(root, jsonl=tmp_path / "a.jsonl", method="linear", progress=stop_after(3))
    kept = tmp_path / f"a.jsonl.{suffix}"
    kept.write_bytes(kept.read_bytes()[:-lost])
    audits.clear()
    write_sweep(root, jsonl=tmp_path / "a.jsonl", method="linear", resume=True)
    assert (tmp_path / "a.jsonl").read_bytes() == expected
    assert audits[-2:] == NAMES[-2:]
    assert 3 <= len(audits) <= 5


def test_a_spoilt_byte_is_noticed(root: Path, audits: Audits, tmp_path: Path) -> None:
    expected = whole(root, tmp_path)[0]
    with pytest.raises(Killed):
        write_sweep(root, jsonl=tmp_path / "a.jsonl", method="linear", progress=stop_after(3))
    part = tmp_path / "a.jsonl.part"
    content = bytearray(part.read_bytes())
    content[len(content) // 2] ^= 1
    part.write_bytes(content)
    write_sweep(root, jsonl=tmp_path / "a.jsonl", method="linear", resume=True)
    assert (tmp_path / "a.jsonl").read_bytes() == expected


def test_what_has_changed_is_audited_anew(root: Path, audits: Audits, tmp_path: Path) -> None:
    """A bench whose files changed, one that is new, one that is gone: the result is that of the folder as it is now."""
    with pytest.raises(Killed):
        write_sweep(root, jsonl=tmp_path / "a.jsonl", parquet=tmp_path / "a.parquet", progress=stop_after(4))
    (root / "bench-2/rest.csv").write_text((root / "bench-2/rest.csv").read_text() + "\n")
    (root / "house.toml").write_text('[comparison]\ntolerance = "4 %"\n')
    shutil.copytree(root / "bench-1", root / "bench-0")
    shutil.rmtree(root / "bench-3")
    (root / "bench-1/notes.md").write_text("of no interest\n")
    audits.clear()
    write_sweep(root, jsonl=tmp_path / "a.jsonl", parquet=tmp_path / "a.parquet", resume=True)
    # The house file counts for all of them.
    assert audits == ["bench-0", "bench-1", "bench-2", "bench-4", "bench-5"]
    result = (tmp_path / "a.jsonl").read_bytes(), (tmp_path / "a.parquet").read_bytes()
    write_sweep(root, jsonl=tmp_path / "b.jsonl", parquet=tmp_path / "b.parquet")
    assert result == ((tmp_path / "b.jsonl").read_bytes(), (tmp_path / "b.parquet").read_bytes())


def test_one_changed_bench_costs_one_audit(root: Path, audits: Audits, tmp_path: Path) -> None:
    with pytest.raises(Killed):
        write_sweep(root, jsonl=tmp_path / "a.jsonl", progress=stop_after(4))
    (root / "bench-2/bench.toml").write_text((root / "bench-2/bench.toml").read_text() + "\n")
    audits.clear()
    write_sweep(root, jsonl=tmp_path / "a.jsonl", resume=True)
    assert audits == ["bench-2", "bench-5"]
    assert [json.loads(line)["folder"] for line in (tmp_path / "a.jsonl").read_text().splitlines()] == NAMES


def test_a_journal_that_is_in_the_way(root: Path, audits: Audits, tmp_path: Path) -> None:
    with pytest.raises(Killed):
        write_sweep(root, jsonl=tmp_path / "a.jsonl", progress=stop_after(2))
    with pytest.raises(
        InputError, match=r"was stopped before it was done; its journal is .*a\.jsonl\.journal\. Go on with it"
    ) as caught:
        write_sweep(root, jsonl=tmp_path / "a.jsonl")
    assert caught.value.code == "journal"
    (tmp_path / "a.jsonl.journal").unlink()
    write_sweep(root, jsonl=tmp_path / "a.jsonl")
    assert len((tmp_path / "a.jsonl").read_text().splitlines()) == 5


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"method": "auto"}, "method linear, now auto."),
        ({"draws": 500}, "draws not given, now 500."),
        ({"parquet": None, "house": True}, "house not given, now "),
    ],
)
def test_a_sweep_is_not_gone_on_with_in_another_way(
    root: Path, audits: Audits, tmp_path: Path, changed: dict[str, object], message: str
) -> None:
    if "house" in changed:
        (tmp_path / "house.toml").write_text('[numbers]\ngravity = "9.83 m/s^2"\n')
        changed = {"house": tmp_path / "house.toml"}
    with pytest.raises(Killed):
        write_sweep(root, jsonl=tmp_path / "a.jsonl", progress=stop_after(2), method="linear")
    before = (tmp_path / "a.jsonl.journal").read_bytes()
    with pytest.raises(InputError, match=re.escape(message)) as caught:
        write_sweep(root, jsonl=tmp_path / "a.jsonl", resume=True, **{"method": "linear", **changed})  # type: ignore[arg-type]
    assert caught.value.message.startswith("That sweep was begun in another way: ")
    assert caught.value.code == "journal"
    assert (tmp_path / "a.jsonl.journal").read_bytes() == before


def test_another_version_does_not_go_on(root: Path, audits: Audits, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(Killed):
        write_sweep(root, jsonl=tmp_path / "a.jsonl", progress=stop_after(2))
    monkeypatch.setattr("joulebook.api.sweeping.files.made_with", lambda: {**made_with(), "joulebook": "9.9"})
    with pytest.raises(
        InputError, match=r"joulebook .*, now 9\.9\. Go on with the same options, house rules and versions, or remove"
    ):
        write_sweep(root, jsonl=tmp_path / "a.jsonl", resume=True)


def test_another_file_beside_the_first_is_another_way(root: Path, audits: Audits, tmp_path: Path) -> None:
    with pytest.raises(Killed):
        write_sweep(root, parquet=tmp_path / "a", progress=stop_after(2))
    with pytest.raises(InputError, match="lines False, now True"):
        write_sweep(root, jsonl=tmp_path / "a", resume=True)


def test_the_house_rules_may_lie_elsewhere(root: Path, audits: Audits, tmp_path: Path) -> None:
    """What counts is what they say."""
    for name in ("a", "b"):
        (tmp_path / f"{name}.toml").write_text('[numbers]\ngravity = "9.83 m/s^2"\n')
    with pytest.raises(Killed):
        write_sweep(root, jsonl=tmp_path / "a.jsonl", progress=stop_after(2), house=tmp_path / "a.toml")
    write_sweep(root, jsonl=tmp_path / "a.jsonl", resume=True, house=tmp_path / "b.toml")


def test_resuming_what_was_never_begun_begins_it(root: Path, audits: Audits, tmp_path: Path) -> None:
    write_sweep(root, jsonl=tmp_path / "a.jsonl", resume=True)
    (tmp_path / "b.jsonl.journal").write_bytes(b'{"format": "joulebook/sw')  # killed while it wrote its first line
    write_sweep(root, jsonl=tmp_path / "b.jsonl", resume=True)
    assert (tmp_path / "a.jsonl").read_bytes() == (tmp_path / "b.jsonl").read_bytes()


def test_something_else_is_no_journal(root: Path, audits: Audits, tmp_path: Path) -> None:
    (tmp_path / "a.jsonl.journal").write_bytes(b"Dear diary\n")
    with pytest.raises(
        InputError, match=r"a\.jsonl\.journal is no journal of a sweep that this version can go on with\. Remove it"
    ):
        write_sweep(root, jsonl=tmp_path / "a.jsonl", resume=True)
    assert (tmp_path / "a.jsonl.journal").read_bytes() == b"Dear diary\n"


@pytest.mark.parametrize("step", ["before the table", "before the lines", "before the journal is gone"])
@pytest.mark.parametrize("mixed", [False, True])
def test_a_kill_while_the_result_is_written(
    root: Path, audits: Audits, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str, mixed: bool
) -> None:
    """No audit is done again; mixed: the journal is not in the order of the benches."""
    if mixed:
        with pytest.raises(Killed):
            write_sweep(root, jsonl=tmp_path / "a.jsonl", parquet=tmp_path / "a.parquet", method="linear", progress=stop_after(4))
        (root / "bench-2/bench.toml").write_text((root / "bench-2/bench.toml").read_text() + "\n")
    expected = whole(root, tmp_path)

    def kill(*_: object, **__: object) -> None:
        raise Killed

    place = {
        "before the table": ("joulebook.api.sweeping.files._write_rows", kill),
        "before the lines": ("joulebook.api.sweeping.journal.Journal.write_lines", kill),
        "before the journal is gone": ("joulebook.api.sweeping.journal.Journal.remove", kill),
    }[step]
    with monkeypatch.context() as patch:
        patch.setattr(*place)
        with pytest.raises(Killed):
            write_sweep(root, jsonl=tmp_path / "a.jsonl", parquet=tmp_path / "a.parquet", method="linear", resume=True)
    audits.clear()
    write_sweep(root, jsonl=tmp_path / "a.jsonl", parquet=tmp_path / "a.parquet", method="linear", resume=True)
    assert audits == []
    assert ((tmp_path / "a.jsonl").read_bytes(), (tmp_path / "a.parquet").read_bytes()) == expected
    assert not list(tmp_path.glob("*.journal")) + list(tmp_path.glob("*.part"))


def test_an_old_result_outlives_a_foreign_journal(root: Path, audits: Audits, tmp_path: Path) -> None:
    """A result is taken back into the work only where the journal says that it is its own."""
    (tmp_path / "a.jsonl").write_text("last year's\n")
    with pytest.raises(Killed):
        write_sweep(root, jsonl=tmp_path / "a.jsonl", method="linear", progress=stop_after(2))
    (tmp_path / "a.jsonl.part").unlink()
    with pytest.raises(Killed):
        write_sweep(root, jsonl=tmp_path / "a.jsonl", method="linear", resume=True, progress=stop_after(2))
    assert (tmp_path / "a.jsonl").read_text() == "last year's\n"


def test_two_sweeps_do_not_write_one_file(root: Path, audits: Audits, tmp_path: Path) -> None:
    begun = made_with()
    first = Journal(tmp_path / "a.jsonl", NAMES, begun, lines=True, resume=False)
    with pytest.raises(OutputError, match=r"Another sweep is writing it\. Wait for it, or name another file\."):
        Journal(tmp_path / "a.jsonl", NAMES, begun, lines=True, resume=True)
    first.close()
    Journal(tmp_path / "a.jsonl", NAMES, begun, lines=True, resume=True).close()


def test_a_full_disk_is_told(tmp_path: Path) -> None:
    """The system lets no file of ours grow above a megabyte, which fails as a full disk does, in the middle of a line."""
    resource = pytest.importorskip("resource")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    journal = Journal(tmp_path / "a.jsonl", NAMES, made_with(), lines=True, resume=False)
    first = Outcome("bench-1", {}, b'{"bench": "bench-1"}', b'"short"', "07" * 16)
    journal.add(0, first)
    journal.flush()
    resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, before[1]))
    try:
        with pytest.raises(OutputError, match=r"a\.jsonl: It cannot be written: .* Name another place, or free this one\."):
            journal.add(1, Outcome("bench-2", {}, b'{"bench": "bench-2"}', b"x" * 2_000_000, "08" * 16))
            journal.flush()
        journal.close()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    again = Journal(tmp_path / "a.jsonl", NAMES, made_with(), lines=True, resume=True)
    assert [again.digest(number) for number in range(3)] == [first.digest, "", ""]
    assert (tmp_path / "a.jsonl.part").read_bytes() == b'"short"\n'
    again.close()


@pytest.mark.parametrize("which", ["jsonl", "parquet"])
def test_places_that_cannot_be_written(root: Path, tmp_path: Path, which: str) -> None:
    with pytest.raises(OutputError, match=r"This is a folder\. Name a file inside it\."):
        write_sweep(root, **{which: tmp_path})  # type: ignore[arg-type]
    with pytest.raises(OutputError, match=r"Its folder is not there\. Make the folder first"):
        write_sweep(root, **{which: tmp_path / "none" / "a"})  # type: ignore[arg-type]


def test_a_sweep_into_nothing(root: Path) -> None:
    with pytest.raises(
        InputError, match=r"There is no file to write the sweep into\. Name one for lines of JSON or one for a Parquet"
    ):
        write_sweep(root)
