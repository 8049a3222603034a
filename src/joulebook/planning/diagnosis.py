"""A diagnosis pack: numbered records with hidden faults, for training colleagues before they stand in the room.

pack = diagnosis_pack("practice", records=8, seed=4)
question_sheet(pack.items), answer_sheet(pack.items)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from joulebook.engine.report import Finding
from joulebook.errors import InputError
from joulebook.experiments.ramp_codes import CODES
from joulebook.planning.faults import FAULTS
from joulebook.planning.folder import smeared_velocity
from joulebook.planning.rehearse import ALSO_READ_AS, Rehearsal, RehearsedBench, choose_faults, rehearse_benches
from joulebook.render.diagnosis_document import DiagnosisItem
from joulebook.render.diagnosis_picture import draw_record
from joulebook.render.words import input_words

__all__ = ["DiagnosisPack", "diagnosis_pack"]

_SHARE_CLEAN = 0.2
"""One record in five is sound: whoever looks for faults must also learn to say that there is none."""

_CODES = {code.code: code for code in CODES}


@dataclass(frozen=True, slots=True, eq=False)
class DiagnosisPack:
    """A diagnosis pack. rehearsal: the bench folders, with what was hidden. items: what the two sheets say, one for each
    record."""

    rehearsal: Rehearsal
    items: tuple[DiagnosisItem, ...]


def diagnosis_pack(folder: str | Path, *, records: int, seed: int, codes: Sequence[str] = ()) -> DiagnosisPack:
    """Write the numbered records of a pack, a bench folder each with one launch, and return the pack.

    folder: for the records, new or empty. records: how many; about one in five is sound. codes: what to hide, in place of faults
    drawn at random; they are used again where there are more records than codes. Raises InputError for no record or an unknown
    code.
    """
    if records < 1:
        raise InputError(f"A pack of {records} records teaches nothing.", remedy="Ask for one record or more.")
    rng = np.random.default_rng([seed, 0])
    clean = round(_SHARE_CLEAN * records)
    wanted = records - clean
    unknown = [code for code in codes if code not in FAULTS]
    if codes and not unknown:
        given = [codes[i % len(codes)] for i in range(max(wanted, len(codes)))]
        hidden = choose_faults(max(records, len(given)), codes=given, faults=0, rng=rng)
    else:
        hidden = choose_faults(records, codes=unknown, faults=wanted, rng=rng)
    rehearsal = rehearse_benches(folder, hidden=hidden, seed=seed, launches=1, name="record", title="Record")
    return DiagnosisPack(rehearsal, tuple(_item(number, bench) for number, bench in enumerate(rehearsal.benches, start=1)))


def _item(number: int, bench: RehearsedBench) -> DiagnosisItem:
    code = bench.code
    finding = next((each for each in bench.audit.findings if each.code == code), None)
    time, values, quantity = _readings(bench)
    title = f"Record {number}, as the logger shows it"
    picture = draw_record(time, values, name=f"record-{number}", title=title, quantity=quantity, rest=_rest(bench))
    return DiagnosisItem(
        number=number,
        folder=bench.folder.name,
        picture=picture,
        stated=_stated(bench),
        code=code,
        title=_CODES[code].title if code else "The record is sound.",
        changes=_CODES[code].meaning if code else "",
        message=finding.message if finding is not None else "",
        remedy=_remedy(code, finding),
        verdict=bench.audit.verdict.sentence,
        truth=_truth(bench),
        others=tuple(other for other in bench.found if other != code),
        caveat="" if bench.shows or not code else ALSO_READ_AS[code],
    )


def _remedy(code: str, finding: Finding | None) -> str:
    if finding is not None:
        return finding.remedy
    return _CODES[code].remedy if code else ""


def _truth(bench: RehearsedBench) -> str:
    try:
        truth = bench.simulated.pooled()
    except ValueError:
        return ""
    return (
        f"The cart left the stop at {truth['release_speed']:.3f} m/s on a slope of {bench.simulated.design.setup.angle:.2f}° "
        f"and climbed {truth['travel']:.3f} m; {100.0 * truth['relative_difference']:.1f} % of its energy was lost on the way up."
    )


def _readings(bench: RehearsedBench) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], str]:
    """Return what the launch file holds: distances, or speeds where that is all."""
    record = bench.bench.launches[0]
    if not record.velocity_only:
        return record.time, record.distance, "distance from the ranger, m"
    reading = bench.simulated.readings[0]
    return reading.time, smeared_velocity(reading.time, reading.distance), "velocity, m/s"


def _rest(bench: RehearsedBench) -> float | None:
    rest = bench.bench.rest
    if rest is None or rest.velocity_only or not np.isfinite(rest.distance).any():
        return None
    return float(np.nanmedian(rest.distance))


def _stated(bench: RehearsedBench) -> tuple[tuple[str, str], ...]:
    """Return what the bench file says, in the order of a person's interest."""
    rows = []
    for statement in bench.simulated.design.statements:
        if statement.name.startswith(("track.", "cart.mass", "cart.rotating")):
            label = input_words(statement.name).label
            rows.append((label[:1].upper() + label[1:], statement.text()))
    design = bench.simulated.design
    rows.append(("Ranger stands at the", design.stated_placed or "not said"))
    if design.stated_length is not None:
        rows.append(("Length of the track", f"{design.stated_length:.2f} m"))
    rows.append(("Least range of the ranger", f"{design.stated_min_range or 0.15:.2f} m"))
    if design.stated_max_range is not None:
        rows.append(("Largest range of the ranger", f"{design.stated_max_range:.2f} m"))
    names = [record.file for record in bench.bench.launches]
    rows.append(("Records", ", ".join([*([bench.bench.rest.file] if bench.bench.rest else []), *names])))
    return tuple(rows)
