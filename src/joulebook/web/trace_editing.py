"""Setting release, apex and phase edges of a launch by hand: what the form holds, what would follow, and keeping it.

Every handle is a field of a plain form first; `static/edges.js` makes it a slider on the picture and asks for what would follow.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.responses import Response

from joulebook.classroom.changes import Draft
from joulebook.classroom.judging import Judgement
from joulebook.classroom.section import BenchState, HeldRecord, Section
from joulebook.engine.bench import Override
from joulebook.engine.report import LaunchAudit, Phase
from joulebook.errors import Fault, InputError
from joulebook.render.contents import compose
from joulebook.render.drawing import NARROW, WIDE
from joulebook.render.pictures import Pictures, main_launch
from joulebook.render.words import PHASE_WORDS
from joulebook.uncertainty import Quantity
from joulebook.web.access import Teacher
from joulebook.web.bench_contents import finding_texts
from joulebook.web.board_contexts import Border, Handle, Preview, TraceEditor
from joulebook.web.house_sign import of_house
from joulebook.web.pages import show
from joulebook.web.section_head import back_to

__all__ = ["bench_of", "editor_for", "read_override", "router"]

router = APIRouter(include_in_schema=False)

_FREE = ("climb", "descent")
_MOST_BORDERS = 40
_NO_PICTURES = Pictures(None, None, None, None)
_OWN = Override()
_SAME = 6e-4  # s; fields show milliseconds

Edge = tuple[str, float, float]


@router.post("/sections/{section}/benches/{bench}/preview")
async def preview(request: Request, room: Teacher, section: str, bench: int) -> Response:
    """What would follow from the times in the form: a part of a page. Nothing is kept."""
    async with request.form(max_fields=200, max_files=0) as form:
        whole = await room.section(section)
        held = _launch_of(bench_of(whole, bench), str(form.get("record", "")))
        try:
            override = read_override(form, before=held.override)
        except InputError as error:
            told = of_house(" ".join([error.message, *map(str, error.faults)]), whole)
            return show(request, Preview("", None, (), "", problem=told, remedy=error.remedy))
    judged = await room.preview(section, bench, held.id, override)
    return show(request, await run_in_threadpool(lambda: of_house(_preview_of(judged, held), whole)))


@router.post("/sections/{section}/benches/{bench}/override")
async def keep_override(request: Request, room: Teacher, section: str, bench: int) -> Response:
    """Keep the times in the form, or go back to those that joulebook finds."""
    async with request.form(max_fields=200, max_files=0) as form:
        state = bench_of(await room.section(section), bench)
        held = _launch_of(state, str(form.get("record", "")))
        override = Override() if form.get("own") else read_override(form, before=held.override)
    body: dict[str, object] = {"record": held.id}
    if override.release is not None:
        body["release"] = override.release
    if override.apex is not None:
        body["apex"] = override.apex
    if override.edges:
        body["edges"] = [list(edge) for edge in override.edges]
    change = await room.append(section, Draft("override-set", "teacher", bench, body))
    return back_to(section, f"{bench} {held.id}", change.seq)


def bench_of(whole: Section, bench: int) -> BenchState:
    """Return a bench of a section. Raises InputError (code "no-section") when there is none."""
    if bench not in whole.benches:
        what = f"There is no bench {bench} in this section; it has {len(whole.benches)}."
        raise InputError(what, remedy="Look at the board.", code="no-section")
    return whole.benches[bench]


def _launch_of(bench: BenchState, record: str) -> HeldRecord:
    """Return a launch record that counts. Raises InputError (code "no-section") when there is none."""
    found = next((held for held in bench.launches if held.id == record), None)
    if found is None:
        what = f"Bench {bench.number} has no launch record {record[:40]!r} that counts."
        raise InputError(what, remedy="Reload the page: it may have been set aside or moved.", code="no-section")
    return found


def editor_for(bench: BenchState, judged: Judgement | None, record: str) -> TraceEditor | None:
    """Return what is needed to set a launch's times by hand, None when there is no trace to do it on.

    record: the launch, "" for the one to look at first.
    """
    from joulebook.render.trace_pictures import draw_trace, time_axis

    if judged is None or judged.audit is None:
        return None
    by_record = {judged.names.get(launch.file, ""): launch for launch in judged.audit.launches}
    first = main_launch(judged.audit)
    launch = by_record.get(record) or first
    if launch is None or launch.series is None:
        return None
    held = bench.record(judged.names.get(launch.file, ""))
    picture, wide, narrow = draw_trace(launch, name="trace"), time_axis(launch, WIDE), time_axis(launch, NARROW)
    if held is None or picture is None or wide is None or narrow is None:
        return None
    time = launch.series.time[np.isfinite(launch.series.time)]
    steps = np.diff(time)
    usual = float(np.median(steps)) if steps.size and np.median(steps) > 0 else 0.01
    return TraceEditor(
        record=held.id, name=held.name, picture=picture,
        release=_handle(launch, "release", held.override.release), apex=_handle(launch, "apex", held.override.apex),
        borders=_borders(launch.phases, (wide.low, wide.high)),
        step=usual, start=wide.low, end=wide.high, low=float(time.min()), high=float(time.max()),
        wide=(wide.start / WIDE.width, wide.end / WIDE.width), narrow=(narrow.start / NARROW.width, narrow.end / NARROW.width),
        by_hand=held.override != Override(),
    )  # fmt: skip


def read_override(form: FormData, *, before: Override = _OWN) -> Override:
    """Return the override that a form asks for. before: the one in force.

    Of the phases only those whose borders were moved, or that were set by hand before, make an edge. A climb or descent that
    is set bars every sample before the first such climb, or after the last such descent: the outermost ones go along, so that
    moving one border never takes other hops out of the fit.
    Raises InputError with every field that is not understood.
    """
    faults: list[Fault] = []
    release, apex = (_seconds(str(form.get(name, "")), name, faults) for name in ("release", "apex"))
    if release is not None and apex is not None and apex <= release:
        faults.append(
            Fault("apex", f"{apex:g} s is not after the release at {release:g} s.", "The apex comes after the release.")
        )
    edges = _edges(form, before.edges, faults)
    if faults:
        raise InputError("These times cannot be used.", remedy="Write seconds on the record's clock.", faults=faults)
    return Override(release, apex, edges)


def _preview_of(judged: Judgement, held: HeldRecord) -> Preview:
    from joulebook.render.trace_pictures import draw_trace

    audit = judged.ledger
    launches = () if judged.audit is None else judged.audit.launches
    launch = next((each for each in launches if judged.names.get(each.file) == held.id), None)
    picture = draw_trace(launch, name="trace") if launch is not None else None
    if audit is None:
        problem = " ".join([judged.problem, *map(str, judged.faults)]).strip()
        return Preview("", None, finding_texts(judged), "", picture, problem, judged.remedy, stood_in=judged.stood_in)
    report = compose(audit, pictures=_NO_PICTURES)
    return Preview(report.verdict, report.ledger, report.findings, report.findings_sentence, picture)


def _handle(launch: LaunchAudit, name: str, by_hand: float | None) -> Handle | None:
    found = launch.quantities.get(f"{name}_time")
    value = by_hand if by_hand is not None else found.value if isinstance(found, Quantity) else None
    if value is None:
        # A launch without a ledger of its own still shows where its climb begins and ends.
        climb = next((phase for phase in launch.phases if phase.kind == "climb"), None)
        if climb is None:
            return None
        value = climb.start_s if name == "release" else climb.end_s
    return Handle(name, name.capitalize(), value, f"{value:.3f}", by_hand is not None)


def _borders(phases: Sequence[Phase], window: tuple[float, float]) -> tuple[Border, ...]:
    """Return the borders between phases in the picture; between climb and descent the motion itself says where it turns."""
    found: list[Border] = []
    often: Counter[str] = Counter()
    for before, after in pairwise(phases):
        at = after.start_s
        if not window[0] <= at <= window[1]:
            continue
        label = " to ".join(PHASE_WORDS[each.kind].label for each in (before, after))
        often[label] += 1
        found.append(
            Border(
                number=len(found), before=before.kind, after=after.kind,
                label=f"{label} {often[label]}" if often[label] > 1 else label,
                start=before.start_s, at=at, end=after.end_s, text=f"{at:.3f}",
                turning=before.kind in _FREE and after.kind in _FREE,
            )
        )  # fmt: skip
    return tuple(found[:_MOST_BORDERS])


def _edges(form: FormData, before: Sequence[Edge], faults: list[Fault]) -> tuple[Edge, ...]:
    """Return the phases that were set. The form holds, for each phase in order, kind, start and end as joulebook showed them, and
    for each border between two of them where it is now."""
    kinds = [str(value) for value in form.getlist("kind")][: _MOST_BORDERS + 1]
    ends = [str(value) for value in form.getlist("end")]
    starts = [str(value) for value in form.getlist("start")]
    now = [str(value) for value in form.getlist("border")]
    if not len(kinds) == len(starts) == len(ends) or (kinds and len(now) != len(kinds) - 1):
        faults.append(Fault("border", "the list of phases is not whole.", "Reload the page."))
        return ()
    if any(kind not in PHASE_WORDS for kind in kinds):
        faults.append(Fault("border", "there is a phase of an unknown kind.", "Reload the page."))
        return ()
    spans = [[_number(start), _number(end)] for start, end in zip(starts, ends, strict=True)]
    if any(not math.isfinite(value) for span in spans for value in span):
        faults.append(Fault("border", "the list of phases holds no numbers.", "Reload the page."))
        return ()
    known = [place for place, span in enumerate(spans) if any(_alike((kinds[place], span[0], span[1]), edge) for edge in before)]
    touched = set(known)
    for place, text in enumerate(now):
        at = _seconds(text, f"{kinds[place]} to {kinds[place + 1]}", faults)
        was = spans[place + 1][0]
        if at is None or abs(at - was) < _SAME:
            continue
        touched |= {place, place + 1}
        spans[place][1] = spans[place + 1][0] = at
    for place in sorted(touched):
        if not spans[place][0] < spans[place][1]:
            what = f"{kinds[place]} would end at {spans[place][1]:g} s, before it starts at {spans[place][0]:g} s."
            faults.append(Fault("border", what, "Move its borders apart."))
    for kind, outermost in (("climb", 0), ("descent", -1)):
        places = [place for place, each in enumerate(kinds) if each == kind]
        if touched.intersection(places):
            touched.add(places[outermost])
    made = [(kinds[place], spans[place][0], spans[place][1]) for place in sorted(touched)]
    # What was set outside the picture stays as it is.
    low, high = (spans[0][0], spans[-1][1]) if spans else (math.inf, -math.inf)
    outside = [edge for edge in before if edge[2] <= low or edge[1] >= high]
    return tuple(sorted([*made, *outside], key=lambda edge: edge[1:]))


def _alike(one: Edge, other: Edge) -> bool:
    return one[0] == other[0] and abs(one[1] - other[1]) < _SAME and abs(one[2] - other[2]) < _SAME


def _seconds(text: str, where: str, faults: list[Fault]) -> float | None:
    written = text.strip().replace("−", "-")
    if not written:
        return None
    value = _number(written.removesuffix("s").strip().replace(",", "."))
    if not math.isfinite(value) or abs(value) > 1e6:
        faults.append(Fault(where, f"“{written[:30]}” is no time in seconds.", "Write a number such as 1.25."))
        return None
    return value


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan
