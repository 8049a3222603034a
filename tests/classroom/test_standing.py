"""One state and one reason for each bench, and who is served first."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from tests.classroom.benches import filled
from tests.classroom.ledger_of_changes import Ledger

from joulebook.classroom.board_reasons import LONGEST, REASONS, pressing_reason
from joulebook.classroom.changes import when
from joulebook.classroom.judging import Judgement, RecordNews, judge_bench
from joulebook.classroom.standing import STANDINGS, Standing, opened_at, stand
from joulebook.engine.report import Finding
from joulebook.errors import Fault
from joulebook.experiments.ramp_codes import CODES

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
    assert found.name in ("repeat", "look") and "ranger" in found.reason and "ranger" in found.remedy


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


def test_a_raised_hand_hides_nothing_that_is_pressing() -> None:
    ledger, held = filled("too-close")
    before = _standing(ledger, held)
    ledger.do("help-asked", 1, "bench")
    found = _standing(ledger, held)
    assert (found.name, found.beneath) == ("help", before.name) and found.words_beneath == STANDINGS[before.name]
    assert (found.reason, found.remedy) == (before.reason, before.remedy)
    assert found.need[0] <= before.need[0], "it is not served later for having raised its hand"
    sound, held = filled()
    sound.do("help-asked", 1, "bench")
    alone = _standing(sound, held)
    assert (alone.reason, alone.beneath, alone.words_beneath) == ("The group asks for help.", "", None)


def test_a_hand_raised_after_signing_off_is_seen() -> None:
    ledger, held = filled()
    ledger.do("signed-off", 1)
    ledger.do("help-asked", 1, "bench")
    assert _standing(ledger, held).name == "help"


def test_silence_is_noticed_after_eight_minutes_and_a_clock_set_back_is_no_negative_time() -> None:
    ledger, held = filled()
    assert _standing(ledger, held, now=NOW + timedelta(minutes=9)).name == "quiet"
    assert _standing(ledger, held, now=NOW - timedelta(hours=5)).minutes == 0.0


def test_a_bench_that_never_did_anything_becomes_quiet_too() -> None:
    ledger, _ = filled()
    ledger.do("visited", 2)
    opened = opened_at(ledger.section, now=NOW)
    assert opened == ledger.section.begun_at, "the first thing that any bench did, not what the teacher does"
    first = when(opened)

    def at(minutes: float) -> Standing:
        return stand(ledger.section.benches[2], Judgement("k"), now=first + timedelta(minutes=minutes), opened=opened)

    assert at(7).name == "waiting" and at(9).name == "quiet"
    assert at(9).reason == "Nothing at all for 9 minutes. No launch yet." and at(9).minutes is None
    assert at(300).reason.startswith("Nothing at all for 5 hours")


def test_a_lesson_opens_with_the_section_or_with_the_first_bench_of_one_prepared_before() -> None:
    ledger = Ledger()
    made = when(ledger.section.made_at)
    assert opened_at(ledger.section, now=made + timedelta(minutes=20)) == ledger.section.made_at
    assert opened_at(ledger.section, now=made + timedelta(hours=14)) == "", "the evening before: nobody is quiet yet"
    late = made + timedelta(hours=14)
    ledger.do("help-asked", 2, "bench", at=late.strftime("%Y-%m-%dT%H:%M:%S.000Z"))
    assert when(opened_at(ledger.section, now=late)) == late


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


def test_long_reasons_are_cut_to_one_sentence_at_a_word() -> None:
    ledger, _ = filled()
    found = stand(ledger.section.benches[1], Judgement("k", problem="word " * 100, remedy="One. Two."), now=NOW)
    assert len(found.reason) <= LONGEST and found.reason.endswith("word…") and found.remedy == "One."
    endless = stand(ledger.section.benches[1], Judgement("k", problem="x" * 500), now=NOW)
    assert len(endless.reason) == LONGEST and endless.remedy == ""


def test_every_finding_has_a_short_reason_and_remedy_in_plain_words() -> None:
    assert set(REASONS) == {each.code for each in CODES}
    for what, do in REASONS.values():
        for text in (what, do):
            assert len(text) <= LONGEST and text.endswith(".") and text.count(".") == 1
            assert not set(text) & set("=±°μθ%()")


@pytest.mark.parametrize(("code", "name"), [("too-close", "launch-2.csv"), ("of-later", "launch-2.csv")])
def test_with_several_launches_the_reason_says_which(code: str, name: str) -> None:
    ledger, _ = filled()
    bench = ledger.section.benches[1]
    message = f"{name}: something odd at 1.2 s. It matters."
    finding = Finding(code, "look", message, "Do it again. And again.", {"record": name})  # type: ignore[arg-type]
    found = pressing_reason(bench, Judgement("k", findings=(finding,)))
    assert found is not None and found.what.startswith(f"{name}: ") and found.standing == "look"
    assert found.do == ("Launch more weakly, or move the ranger back." if code == "too-close" else "Do it again.")


def test_a_file_with_a_long_name_or_a_reading_that_is_not_understood_stays_short() -> None:
    ledger, held = filled()
    bench = ledger.section.benches[1]
    judged = judge_bench(bench, held, ledger.section.house)
    news = (RecordNews("r9", "a-very-long-name-of-a-file-that-somebody-made.csv", problem="no rows"),)
    broken = pressing_reason(bench, Judgement("k", news, judged.audit))
    assert broken is not None and broken.standing == "look" and broken.what == "a-very-long-name-….csv cannot be read."
    fault = pressing_reason(bench, Judgement("k", faults=(Fault("cart.mass", "“heavy” is no number"),)))
    assert fault is not None and fault.what == "Mass of the cart: not understood."


@pytest.mark.parametrize("at", ["2026-03-02T09:00:00.000Z", "2026-03-02T09:00:00Z"])
def test_times_are_read_with_their_zone(at: str) -> None:
    assert when(at) == datetime(2026, 3, 2, 9, tzinfo=UTC)


def test_words_and_marks_tell_standings_apart_without_colour() -> None:
    assert (
        len({words.mark for words in STANDINGS.values()}) == len({words.word for words in STANDINGS.values()}) == len(STANDINGS)
    )
