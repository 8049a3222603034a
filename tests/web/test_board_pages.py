"""The board, one bench as the teacher sees it, setting times by hand, the log: all without script."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from itertools import pairwise

import pytest
from tests.web.rooms import TestRoom, fill, open_room, words

from joulebook.classroom.changes import Draft
from joulebook.classroom.standing import STANDINGS
from joulebook.engine.bench import Override


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestRoom]:
    with open_room(tmp_path_factory.mktemp("board"), benches=5) as opened:
        fill(opened, 1)
        fill(opened, 2, "too-close")
        fill(opened, 3, values=False)
        for number in (1, 2, 3):
            assert opened.teacher.get(opened.path(f"/benches/{number}")).status_code == 200
        yield opened


def _cards(html: str) -> list[tuple[int, str]]:
    """Return number and state of each card, in the order of the page."""
    found = re.findall(r'<li class="card is-([a-z-]+)" data-bench="(\d+)"', html)
    return [(int(number), state) for state, number in found]


def test_the_board_sorts_benches_by_need_and_says_why(room: TestRoom) -> None:
    html = room.teacher.get(room.path()).text
    cards = _cards(html)
    assert dict(cards) == {1: "measured", 2: "repeat", 3: "set-up", 4: "waiting", 5: "waiting"}
    needs = [STANDINGS[state].need for _, state in cards]
    assert needs == sorted(needs)
    assert cards[0] == (2, "repeat")
    text = words(html)
    assert "1 needs you, 1 with readings missing, 1 fine, 2 no data yet" in text
    for mark, word in (("■", "Repeat"), ("◔", "Readings missing"), ("●", "Data fine"), ("○", "No data yet")):
        assert f"{mark} {word}" in text, "a word and a shape, not colour alone"
    assert "still missing: mass, slope" in text


def test_the_cards_alone_are_the_board_s(room: TestRoom) -> None:
    whole, part = room.teacher.get(room.path()).text, room.teacher.get(room.path("/cards")).text
    assert _cards(part) == _cards(whole)
    assert "<html" not in part
    assert "1 needs you" in part


def test_one_click_says_visited_and_the_log_takes_it_back(room: TestRoom) -> None:
    answer = room.teacher.post(room.path("/benches/4/do"), data={"kind": "visited"})
    assert answer.status_code == 303
    assert room.state(4).visited_at
    board = room.teacher.get(answer.headers["location"])
    assert "Bench 4 visited" in words(board.text)
    seq = re.search(r'name="change" value="(\d+)"', board.text)
    assert seq is not None
    undone = room.teacher.post(room.path("/undo"), data={"change": seq[1], "back": "log"})
    assert room.state(4).visited_at == ""
    log = room.teacher.get(undone.headers["location"]).text
    assert re.search(r"<del>Bench 4 visited</del>\s*<strong>undone</strong>", log), "struck through and worded"
    assert "Undone: Bench 4 visited" in words(log)
    # An undoing is undone in turn.
    last = room.store.section(room.section).seq
    again = room.teacher.post(room.path("/undo"), data={"change": str(last), "back": "log"})
    assert again.status_code == 303
    assert room.state(4).visited_at
    assert "Undone: Undone: Bench 4 visited" in words(room.teacher.get(room.path("/log")).text)


def test_what_is_undone_cannot_be_undone_twice(room: TestRoom) -> None:
    made = room.store.append(room.section, Draft("noted", "teacher", 5, {"text": "x"}))
    for status in (303, 422):
        answer = room.teacher.post(room.path("/undo"), data={"change": str(made.seq)})
        assert answer.status_code == status
    assert "somebody may have undone it already" in answer.text


def test_the_bell_and_the_ledgers_of_all(room: TestRoom) -> None:
    def press(kind: str) -> str:
        answer = room.teacher.post(room.path("/do"), data={"kind": kind})
        return room.teacher.get(answer.headers["location"]).text

    assert "Take back the bell" in press("bell-rung")
    assert room.store.section(room.section).closed
    assert "Ring the bell" in press("bell-taken-back")
    assert "Close the ledger" in press("all-ledgers-opened")
    assert room.store.section(room.section).all_open
    press("all-ledgers-closed")
    assert not room.store.section(room.section).all_open


def test_a_kind_that_is_no_button_is_refused(room: TestRoom) -> None:
    for path in ("/do", "/benches/1/do"):
        for kind in ("record-added", "section-made", "values-planned", "override-set", "nonsense"):
            answer = room.teacher.post(room.path(path), data={"kind": kind})
            assert answer.status_code == 422, (path, kind)
            assert "nothing that can be done here" in answer.text


def test_a_title_is_needed(room: TestRoom) -> None:
    answer = room.teacher.post(room.path("/do"), data={"kind": "renamed", "title": "  "})
    assert answer.status_code == 422
    assert "A section needs a title." in answer.text


def test_a_bench_shows_verdict_findings_ledger_and_budget(room: TestRoom) -> None:
    html = room.teacher.get(room.path("/benches/1")).text
    text = words(html)
    for heading in ("Verdict", "Findings and hints", "The trace", "Their numbers beside joulebook", "The ledger", "Records"):
        assert heading in text
    assert "Kinetic energy at release" in text
    assert "The largest influences on the main quantities" in text
    assert html.count("<svg") >= 4
    assert 'role="img"' in html


def test_without_set_up_no_energy_is_shown(room: TestRoom) -> None:
    text = words(room.teacher.get(room.path("/benches/3")).text)
    assert "There is no ledger yet: still missing mass of the cart, stated slope" in text
    assert "The ledger: energy in, out, lost" not in text
    assert "The trace" in text, "the records themselves can be looked at"


def test_hints_are_released_by_grade(room: TestRoom) -> None:
    text = words(room.do(2, "hint-released", code="too-close", grade="question"))
    assert "hint “A question” on “The cart comes into the ranger's blind zone”" in unescape(text)
    assert room.state(2).hints == (("too-close", "question"),)
    assert "For you alone:" in text


def test_students_numbers_stand_beside_the_audit_s(room: TestRoom) -> None:
    audit = room.store.audits(room.section)[1][1]
    assert audit is not None
    right = audit["quantities"]["kinetic_energy"]["value"]
    fields = {"kinetic_energy": f"{2 * right:.4f} J", "travel": "40 cm"}
    room.store.append(room.section, Draft("work-saved", "bench", 1, {"step": "calculation", "fields": fields}))
    text = words(room.teacher.get(room.path("/benches/1")).text)
    more = re.search(r"Kinetic energy at release, J \S+ J \S+ J \S+ to \S+ (\S+) J more \((\S+) %\)", text)
    assert more is not None, text[text.index("Their numbers") :][:900]
    assert float(more[1]) == pytest.approx(right, rel=0.05)
    assert float(more[2]) == pytest.approx(100.0, abs=1.0)


def test_a_record_is_set_aside_restored_given_a_role_and_moved(room: TestRoom) -> None:
    record = room.state(3).launches[0]
    text = words(room.do(3, "record-discarded", record=record.id, reason="a hand in front of the ranger"))
    assert "Set aside. a hand in front of the ranger" in text
    assert record.name in text
    assert not [held for held in room.state(3).launches if held.id == record.id]
    room.do(3, "record-restored", record=record.id)
    assert [held for held in room.state(3).launches if held.id == record.id]
    room.do(3, "record-role-set", record=record.id, role="rest")
    assert room.state(3).record(record.id).role == "rest"
    room.do(3, "record-role-set", record=record.id, role="launch")
    room.do(3, "record-moved", record=record.id, to="5")
    assert room.state(5).record(record.id) is not None
    log = words(room.teacher.get(room.path("/log")).text)
    assert f"record {record.name} moved to bench 5" in log
    moved = room.store.section(room.section).seq
    room.teacher.post(room.path("/undo"), data={"change": str(moved)})
    assert room.state(3).record(record.id) is not None


def test_note_sign_off_and_single_ledger(room: TestRoom) -> None:
    assert "wobbly clamp" in room.do(5, "noted", text="wobbly clamp")
    room.do(5, "signed-off")
    assert room.state(5).signed_off_at
    room.do(5, "sign-off-taken-back")
    assert "These students can see the ledger." in room.do(5, "ledger-opened")
    room.do(5, "ledger-closed")
    assert not room.store.section(room.section).may_see_ledger(5)


def _form_of(room: TestRoom, bench: int) -> dict[str, list[str]]:
    """Return the fields of the form that sets times by hand, as a browser would send them."""
    html = room.teacher.get(room.path(f"/benches/{bench}")).text
    form = html[html.index('id="edges"') : html.index("Keep these times")]
    fields: dict[str, list[str]] = {}
    for tag in re.findall(r"<input[^>]*>", form):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r' value="([^"]*)"', tag)
        assert name is not None
        fields.setdefault(name[1], []).append(value[1] if value else "")
    return fields


def _shown(html: str, quantity: str) -> float:
    found = re.search(rf'<th scope="row">{quantity}</th><td class="number">([\d.]+)', html)
    assert found is not None, html
    return float(found[1])


def test_the_ledger_follows_a_release_that_is_moved_and_nothing_is_kept(room: TestRoom) -> None:
    fields = _form_of(room, 1)
    before = room.teacher.post(room.path("/benches/1/preview"), data=fields)
    assert before.status_code == 200
    assert "<html" not in before.text
    placeholder = re.search(r'name="release"[^>]*placeholder="([\d.]+)"', room.teacher.get(room.path("/benches/1")).text)
    assert placeholder is not None
    later = {**fields, "release": [f"{float(placeholder[1]) + 0.08:.3f}"]}
    after = room.teacher.post(room.path("/benches/1/preview"), data=later)
    # A cart that climbs has less kinetic energy the later one says that it was released, and less height left to gain.
    for quantity in ("Kinetic energy at release", "Potential energy gained"):
        assert _shown(after.text, quantity) < _shown(before.text, quantity)
    assert "data-picture" in after.text
    assert room.state(1).launches[0].override == Override()


def test_times_set_by_hand_are_kept_and_given_back(room: TestRoom) -> None:
    fields = _form_of(room, 1)
    record = fields["record"][0]
    apex = f"{float(fields['border'][fields['kind'].index('climb')]) - 0.02:.3f}"
    answer = room.teacher.post(room.path("/benches/1/override"), data={**fields, "apex": [apex]})
    assert answer.status_code == 303
    assert room.state(1).record(record).override == Override(apex=float(apex))
    page = room.teacher.get(answer.headers["location"]).text
    assert "times set by hand" in page
    assert "The ledger: energy in, out, lost" in page, "the ledger follows an apex that was set"
    assert f'name="apex" inputmode="decimal" autocomplete="off" value="{apex}"' in page
    room.teacher.post(room.path("/benches/1/override"), data={"record": record, "own": "1"})
    assert room.state(1).record(record).override == Override()
    assert "as joulebook finds them" in words(room.teacher.get(room.path("/log")).text)


def test_times_from_which_nothing_follows_can_be_taken_back(room: TestRoom) -> None:
    record = room.state(1).launches[0].id
    room.teacher.post(room.path("/benches/1/override"), data={"record": record, "release": "1.4", "apex": "1.45"})
    html = room.teacher.get(room.path("/benches/1")).text
    assert "Back to joulebook" in html
    room.teacher.post(room.path("/benches/1/override"), data={"record": record, "own": "1"})
    assert "The ledger: energy in, out, lost" in room.teacher.get(room.path("/benches/1")).text


def test_moving_one_border_takes_no_other_hop_out_of_the_fit(room: TestRoom) -> None:
    fields = _form_of(room, 1)
    kinds = fields["kind"]
    assert kinds.count("climb") > 1, "the record shows rebounds"
    place = next(i for i, pair in enumerate(pairwise(kinds)) if pair == ("descent", "contact"))
    at = float(fields["border"][place])
    fields["border"][place] = f"{at - 0.05:.3f}"
    record = fields["record"][0]
    room.teacher.post(room.path("/benches/1/override"), data=fields)
    edges = room.state(1).record(record).override.edges
    ends = {kind: end for kind, _, end in edges if kind == "descent"}
    assert ("descent" in ends) and any(abs(end - (at - 0.05)) < 1e-6 for kind, _, end in edges if kind == "descent")
    last = max(float(end) for kind, end in zip(kinds, fields["end"], strict=True) if kind == "descent")
    assert ends["descent"] == pytest.approx(last), "the last descent goes along, or everything after the first would be barred"
    # Kept as it is: the same form sent again changes nothing.
    again = _form_of(room, 1)
    room.teacher.post(room.path("/benches/1/override"), data=again)
    kept = room.state(1).record(record).override.edges
    assert [kind for kind, *_ in kept] == [kind for kind, *_ in edges]
    assert [time for _, *span in kept for time in span] == pytest.approx([time for _, *span in edges for time in span], abs=2e-3)
    room.teacher.post(room.path("/benches/1/override"), data={"record": record, "own": "1"})


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"release": ["soon"]}, "no time in seconds"),
        ({"release": ["2.5"], "apex": ["1.5"]}, "is not after the release at 2.5 s"),
        ({"kind": ["climb"]}, "list of phases is not whole"),
        ({"release": ["900"]}, "outside the record"),
    ],
)
def test_times_that_make_no_sense_are_told(room: TestRoom, changed: dict[str, list[str]], told: str) -> None:
    answer = room.teacher.post(room.path("/benches/1/preview"), data={**_form_of(room, 1), **changed})
    assert answer.status_code == 200
    assert told in words(answer.text).replace("  ", " ")


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ("kind", "a phase of an unknown kind"),
        ("start", "holds no numbers"),
    ],
)
def test_a_form_that_was_tampered_with_is_refused(room: TestRoom, changed: str, told: str) -> None:
    fields = _form_of(room, 1)
    fields[changed] = ["nan" for _ in fields[changed]]
    assert told in words(room.teacher.post(room.path("/benches/1/preview"), data=fields).text)


def test_borders_that_cross_are_told(room: TestRoom) -> None:
    fields = _form_of(room, 1)
    fields["border"][1] = "0.001"
    assert "before it starts" in words(room.teacher.post(room.path("/benches/1/preview"), data=fields).text)


@pytest.mark.parametrize("path", ["/benches/99", "/benches/0", "/log/x", "/nothing"])
def test_what_is_not_there_is_not_found(room: TestRoom, path: str) -> None:
    assert room.teacher.get(room.path(path)).status_code == 404


@pytest.mark.parametrize("path", ["", "/cards", "/log", "/benches/1", "/rules", "/drop", "/bench-cards"])
def test_an_unknown_section_is_not_found(room: TestRoom, path: str) -> None:
    answer = room.teacher.get(f"/sections/0000000000{path}")
    assert answer.status_code == 404
    assert "There is no such section." in answer.text


def test_a_record_that_is_gone_is_told(room: TestRoom) -> None:
    answer = room.teacher.post(room.path("/benches/1/preview"), data={"record": "r9999"})
    assert answer.status_code == 404
    assert "has no launch record" in answer.text


def test_what_a_group_calls_itself_is_escaped(room: TestRoom) -> None:
    room.store.append(room.section, Draft("bench-named", "bench", 4, {"name": "<b>x</b>"}))
    for path in ("", "/benches/4", "/log"):
        html = room.teacher.get(room.path(path)).text
        assert "<b>x</b>" not in html
        assert "&lt;b&gt;x&lt;/b&gt;" in html


def test_the_log_is_shown_for_one_bench_and_undoing_keeps_it_so(room: TestRoom) -> None:
    made = room.store.append(room.section, Draft("noted", "teacher", 4, {"text": "of bench four"}))
    room.store.append(room.section, Draft("bell-rung", "teacher"))
    room.store.append(room.section, Draft("bell-taken-back", "teacher"))
    every = room.teacher.get(room.path("/log")).text
    assert '<form method="get"' in every and "of bench four" in every and "The bell taken back" in every
    four = room.teacher.get(room.path("/log?bench=4")).text
    lines = re.findall(r"<li value.*?</li>", four, re.DOTALL)
    assert lines and all(re.search(r"[Bb]ench 4\b", words(line)) for line in lines)
    assert f"{len(lines)} change" in words(four) and '<option value="4" selected>' in four
    whole = room.teacher.get(room.path("/log?bench=0")).text
    assert "The bell taken back" in whole and "of bench four" not in whole
    for odd in ("99", "x", "-1"):
        assert "of bench four" in room.teacher.get(room.path(f"/log?bench={odd}")).text, "all, where there is no such bench"
    answer = room.teacher.post(room.path("/undo"), data={"change": str(made.seq), "back": "log 4"})
    assert answer.headers["location"].startswith(room.path("/log?bench=4&did="))
    assert "The bell" not in words(room.teacher.get(answer.headers["location"]).text)


def test_a_raised_hand_shows_what_is_pressing_too(room: TestRoom) -> None:
    room.store.append(room.section, Draft("help-asked", "bench", 2))
    for path in ("", "/benches/2"):
        text = words(room.teacher.get(room.path(path)).text)
        assert re.search(r"↑ Hand up and ■ Repeat .*[Tt]he cart came too near the ranger\.", text), path
        assert "Launch more weakly, or move the ranger back." in text
    assert "Mark visited : bench 2, which takes its hand down" in words(room.teacher.get(room.path()).text)
    assert "Take the hand down without a visit" in room.teacher.get(room.path("/benches/2")).text
    room.do(2, "visited")
    assert room.state(2).help_at == ""
    assert "Hand up" not in words(room.teacher.get(room.path("/cards")).text)
