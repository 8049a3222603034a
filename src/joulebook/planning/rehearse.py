"""A rehearsal: realistic bench folders, clean or with a hidden fault, and what was hidden where.

Every folder is written as loggers write it, read back and audited, and drawn again when the audit does not find what was hidden:
a rehearsal whose fault nobody can find teaches nothing.
"""

from __future__ import annotations

import importlib.util
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType

import numpy as np

from joulebook.analysis import audit_bench
from joulebook.engine.bench import Bench
from joulebook.engine.house import DEFAULT_HOUSE, House
from joulebook.engine.report import Audit
from joulebook.errors import InputError, JoulebookError, OutputError
from joulebook.planning.design import Design, random_design
from joulebook.planning.faults import FAULTS
from joulebook.planning.folder import DIALECTS, write_bench_folder
from joulebook.planning.simulate import SimulatedBench, simulate_bench
from joulebook.planning.stated_design import StatedBench, stated_design
from joulebook.readers.bench_file import read_bench
from joulebook.readers.bench_text import write_bench
from joulebook.readers.house_file import HOUSE_FILE

__all__ = ["ALSO_READ_AS", "Rehearsal", "RehearsedBench", "choose_faults", "rehearse_bench", "rehearse_benches"]

ALSO_READ_AS: Mapping[str, str] = MappingProxyType(
    {
        "no-launch": "A cart that stands cocked and is moved by hand at the end can look like one that was launched and caught.",
        "caught": "Caught before its turn, a cart leaves no climb and turn at all, and the audit says no-launch instead.",
        "rest-mismatch": "A shift by the stroke of the plunger looks like a rest record of the cocked cart, and is told as that.",
        "soft-stop": "A soft stop pushes for so long that the launch can look like a hand's push.",
    }
)
"""Faults that a record can hold without the audit naming them so, each with the reason."""

_DRAWS = 25


@dataclass(frozen=True, slots=True, eq=False)
class RehearsedBench:
    """One bench of a rehearsal.

    folder: its folder. code: the hidden fault, "" for a clean bench. dialect: of its files. simulated: with its truth.
    bench, audit: as read back from the folder. draws: how often it was drawn until the audit found what was hidden.
    """

    folder: Path
    code: str
    dialect: str
    simulated: SimulatedBench
    bench: Bench
    audit: Audit
    draws: int

    @property
    def found(self) -> tuple[str, ...]:
        """The codes that the audit names, notes left out unless one of them is what was hidden."""
        codes = [finding.code for finding in self.audit.findings if finding.severity != "note" or finding.code == self.code]
        return tuple(dict.fromkeys(codes))

    @property
    def shows(self) -> bool:
        """Whether the audit finds what was hidden; for a clean bench, whether it asks nobody to look."""
        return self.code in self.found if self.code else not self.found

    def to_dict(self) -> dict[str, object]:
        """Return what a teacher's answer file says of this bench."""
        design = self.simulated.design
        try:
            truth: dict[str, float] = self.simulated.pooled()
        except ValueError:
            truth = {}
        return {
            "folder": self.folder.name,
            "title": self.bench.title,
            "hidden": self.code or None,
            "found": list(self.found),
            "dialect": self.dialect,
            "launches": design.launches,
            "true_set_up": {
                "mass_kg": design.setup.mass,
                "angle_deg": design.setup.angle,
                "rolling_resistance": design.setup.rolling_resistance,
                "release_speed_m_s": design.speed,
                "rate_Hz": design.ranger.rate,
                "placed": design.ranger.placed,
                "distance_scale": design.ranger.scale,
            },
            "truth": truth,
            "verdict": self.audit.verdict.sentence,
            "draws": self.draws,
        }


@dataclass(frozen=True, slots=True, eq=False)
class Rehearsal:
    """A rehearsal: its folder, its seed and its benches; `to_dict()` is the answer file `joulebook/rehearsal-1`."""

    folder: Path
    seed: int
    benches: tuple[RehearsedBench, ...]

    def to_dict(self) -> dict[str, object]:
        """Return the answer file as plain JSON types."""
        return {
            "format": "joulebook/rehearsal-1",
            "folder": self.folder.name,
            "seed": self.seed,
            "benches": [bench.to_dict() for bench in self.benches],
        }


def choose_faults(count: int, *, codes: Sequence[str], faults: int, rng: np.random.Generator) -> list[str]:
    """Return what each of so many benches hides, "" for nothing: the codes given, and so many more at random.

    Raises InputError for an unknown code, or when there are more faults than benches.
    """
    unknown = [code for code in codes if code not in FAULTS]
    if unknown:
        import difflib

        near = difflib.get_close_matches(unknown[0], FAULTS, n=2)
        hint = f"Did you mean {' or '.join(near)}?" if near else "`joulebook findings` lists them."
        raise InputError(f"There is no fault {unknown[0]!r}.", remedy=hint)
    if len(codes) + faults > count:
        raise InputError(
            f"{len(codes) + faults} faults do not fit into {count} {'bench' if count == 1 else 'benches'}; each takes one.",
            remedy="Ask for more benches or fewer faults.",
        )
    others = [code for code in FAULTS if code not in codes]
    drawn: list[str] = []
    while len(drawn) < faults:
        drawn += [others[i] for i in rng.permutation(len(others))] or list(FAULTS)
    hidden = [*codes, *drawn[:faults]]
    hidden += [""] * (count - len(hidden))
    return [hidden[i] for i in rng.permutation(count)]


