"""The bench page put together from what a group wrote and what it may know."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

from starlette.concurrency import run_in_threadpool

from joulebook.classroom.changes import KINDS, Change, when
from joulebook.classroom.comparing import side_by_side
from joulebook.classroom.own_work import FIELDS
from joulebook.classroom.section import BenchState, Section, is_fixed
from joulebook.classroom.student_view import HintLine, StudentView, view_for_students
from joulebook.engine.house import House
from joulebook.render.contents import compose
from joulebook.render.decimal_sign import with_decimal
from joulebook.render.energy_pictures import draw_joules
from joulebook.render.numbers import value_with_u
from joulebook.render.pictures import Pictures
from joulebook.render.words import quantity_words
from joulebook.web.bench_comparison import own_comparison
from joulebook.web.bench_contexts import BenchPage, Done, Help, Ledger, Problem, RecordRow, SetUp, Status, StepPart
from joulebook.web.bench_set_up import set_up_form
from joulebook.web.bench_status import DONE, FIXED, LOOK, TODO, at_the_end, called
from joulebook.web.bench_steps import HEADINGS, commits, page_order, step_part, still_missing
from joulebook.web.bench_traces import READABLE, trace_for
from joulebook.web.room import Room

__all__ = ["BETWEEN_HINTS", "Shown", "bench_page", "hint_wait"]

BETWEEN_HINTS = timedelta(minutes=2)
"""How long a group works by itself between two hints that it asked for."""

_NOT_THEIRS = ("work-committed", "undone", "hint-released")


@dataclass(frozen=True, slots=True)
class Shown:
    """What one showing of the page is about.

    asked: the query of its address. problem: why the last thing could not be done. step: the part that it concerns.
    typed: texts of that part that could not be kept. pasted: a text that could not be kept as a record. name: one that could not.
    did: number of the change that was just made. wait: seconds to wait for a judgement.
    """

    asked: Mapping[str, str] = field(default_factory=dict)
    problem: Problem | None = None
    step: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)
    pasted: str = ""
    name: str = ""
    did: int = 0
    wait: float = 0.4


async def bench_page(room: Room, section: str, number: int, shown: Shown) -> BenchPage:
    """Return the page of a bench as its students may see it."""
    judged = await room.judgement(section, number, wait=shown.wait)
    whole = await room.section(section)
    bench, house = whole.benches[number], whole.house
    view = view_for_students(whole, bench, judged)
    changes = await run_in_threadpool(room.store.changes, section)
    mine = [change for change in changes if change.bench == number]
    trace = await trace_for(room, section, bench, view, shown.asked, decimal=house.decimal)
    order = page_order(house)
    parts: dict[str, StepPart] = {
        step: step_part(step, bench, house, closed=view.closed, typed=shown.typed if shown.step == step else None)
        for step in order
        if step in FIELDS and (step != "comparison" or bench.committed_at or not commits(house))
    }
    set_up = set_up_form(bench, view, typed=shown.typed if shown.step == "set-up" else None, decimal=house.decimal)
    records_status = _records_status(view, house)
    missing = still_missing(bench, house)
    own = None
    if bench.committed_at:
        own = await run_in_threadpool(own_comparison, bench, house)
    states = _states(order, parts, set_up, records_status, bench)
    following = _next_step(states) if not view.closed else None
    done = _done(shown.did, mine, whole)
    opened = {shown.step, done.step if done else "", following or "", str(shown.asked.get("step", ""))}
    opened |= {step for step, status in states.items() if status.name == "look"}
    return BenchPage(
        number=number, name=bench.name, section_title=whole.title, key=f"{section}-{number}", closed=view.closed,
        committed_at=bench.committed_at, commit=commits(house), commit_missing=missing, steps=order,
        opened=frozenset(opened - {""}), next_step=(following, HEADINGS[following]) if following else None,
        set_up=_at_the_end(set_up, view.closed), records_status=records_status,
        records=tuple(RecordRow(line, trace is not None and line.id == trace.record, line.state in READABLE) for line in view.records),
        has_rest=bench.rest is not None, launches_wanted=house.launches, trace=trace, parts=parts, own=own,
        help=_help(bench, view, mine, whole), ledger=await run_in_threadpool(_ledger, bench, view, house),
        undo=_undo(mine, whole, bench) if not view.closed else None, checked=view.checked, problem=shown.problem,
        problem_step=shown.step if shown.problem else "", done=done,
        pasted=shown.pasted, typed_name=shown.name or bench.name,
    )  # fmt: skip


def hint_wait(changes: list[Change], void: frozenset[int], *, now: datetime) -> datetime | None:
    """Return when a bench may ask for its next hint, None for now. changes: the bench's. now: UTC, with its zone."""
    asked = [each for each in changes if each.kind == "hint-released" and each.actor == "bench" and each.seq not in void]
    if not asked:
        return None
    until = when(asked[-1].at) + BETWEEN_HINTS
    # A clock that was set back must not close the door for longer than that.
    return until if now < until <= now + BETWEEN_HINTS else None


def _at_the_end(set_up: SetUp, closed: bool) -> SetUp:
    return replace(set_up, status=at_the_end(set_up.status)) if closed else set_up


def _states(
    order: tuple[str, ...], parts: Mapping[str, StepPart], set_up: SetUp, records: Status, bench: BenchState
) -> dict[str, Status]:
    states = {"set-up": set_up.status, "records": records, "commit": FIXED if bench.committed_at else TODO}
    return {step: parts[step].status if step in parts else states.get(step, called(DONE, "")) for step in order}


def _next_step(states: Mapping[str, Status]) -> str | None:
    """Return what comes next: a step that needs a look, else the first that was not begun, else the first that is not whole."""
    return next((step for wanted in ("look", "todo", "begun") for step, status in states.items() if status.name == wanted), None)


def _records_status(view: StudentView, house: House) -> Status:
    counted = [line for line in view.records if line.state != "aside"]
    if not counted:
        return TODO
    for state, word in (("unread", "a file could not be read"), ("repeat", "one to make again"), ("look", "look again")):
        if any(line.state == state for line in counted):
            return called(LOOK, word)
    if any(line.state == "checking" for line in counted):
        return Status("begun", "…", "being checked")
    launches = sum(1 for line in counted if line.role == "launch")
    rest = any(line.role == "rest" for line in counted)
    word = f"{launches} {'launch' if launches == 1 else 'launches'}{' and rest' if rest else ', no rest record'}"
    return called(DONE, word) if launches and rest else Status("begun", "◔", word)


def _help(bench: BenchState, view: StudentView, mine: list[Change], whole: Section) -> Help:
    topics: dict[int, list[HintLine]] = {}
    for hint in view.hints:
        topics.setdefault(hint.topic, []).append(hint)
    until = hint_wait(mine, whole.void, now=datetime.now(UTC))
    shown = "" if until is None else until.isoformat()
    return Help(bench.help_at, tuple(map(tuple, topics.values())), view.next_hints > 0, shown)


def _ledger(bench: BenchState, view: StudentView, house: House) -> Ledger | None:
    """Return what the teacher has opened, None before."""
    if not view.ledger_opened:
        return None
    if view.ledger is None:
        reason = "Your records are still being checked." if not view.checked else "Your records or set-up readings give no ledger yet."
        return Ledger(problem=reason)
    audit = view.ledger
    told = compose(audit, pictures=Pictures(None, None, None, None))
    ours = []
    for line in side_by_side(bench, audit, decimal=house.decimal):
        words = quantity_words(line.name)
        own = line.written or "–"
        if line.written and line.give_or_take:
            own += f", u = {line.give_or_take}" if line.name.endswith("_energy") else f" ± {line.give_or_take} at most"
        label = f"{words.label[:1].upper()}{words.label[1:]}, {words.unit}"
        theirs = value_with_u(line.name, line.audit).removesuffix(f" {words.unit}") if line.audit else "–"
        ours.append((label, own, with_decimal(theirs, house.decimal)))
    drawn = draw_joules(audit, name="joules")
    return Ledger(with_decimal(told.verdict, house.decimal), tuple(ours), told.ledger, (drawn,) if drawn else ())


def _done(seq: int, mine: list[Change], whole: Section) -> Done | None:
    change = next((each for each in mine if each.seq == seq and each.actor == "bench"), None)
    if change is None:
        return None
    undoable = KINDS[change.kind].undoable and change.kind not in _NOT_THEIRS and change.seq not in whole.void and not whole.closed
    return Done(_step_of(change, mine), _say(change, mine), change.at, change.seq if undoable else 0)


def _undo(mine: list[Change], whole: Section, bench: BenchState) -> tuple[int, str] | None:
    """Return the group's own last change that can still be undone, with its words."""
    for change in reversed(mine):
        if change.actor != "bench" or change.seq in whole.void or change.kind in _NOT_THEIRS or not KINDS[change.kind].undoable:
            continue
        if bench.committed_at and is_fixed(change):
            continue
        return change.seq, _say(change, mine)
    return None


def _step_of(change: Change, mine: list[Change]) -> str:
    if change.kind == "work-saved":
        return str(change.body.get("step", ""))
    if change.kind == "undone":
        target = next((each for each in mine if each.seq == change.body.get("change")), None)
        return "" if target is None else _step_of(target, mine)
    places = {"values-set": "set-up", "work-committed": "commit", "bench-named": "name"}
    if change.kind in ("hint-released", "help-asked", "help-given"):
        return "help"
    return "records" if change.kind.startswith("record-") else places.get(change.kind, "")


def _say(change: Change, mine: list[Change]) -> str:
    """Return what a change did in a student's words: no code of a finding is ever in them."""
    body = change.body
    named = {f"r{each.seq}": str(each.body.get("name", "")) for each in mine if each.kind == "record-added"}
    record = named.get(str(body.get("record", "")), "the record")
    if change.kind == "undone":
        target = next((each for each in mine if each.seq == body.get("change")), None)
        return f"Undone ({_say(target, mine)})" if target else "Undone"
    said = {
        "bench-named": f"You call yourselves “{body.get('name')}”" if body.get("name") else "You go by your number",
        "values-set": "Set-up readings saved",
        "record-added": f"{body.get('name')} added",
        "record-discarded": f"{record} set aside",
        "record-restored": f"{record} taken back in",
        "record-role-set": f"{record} is {'the rest' if body.get('role') == 'rest' else 'a launch'} record",
        "work-saved": f"“{HEADINGS.get(str(body.get('step')), '')}” saved",
        "work-committed": "Committed",
        "hint-released": "Here is a hint",
        "help-asked": "The teacher was called",
        "help-given": "The call was taken back",
    }
    return said.get(change.kind, "Saved")

