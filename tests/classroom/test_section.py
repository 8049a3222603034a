"""A section is the sum of its changes: each kind, what it refuses, and undoing."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.classroom.ledger_of_changes import Ledger

from joulebook.classroom.changes import KINDS, Change, Draft, check_draft
from joulebook.classroom.section import LATE_SECONDS, MOST_BENCHES, MOST_RECORDS, advance, check, missing_for_commit, play
from joulebook.engine.bench import Override
from joulebook.errors import InputError

WORK = {
    "calculation": {"kinetic_energy": "0.31", "potential_energy": "0.28"},
    "uncertainty": {"kinetic_energy_u": "0.02", "potential_energy_u": "0.03"},
    "claim": {"claim": "conserved"},
}


def _worked(ledger: Ledger, bench: int = 1) -> None:
    for step, fields in WORK.items():
        ledger.do("work-saved", bench, "bench", step=step, fields=fields)


def test_a_new_section_has_its_benches_and_rules() -> None:
    ledger = Ledger(4, house={"comparison": {"tolerance": "3 %"}}, note="room 12")
    assert list(ledger.section.benches) == [1, 2, 3, 4]
    assert ledger.section.house.tolerance == pytest.approx(0.03)
    assert (ledger.section.title, ledger.section.note, ledger.section.seq) == ("Second period", "room 12", 1)


def test_rules_title_and_benches_can_change() -> None:
    ledger = Ledger(2)
    ledger.do("rules-set", house={"numbers": {"decimal": "comma"}})
    ledger.do("renamed", title="Third period")
    ledger.do("bench-added", 3)
    assert (ledger.section.house.decimal, ledger.section.title, len(ledger.section.benches)) == (",", "Third period", 3)


def test_set_up_readings_are_joined_and_a_blank_takes_one_away() -> None:
    ledger = Ledger()
    ledger.do("values-planned", 1, values={"track.angle": "8 deg", "sensor.placed": "top"})
    ledger.do("values-set", 1, "bench", values={"cart.mass": "0.25 kg", "track.angle": "7.9 deg"}, how={"cart.mass": "balance"})
    ledger.do("values-set", 1, "bench", values={"track.angle": " "})
    bench = ledger.section.benches[1]
    assert bench.values == {"cart.mass": "0.25 kg"} and bench.how == {"cart.mass": "balance"}
    assert bench.planned == {"track.angle": "8 deg", "sensor.placed": "top"}


def test_records_are_kept_in_order_and_the_last_rest_record_counts() -> None:
    ledger = Ledger()
    first, launch, second = ledger.add(1, "rest.csv", "rest"), ledger.add(1, "a.csv"), ledger.add(1, "rest-2.csv", "rest", b"y")
    bench = ledger.section.benches[1]
    assert bench.rest is not None and bench.rest.id == second
    assert [each.id for each in bench.launches] == [launch]
    ledger.do("record-discarded", 1, "bench", record=second, reason="the cart was cocked")
    after = ledger.section.benches[1]
    assert after.rest is not None and after.rest.id == first
    assert after.record(second) is not None and after.record(second).reason == "the cart was cocked"  # type: ignore[union-attr]
    ledger.do("record-restored", 1, record=second)
    assert ledger.section.benches[1].rest.id == second  # type: ignore[union-attr]


def test_a_record_changes_its_role_and_its_bench() -> None:
    ledger = Ledger()
    record = ledger.add(1, "a.csv")
    ledger.do("record-role-set", 1, "bench", record=record, role="rest")
    assert ledger.section.benches[1].rest is not None
    ledger.do("record-moved", 1, record=record, to=3)
    assert not ledger.section.benches[1].records
    assert [each.id for each in ledger.section.benches[3].records] == [record]


def test_an_override_is_set_and_taken_back() -> None:
    ledger = Ledger()
    record = ledger.add(1, "a.csv")
    ledger.do("override-set", 1, record=record, release=1.13, apex=1.7, edges=[["climb", 1.2, 1.6]])
    assert ledger.section.benches[1].records[0].override == Override(1.13, 1.7, (("climb", 1.2, 1.6),))
    ledger.do("override-set", 1, record=record)
    assert ledger.section.benches[1].records[0].override == Override()


def test_committing_needs_both_energies_their_uncertainties_and_the_claim() -> None:
    ledger = Ledger()
    assert len(missing_for_commit(ledger.section.benches[1])) == 5
    with pytest.raises(InputError, match=r"Still to be filled in: .*KE.*, .*PE.*, .*, the claim"):
        ledger.do("work-committed", 1, "bench")
    _worked(ledger)
    ledger.do("work-committed", 1, "bench")
    assert ledger.section.benches[1].committed_at
    with pytest.raises(InputError, match="committed already"):
        ledger.do("work-committed", 1, "bench")


def test_what_was_committed_is_fixed_until_the_teacher_opens_it() -> None:
    ledger = Ledger()
    _worked(ledger)
    ledger.do("work-committed", 1, "bench")
    with pytest.raises(InputError, match=r"“claim” was committed"):
        ledger.do("work-saved", 1, "bench", step="claim", fields={"claim": "loss"})
    with pytest.raises(InputError, match="no longer be changed"):
        ledger.do("undone", 1, "bench", change=ledger.changes[-2].seq)
    ledger.do("work-saved", 1, "bench", step="losses", fields={"loss_where": "rolling"})
    ledger.do("work-reopened", 1)
    ledger.do("work-saved", 1, "bench", step="claim", fields={"claim": "loss"})
    assert ledger.section.benches[1].work["claim"].fields == {"claim": "loss"}
    with pytest.raises(InputError, match="committed nothing yet"):
        ledger.do("work-reopened", 1)


def test_the_bell_stops_benches_and_not_the_teacher() -> None:
    ledger = Ledger()
    ledger.do("help-asked", 1, "bench")
    ledger.do("bell-rung")
    with pytest.raises(InputError, match="The lesson is over"):
        ledger.do("values-set", 1, "bench", values={"cart.mass": "0.25 kg"})
    with pytest.raises(InputError, match="The lesson is over"):
        ledger.do("undone", 1, "bench", change=2)
    ledger.do("noted", 1, text="spring was loose")
    ledger.do("bell-taken-back")
    ledger.do("values-set", 1, "bench", values={"cart.mass": "0.25 kg"})


def test_what_was_under_way_at_the_bell_is_still_taken_and_marked_as_late() -> None:
    ledger = Ledger()
    ledger.do("work-saved", 1, "bench", step="predict", fields={"prediction": "less"})
    ledger.do("bell-rung")
    bell = datetime.fromisoformat(ledger.section.closed_at)
    inside = (bell + timedelta(seconds=LATE_SECONDS)).isoformat()
    outside = (bell + timedelta(seconds=LATE_SECONDS + 1)).isoformat()
    typed = Draft("work-saved", "bench", 1, {"step": "claim", "fields": {"claim": "loss"}})
    readings = Draft("values-set", "bench", 1, {"values": {"cart.mass": "0.25 kg"}})
    for draft in (typed, readings):
        check(ledger.section, draft, now=inside)
        with pytest.raises(InputError, match="The lesson is over"):
            check(ledger.section, draft, now=outside)
    for draft in (Draft("bench-named", "bench", 1, {"name": "Comets"}), Draft("help-asked", "bench", 1)):
        with pytest.raises(InputError, match="The lesson is over"):
            check(ledger.section, draft, now=inside)
    change = Change(ledger.section.seq + 1, inside, typed.kind, "bench", 1, typed.body)
    work = advance(ledger.section, change).benches[1].work
    assert work["claim"].late and not work["predict"].late


def test_committed_numbers_keep_the_readings_and_records_that_they_rest_on() -> None:
    ledger = Ledger()
    ledger.do("work-saved", 1, "bench", step="predict", fields={"prediction": "less"})
    ledger.do("values-set", 1, "bench", values={"cart.mass": "0.25 kg"})
    values_seq = ledger.changes[-1].seq
    _worked(ledger, 1)
    ledger.do("work-committed", 1, "bench")
    with pytest.raises(InputError, match="rest on these readings and records"):
        ledger.do("values-set", 1, "bench", values={"cart.mass": "0.30 kg"})
    with pytest.raises(InputError, match="rest on these readings and records"):
        ledger.do("record-added", 1, "bench", name="more.csv", sha256="0" * 64, size=9, role="launch")
    with pytest.raises(InputError, match="was committed and can no longer be changed"):
        ledger.do("work-saved", 1, "bench", step="predict", fields={"prediction": "same"})
    with pytest.raises(InputError, match="committed can no longer be changed"):
        ledger.do("undone", 1, "bench", change=values_seq)
    ledger.do("values-set", 1, values={"cart.mass": "0.26 kg"})
    ledger.do("work-reopened", 1)
    ledger.do("values-set", 1, "bench", values={"cart.mass": "0.30 kg"})


def test_a_ledger_is_open_to_one_bench_or_to_all_and_closing_to_all_closes_each() -> None:
    ledger = Ledger()
    ledger.do("ledger-opened", 2)
    assert [ledger.section.may_see_ledger(number) for number in (1, 2, 3, 9)] == [False, True, False, False]
    ledger.do("all-ledgers-opened")
    assert not ledger.section.may_see_ledger(3), "opened to all is opened to those who have committed"
    _worked(ledger, 3)
    ledger.do("work-committed", 3, "bench")
    assert ledger.section.may_see_ledger(3) and not ledger.section.may_see_ledger(1) and not ledger.section.may_see_ledger(9)
    ledger.do("bell-rung")
    assert ledger.section.may_see_ledger(1), "after the lesson there is nothing left to commit"
    ledger.do("all-ledgers-closed")
    assert not ledger.section.may_see_ledger(2)


def test_visit_help_hint_and_sign_off() -> None:
    ledger = Ledger()
    ledger.do("bench-named", 1, "bench", name="Comets")
    ledger.do("help-asked", 1, "bench")
    assert ledger.section.benches[1].help_at and ledger.section.benches[1].title == "Bench 1, Comets"
    ledger.do("visited", 1)
    assert ledger.section.benches[1].visited_at and not ledger.section.benches[1].help_at
    ledger.do("hint-released", 1, code="too-close", grade="look")
    ledger.do("hint-released", 1, code="too-close", grade="look")
    assert ledger.section.benches[1].hints == (("too-close", "look"),)
    ledger.do("signed-off", 1)
    ledger.do("sign-off-taken-back", 1)
    assert not ledger.section.benches[1].signed_off_at


def test_only_what_the_bench_does_touches_it() -> None:
    ledger = Ledger()
    ledger.do("visited", 1)
    assert ledger.section.benches[1].touched_at == ""
    done = ledger.do("values-set", 1, "bench", values={"cart.mass": "0.25 kg"})
    assert ledger.section.benches[1].touched_at == done.at


def test_undoing_and_undoing_that() -> None:
    ledger = Ledger()
    record = ledger.add(1, "a.csv")
    ledger.do("override-set", 1, record=record, release=1.0)
    ledger.do("undone", change=2)
    assert not ledger.section.benches[1].records, "what was set on it is passed over"
    ledger.do("undone", change=4)
    assert ledger.section.benches[1].records[0].override.release == 1.0
    assert ledger.section.void == {4}
    with pytest.raises(InputError, match="no change 4 to be undone"):
        ledger.do("undone", change=4)


def test_what_cannot_be_undone() -> None:
    ledger = Ledger()
    with pytest.raises(InputError, match="cannot be undone"):
        ledger.do("undone", change=1)
    with pytest.raises(InputError, match="no change 9"):
        ledger.do("undone", change=9)
    ledger.do("visited", 1)
    ledger.do("values-set", 2, "bench", values={"cart.mass": "1 kg"})
    for change in (2, 3):
        with pytest.raises(InputError, match="not yours to undo"):
            ledger.do("undone", 1, "bench", change=change)
    ledger.do("undone", 2, "bench", change=3)
    assert not ledger.section.benches[2].values


REFUSED = [
    (Draft("section-made", "teacher", None, {"title": "x", "benches": 3}), "made already"),
    (Draft("bench-added", "teacher", 7), "The next bench is 4, not 7"),
    (Draft("visited", "teacher", 9), "no bench 9"),
    (Draft("record-role-set", "teacher", 1, {"record": "r2", "role": "start"}), "rest or a launch record"),
    (Draft("record-discarded", "teacher", 1, {"record": "r99"}), "holds no record 'r99'"),
    (Draft("record-moved", "teacher", 1, {"record": "r2", "to": 9}), "cannot be moved to bench 9"),
    (Draft("record-moved", "teacher", 1, {"record": "r2", "to": 1}), "cannot be moved to bench 1"),
    (Draft("work-saved", "bench", 1, {"step": "guess", "fields": {}}), "no step 'guess'"),
    (Draft("rules-set", "teacher", None, {"house": {"numbers": {"decimal": "dot"}}}), "fault in these house rules"),
]


@pytest.mark.parametrize(("draft", "message"), REFUSED, ids=[message for _, message in REFUSED])
def test_what_makes_no_sense_is_refused_with_a_remedy(draft: Draft, message: str) -> None:
    ledger = Ledger()
    ledger.add(1, "a.csv")
    with pytest.raises(InputError, match=message) as caught:
        check(ledger.section, draft, earlier=ledger.changes)
    assert caught.value.remedy


@pytest.mark.parametrize("benches", [0, MOST_BENCHES + 1])
def test_a_section_has_a_sensible_number_of_benches(benches: int) -> None:
    with pytest.raises(InputError, match=f"1 to {MOST_BENCHES} benches"):
        Ledger(benches)


def test_a_bench_holds_only_so_many_records() -> None:
    ledger = Ledger()
    for number in range(MOST_RECORDS):
        ledger.add(1, f"{number}.csv", content=str(number).encode())
    with pytest.raises(InputError, match=f"holds {MOST_RECORDS} records"):
        ledger.add(1, "more.csv")
    other = ledger.add(2, "other.csv")
    with pytest.raises(InputError, match=f"holds {MOST_RECORDS} records"):
        ledger.do("record-moved", 2, record=other, to=1)


FORMLESS = [
    (Draft("dance", "teacher"), "no kind of change called 'dance'"),
    (Draft("visited", "bench", 1), "bench may not do this"),
    (Draft("visited", "teacher"), "bench: is missing"),
    (Draft("bell-rung", "teacher", 1), "of the whole section"),
    (Draft("noted", "teacher", 1), "text: is missing"),
    (Draft("noted", "teacher", 1, {"text": "x", "colour": "red"}), "colour: is no part of this change"),
    (Draft("noted", "teacher", 1, {"text": 7}), "text: must be a text"),
    (Draft("noted", "teacher", 1, {"text": "x" * 4001}), "text: must be a text of at most 4000"),
    (Draft("undone", "teacher", None, {"change": True}), "change: must be a whole number"),
    (Draft("override-set", "teacher", 1, {"record": "r2", "release": "soon"}), "release: must be a number"),
    (Draft("override-set", "teacher", 1, {"record": "r2", "edges": [["climb", 1]]}), r"edges: must be a list of \[kind"),
    (Draft("values-set", "bench", 1, {"values": {"cart.mass": 0.25}}), "values: must be at most"),
    (Draft("rules-set", "teacher", None, {"house": "strict"}), "house: must be a table"),
]


@pytest.mark.parametrize(("draft", "message"), FORMLESS, ids=[message for _, message in FORMLESS])
def test_a_draft_of_the_wrong_form_is_refused(draft: Draft, message: str) -> None:
    with pytest.raises(InputError) as caught:
        check_draft(draft)
    assert re.search(message, str(caught.value))


def test_every_kind_is_said_in_words_by_its_own_keys() -> None:
    for name, kind in KINDS.items():
        words = {key: "…" for key in (*kind.required, *kind.optional)}
        assert kind.sentence.format(bench=1, **words), name


@given(st.lists(st.tuples(st.sampled_from(sorted(KINDS)), st.integers(1, 4), st.integers(1, 12)), max_size=25))
def test_kept_changes_never_fail_to_play(steps: list[tuple[str, int, int]]) -> None:
    """Whatever was once kept can be played, in any order and with anything undone: a later version must not lose a section."""
    values: dict[str, object] = {
        "text": "x", "whole": 2, "number": 1.0, "flag": True, "texts": {"a": "b"}, "tables": {}, "edges": [["climb", 1.0, 2.0]],
    }  # fmt: skip
    changes = [Change(1, "2026-03-02T09:00:00.000Z", "section-made", "teacher", None, {"title": "t", "benches": 3})]
    section = play(changes)
    for kind, bench, target in steps:
        spec = KINDS[kind]
        body = {key: values[what] for key, what in {**spec.required, **spec.optional}.items()}
        if kind == "undone":
            body = {"change": target}
        elif "record" in body:
            body["record"] = f"r{target}"
        change = Change(len(changes) + 1, "2026-03-02T09:00:00.000Z", kind, "teacher", bench if spec.benched else None, body)
        section = advance(section, change, earlier=changes)
        changes.append(change)
        if change.kind != "section-made":
            assert section.seq == len(changes)
    assert section == play(changes)