def rehearse_benches(
    folder: str | Path,
    *,
    hidden: Sequence[str],
    stated: Sequence[StatedBench] = (),
    seed: int,
    dialect: str = "mixed",
    launches: int | None = None,
    name: str = "bench",
    title: str = "Bench",
    house: House = DEFAULT_HOUSE,
    house_file: str | None = None,
) -> Rehearsal:
    """Write a folder for each bench and return the rehearsal.

    folder: where they are written; it must be empty or new. hidden: the code that each bench hides, "" for a clean one.
    stated: the benches' stated set-ups, as many as `hidden`, or none for random ones. dialect: a name in DIALECTS or "mixed".
    launches: how many each has. name, title: what folders and benches are called, with their number.
    house: rules that stand where a stated set-up says nothing. house_file: copied into the folder as house.toml.
    Raises InputError for what does not fit together and for a fault that a stated set-up cannot show, OutputError for a folder in
    use.
    """
    root = Path(folder)
    if dialect != "mixed" and dialect not in DIALECTS:
        raise InputError(f"There is no dialect {dialect!r}.", remedy=f"Choose mixed or one of {', '.join(DIALECTS)}.")
    if stated and len(stated) != len(hidden):
        raise InputError(f"{len(stated)} stated set-ups do not go with {len(hidden)} benches.", remedy="Give one for each.")
    if root.exists() and (not root.is_dir() or any(root.iterdir())):
        raise OutputError("This place is in use already.", source=str(root), remedy="Name a new or an empty folder.")
    digits = max(len(str(len(hidden))), 2)
    benches = []
    for number, code in enumerate(hidden, start=1):
        benches.append(
            rehearse_bench(
                root / f"{name}-{number:0{digits}d}", code, stated=stated[number - 1] if stated else None, seed=(seed, number),
                dialect=dialect, launches=launches, title=f"{title} {number}", house=house,
            )
        )  # fmt: skip
    if house_file is not None:
        try:
            shutil.copyfile(house_file, root / HOUSE_FILE)
        except OSError as error:
            raise OutputError(
                f"The house rules cannot be copied: {error.strerror or error}.", source=str(root / HOUSE_FILE),
                remedy="Choose a folder that you may write to.",
            ) from error  # fmt: skip
    return Rehearsal(root, seed, tuple(benches))


def rehearse_bench(
    folder: Path,
    code: str,
    *,
    stated: StatedBench | None = None,
    seed: tuple[int, ...],
    dialect: str = "mixed",
    launches: int | None = None,
    title: str = "Bench",
    house: House = DEFAULT_HOUSE,
) -> RehearsedBench:
    """Write one bench folder and return what was read back and found in it.

    It is drawn again, from the next seed, until the audit finds what was hidden, at most 25 times; a fault of ALSO_READ_AS may
    then stay unfound. Raises InputError for any other, and for a fault that the stated set-up cannot show.
    """
    last: RehearsedBench | None = None
    for draw in range(_DRAWS):
        rng = np.random.default_rng([*seed, draw])
        if stated is None:
            design = replace(random_design(rng, launches=launches), title=title)
        else:
            design = stated_design(stated, rng, launches=launches, house=house)
        design = _faulty(design, code, rng, kept=stated is not None)
        chosen = _dialect(dialect, code, rng)
        simulated = simulate_bench(design, rng)
        _write(simulated, folder, chosen, stated)
        try:
            bench = read_bench(folder, house=house)
            audit = audit_bench(bench, method="linear")
        except JoulebookError:  # so few samples that no reader takes the file for a record, say: no fault to be found in it
            shutil.rmtree(folder)
            continue
        last = RehearsedBench(folder, code, chosen, simulated, bench, audit, draw + 1)
        if last.shows:
            return last
        shutil.rmtree(folder)
    if last is not None and code in ALSO_READ_AS:
        _write(last.simulated, folder, last.dialect, stated)
        return last
    what = f"the fault {code} does not show" if code else "no record without a finding could be drawn"
    raise InputError(
        f"{stated.title if stated else title}: in {_DRAWS} draws {what}.",
        remedy="Choose another fault, or another set-up for this bench.",
    )


def _write(simulated: SimulatedBench, folder: Path, dialect: str, stated: StatedBench | None) -> None:
    """Write a bench folder, with the house rules that its own bench file had."""
    path = write_bench_folder(simulated, folder, dialect=dialect)
    if stated is not None and stated.house:
        with path.open("a", encoding="utf-8", newline="\n") as stream:
            stream.write("\n" + write_bench({"house": dict(stated.house)}))


def _faulty(design: Design, code: str, rng: np.random.Generator, *, kept: bool) -> Design:
    """Return the design with its fault. kept: the stated set-up must stay."""
    if not code:
        return design
    changed = FAULTS[code](design, rng)
    if kept and changed.setup.mass != design.setup.mass:
        raise InputError(
            f"{design.title}: the fault {code} does not show on this set-up; it takes a longer climb.",
            remedy="Leave it out, or launch more strongly on a longer track.",
        )
    return replace(changed, title=design.title)


def _dialect(wanted: str, code: str, rng: np.random.Generator) -> str:
    if wanted != "mixed":
        return wanted
    # A bare file cannot say that its numbers are speeds, and workbooks are written with an optional package.
    names = [name for name in DIALECTS if not (name == "bare" and code == "velocity-only")]
    if importlib.util.find_spec("xlsxwriter") is None:
        names.remove("workbook")
    return names[int(rng.integers(len(names)))]
