"""One state and one reason for each bench, and who is served first."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from tests.classroom.benches import filled
from tests.classroom.ledger_of_changes import Ledger

from joulebook.classroom.judging import Judgement, judge_bench
from joulebook.classroom.standing import STANDINGS, Standing, stand, when

NOW = datetime(2026, 3, 2, 9, 1, tzinfo=UTC)


def _standing(ledger: Ledger, held: dict[str, bytes], bench: int = 1, *, now: datetime = NOW) -> Standing:
    state = ledger.section.benches[bench]
    return stand(state, judge_bench(state, held, ledger.section.house), now=now)


def test_an_empty_bench_waits_for_data() -> None:
    found = _standing(Ledger(), {})
    assert (found.name, found.reason, found.minutes, found.visited) == ("waiting", "No launch record yet.", None, False)


def test_a_rest_record_alone_is_said() -> None:
    ledger = Ledger()
    ledger.add(1, "rest.csv", "rest")
    assert "rest record is here" in _standing(ledger, {}).reason or _standing(ledger, {}).name == "repeat"


def test_a_sound_bench_is_fine_and_then_committed_and_then_done() -> None:
    ledger, held = filled()
    assert _standing(ledger, held).name == "measured" and "2 usable launches" in _standing(ledger, held).reason
    for step, fields in {
        "calculation": {"kinetic_energy": "0.3", "potential_energy": "0.3"},
        "uncertainty": {"kinetic_energy_u": "0.1", "potential_energy_u": "0.1"},
        "claim": {"claim": "conserved"},
    }.items():
        ledger.do("work-saved", 1, "bench", step=step, fields=fields)
    ledger.do("work-committed", 1, "bench")
    assert _standing(ledger, held).name == "committed"
    ledger.do("signed-off", 1)
    assert _standing(ledger, held).name == "done"


def test_missing_readings_are_named() -> None:
    ledger, held = filled(values=False)
    found = _standing(ledger, held)
    assert found.name == "set-up" and "mass, slope" in found.reason


def test_a_bad_launch_asks_for_another_whatever_else_there_is() -> None:
    ledger, held = filled("too-close")
    found = _standing(ledger, held)
    assert found.name in ("repeat", "look") and "ranger" in found.reason


def test_a_file_that_cannot_be_read_is_the_reason() -> None:
    ledger = Ledger()
    data = b"no record"
    ledger.add(1, "notes.csv", content=data)
    found = _standing(ledger, {ledger.section.benches[1].records[0].sha256: data})
    assert found.name == "repeat" and found.reason.startswith("notes.csv cannot be read")


def test_a_raised_hand_comes_before_everything_but_a_repeat() -> None:
    ledger, held = filled()
    ledger.do("help-asked", 1, "bench")
    assert _standing(ledger, held).name == "help"
    needs = [
        STANDINGS[name].need for name in ("repeat", "help", "look", "quiet", "waiting", "set-up", "measured", "committed", "done")
    ]
    assert needs == sorted(needs)


def test_a_hand_raised_after_signing_off_is_seen() -> None:
    ledger, held = filled()
    ledger.do("signed-off", 1)
    ledger.do("help-asked", 1, "bench")
    assert _standing(ledger, held).name == "help"


def test_silence_is_noticed_after_eight_minutes_and_a_clock_set_back_is_no_negative_time() -> None:
    ledger, held = filled()
    assert _standing(ledger, held, now=NOW + timedelta(minutes=9)).name == "quiet"
    assert _standing(ledger, held, now=NOW - timedelta(hours=5)).minutes == 0.0


def test_among_equals_who_was_not_visited_and_who_waits_longest_comes_first() -> None:
    ledger = Ledger()
    for bench, minute in ((1, 2), (2, 1), (3, 0)):
        ledger.do("values-set", bench, "bench", at=f"2026-03-02T09:0{minute}:00.000Z", values={"cart.mass": "0.5 kg"})
    ledger.do("visited", 3)
    found = sorted(
        (_standing(ledger, {}, bench, now=NOW + timedelta(minutes=2)) for bench in (1, 2, 3)), key=lambda each: each.need
    )
    assert [each.bench for each in found] == [2, 1, 3]


def test_a_bench_still_being_judged_says_so() -> None:
    ledger, _ = filled()
    found = stand(ledger.section.benches[1], None, now=NOW)
    assert found.reason == "The records are being checked."


def test_long_reasons_are_cut_to_one_sentence() -> None:
    ledger, _ = filled()
    found = stand(ledger.section.benches[1], Judgement("k", problem="word " * 100), now=NOW)
    assert len(found.reason) <= 160 and found.reason.endswith("…")


@pytest.mark.parametrize("at", ["2026-03-02T09:00:00.000Z", "2026-03-02T09:00:00Z"])
def test_times_are_read_with_their_zone(at: str) -> None:
    assert when(at) == datetime(2026, 3, 2, 9, tzinfo=UTC)


def test_words_and_marks_tell_standings_apart_without_colour() -> None:
    assert (
        len({words.mark for words in STANDINGS.values()}) == len({words.word for words in STANDINGS.values()}) == len(STANDINGS)
    )
