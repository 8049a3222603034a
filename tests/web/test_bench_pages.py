"""The students' page by plain forms, as a browser without script sends them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from tests.classroom.benches import files
from tests.web.rooms import TestRoom, fill, open_room, words

from joulebook.classroom.changes import Change, Draft
from joulebook.experiments.ramp_hints import HINTS
from joulebook.readers.limits import MAX_BYTES
from joulebook.web.bench_building import BETWEEN_HINTS, hint_wait

WORK = {
    "readings": {"start_distance": "1.92", "apex_distance": "1.23", "release_speed": "1.31", "release_speed_u": "0.03"},
    "calculation": {"travel": "0.69", "height": "0.096", "kinetic_energy": "0.24", "potential_energy": "0.22"},
    "uncertainty": {"kinetic_energy_u": "0.01", "potential_energy_u": "0.012", "largest": "slope"},
    "claim": {"claim": "undecided", "claim_why": "They overlap."},
}


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestRoom]:
    with open_room(tmp_path_factory.mktemp("room"), benches=20) as opened:
        yield opened


def _post(client: TestClient, path: str, data: dict[str, str] | None = None, **more: object) -> str:
    """Send a form and return the page that it leads to."""
    answer = client.post(path, data=data, **more)  # type: ignore[arg-type]
    assert answer.status_code == 303, words(answer.text)
    return client.get(answer.headers["location"]).text


def _work(client: TestClient, step: str, **more: str) -> None:
    text = client.get("/bench").text
    found = re.search(rf'name="step" value="{step}"><input type="hidden" name="base" value="(\d+)"', text)
    assert found is not None
    _post(client, "/bench/work", {"step": step, "base": found[1], **WORK.get(step, {}), **more})


def test_only_a_browser_that_joined_sees_a_bench(room: TestRoom) -> None:
    stranger = room.visitor()
    for path in ("/bench", "/bench/trace"):
        answer = stranger.get(path)
        assert (answer.status_code, answer.headers["location"]) == (303, "/")
    for path in ("name", "set-up", "records", "work", "commit", "hint", "undo", "do"):
        answer = stranger.post(f"/bench/{path}", data={"kind": "help-asked", "change": "1"})
        assert answer.status_code == 403, path


def test_a_new_bench_is_shown_its_steps_in_the_order_of_the_house(room: TestRoom) -> None:
    text = room.bench(1).get("/bench").text
    assert re.findall(r'<section id="([a-z-]+)" data-part="[a-z-]+" class="step"', text) == [
        "predict", "set-up", "records", "readings", "calculation", "uncertainty", "claim", "commit", "comparison", "losses", "improve",
    ]  # fmt: skip
    assert "Next: Our prediction" in words(text)
    assert "The picture of your launch will stand here" in text


def test_the_teachers_choice_of_steps_counts(room: TestRoom) -> None:
    section = room.store.make_section("Short", benches=1, house={"lesson": {"steps": ["readings", "claim"]}})
    client = room.visitor()
    client.post("/join", data={"code": room.store.code(section, 1)})
    text = client.get("/bench").text
    assert re.findall(r'class="step" aria-labelledby="([a-z-]+)-heading"', text) == ["set-up", "records", "readings", "claim"]
    assert client.post("/bench/work", data={"step": "losses", "base": "0", "loss_why": "x"}).status_code == 422


def test_the_page_needs_no_inline_script_or_style(room: TestRoom) -> None:
    fill(room, 2)
    text = room.bench(2).get("/bench?step=readings").text
    assert not re.search(r"\sstyle=|<style|\son[a-z]+=|javascript:", text)
    assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", text))


def test_a_group_names_itself_and_takes_it_back(room: TestRoom) -> None:
    client = room.bench(3)
    text = _post(client, "/bench/name", {"name": "  Otters‮ "})
    assert room.state(3).name == "Otters"
    assert "You call yourselves “Otters”." in words(text)
    undo = re.search(r'action="/bench/undo"><button name="change" value="(\d+)"', text)
    assert undo is not None
    assert "Undone" in _post(client, "/bench/undo", {"change": undo[1]})
    assert room.state(3).name == ""
    answer = client.post("/bench/name", data={"name": "x" * 41})
    assert answer.status_code == 422
    assert "41 characters long" in answer.text and "x" * 41 in answer.text, "what was typed stays in the field"


def test_set_up_readings_are_kept_as_a_bench_file_writes_them(room: TestRoom) -> None:
    client = room.bench(4)
    form = {
        "mass-value": "0,2513", "mass-unit": "kg", "mass-give": "0,0005", "mass-how": "balance", "method": "angle",
        "angle-value": "9.8", "angle-unit": "deg", "angle-give": "0.25", "angle-how": "angle gauge",
        "rise-value": "", "along-value": "", "placed": "top",
    }  # fmt: skip
    text = _post(client, "/bench/set-up", form)
    state = room.state(4)
    assert state.values == {"cart.mass": "0.2513 kg ± 0.0005 kg", "track.angle": "9.8 deg ± 0.25 deg", "sensor.placed": "top"}
    assert state.how == {"cart.mass": "balance", "track.angle": "angle gauge"}
    assert 'name="mass-value" value="0.2513"' in text and 'name="mass-give" value="0.0005"' in text
    assert "Set-up readings saved." in words(text)
    # The other way to the slope takes the place of the first.
    form |= {"method": "rise", "rise-value": "17.1", "rise-unit": "cm", "rise-give": "0.1", "along-value": "100", "along-unit": "cm",
             "along-give": "", "was-mass": "0.2513 kg ± 0.0005 kg"}  # fmt: skip
    _post(client, "/bench/set-up", form)
    values = room.state(4).values
    assert "track.angle" not in values
    assert (values["track.rise"], values["track.along"]) == ("17.1 cm ± 0.1 cm", "100 cm")


def test_what_is_not_understood_is_kept_and_said_beside_its_field(room: TestRoom) -> None:
    client = room.bench(5)
    form = {"mass-value": "about 250", "mass-unit": "g", "mass-give": "", "method": "angle", "angle-value": "8", "angle-unit": "deg",
            "angle-give": "−1"}  # fmt: skip
    text = _post(client, "/bench/set-up", form)
    assert room.state(5).values["cart.mass"] == "about 250"
    assert 'value="about 250"' in text
    assert re.search(r'id="set-up-mass"[^>]*aria-invalid="true" aria-describedby="set-up-mass-fault"', text)
    assert 'id="set-up-mass-fault"' in text and 'href="#set-up-mass"' in text
    assert 'id="set-up-angle-fault"' in text


def test_two_windows_change_only_what_each_has_changed(room: TestRoom) -> None:
    client = room.bench(6)
    _post(client, "/bench/set-up", {"mass-value": "250", "mass-unit": "g", "mass-give": "1"})
    other = {"was-mass": "", "mass-value": "", "mass-unit": "kg", "mass-give": "", "method": "angle", "angle-value": "7",
             "angle-unit": "deg"}  # fmt: skip
    _post(client, "/bench/set-up", other)
    assert room.state(6).values == {"cart.mass": "250 g ± 1 g", "track.angle": "7 deg"}


def test_planned_values_are_shown_to_be_replaced(room: TestRoom) -> None:
    room.store.append(room.section, Draft("values-planned", "teacher", 7, {"values": {"track.angle": "9 deg", "sensor.placed": "top"}}))
    text = words(room.bench(7).get("/bench").text)
    assert "Planned: 9°. Measure and replace it." in text
    assert "the top (planned)" in text


def test_records_come_by_upload_and_by_paste_and_a_second_copy_is_no_trouble(room: TestRoom) -> None:
    content, readings = files()
    client = room.bench(8)
    room.store.append(room.section, Draft("values-set", "bench", 8, {"values": readings}))
    sent = [("launch", (name, data)) for name, data in content.items() if "rest" not in name]
    sent.append(("rest", ("C:\\data\\rest.csv", content["rest.csv"])))
    text = _post(client, "/bench/records", files=sent)
    held = {record.name: record.role for record in room.state(8).records}
    assert held == {"rest.csv": "rest", "launch-1.csv": "launch", "launch-2.csv": "launch"}
    assert words(text).count("This record can be used") == 3
    assert "Read 155 samples" in text
    # The same file again.
    answer = client.post("/bench/records", files=[("launch", ("again.csv", content["launch-1.csv"]))])
    assert answer.status_code == 409
    assert "again.csv holds the same as launch-1.csv" in words(answer.text)
    assert 'class="message calm"' in answer.text and "Nothing was lost" in answer.text
    assert len(room.state(8).records) == 3
    # A pasted text, and one that is no record: it stays in the field.
    pasted = "time s;distance m\n" + "\n".join(f"{0.05 * i:.2f};{1.0 - 0.01 * i:.3f}" for i in range(30))
    _post(client, "/bench/records", {"pasted": pasted, "pasted-role": "launch"}, files=[("rest", ("", b""))])
    last = room.state(8).records[-1]
    assert re.fullmatch(r"pasted-\d{6}\.csv", last.name) and (last.via, last.role) == ("paste", "launch")


def test_a_file_that_cannot_be_used_is_refused_by_itself(room: TestRoom) -> None:
    client = room.bench(9)
    answer = client.post("/bench/records", files=[("launch", ("empty.csv", b"")), ("launch", ("one.csv", b"t,d\n0,1\n"))])
    assert answer.status_code == 422
    assert "empty.csv is empty." in words(answer.text) and "1 other was added." in words(answer.text)
    text = words(client.get("/bench").text)
    assert "This file could not be read" in text and "a file could not be read" in text
    answer = client.post("/bench/records", files=[("launch", ("large.csv", b"0" * (MAX_BYTES + 1)))])
    assert answer.status_code == 422 and "8.0 MB, more than the 8 MB" in answer.text
    answer = client.post("/bench/records", data={"pasted": "  "})
    assert answer.status_code == 422 and "No file was chosen" in answer.text


def test_a_record_is_set_aside_taken_back_and_given_its_other_role(room: TestRoom) -> None:
    fill(room, 10)
    client = room.bench(10)
    launch = room.state(10).launches[0].id
    assert "launch-1.csv set aside." in words(_post(client, "/bench/do", {"kind": "record-discarded", "record": launch}))
    assert launch not in [record.id for record in room.state(10).launches]
    assert "Take back in" in words(client.get("/bench").text)
    _post(client, "/bench/do", {"kind": "record-restored", "record": launch})
    _post(client, "/bench/do", {"kind": "record-role-set", "record": launch, "role": "rest"})
    assert room.state(10).record(launch).role == "rest"
    assert client.post("/bench/do", data={"kind": "record-discarded", "record": "r999"}).status_code == 422
    assert client.post("/bench/do", data={"kind": "record-moved", "record": launch, "to": "1"}).status_code == 422


def test_values_are_read_at_a_typed_time(room: TestRoom) -> None:
    fill(room, 11)
    client = room.bench(11)
    record = room.state(11).record(room.state(11).launches[0].id)
    rows = files()[0][record.name].decode().splitlines()[1:]
    (t1, s1), (t2, s2) = (tuple(map(float, row.split(",")[:2])) for row in rows[30:32])
    middle = 0.5 * (t1 + t2)
    client.get("/bench/trace")  # waits until the record is judged
    text = words(client.get("/bench", params={"record": record.id, "at": f"{middle:g}", "at2": f"{t2:g}"}).text)
    found = re.search(rf"A: at t = {middle:g} s the distance is ([\d.]+) m on the line", text)
    assert found is not None and float(found[1]) == pytest.approx(0.5 * (s1 + s2), abs=0.6e-4)
    slope = re.search(r"Δs/Δt = (−?[\d.]+) m/s", text)
    assert slope is not None and float(slope[1].replace("−", "-")) == pytest.approx((s2 - s1) / (t2 - t1), abs=0.6e-3)
    assert "is no time. Write seconds" in client.get("/bench", params={"at": "soon"}).text
    assert "9 s is outside of the record" in words(client.get("/bench", params={"record": record.id, "at": "9"}).text)
    part = client.get("/bench/trace", params={"record": record.id, "from": "1", "to": "2"}).text
    assert "<html" not in part and 'name="from" value="1.000"' in part
    assert "21 of 155 samples" in part


def test_own_work_is_kept_as_typed_with_faults_beside_it(room: TestRoom) -> None:
    client = room.bench(12)
    _post(client, "/bench/work", {"step": "readings", "base": "0", "release_speed": "1,3", "start_distance": "fast <b>"})
    assert room.state(12).work["readings"].fields["start_distance"] == "fast <b>"
    text = client.get("/bench?step=readings").text
    assert "fast &lt;b&gt;" in text and "fast <b>" not in text
    assert 'id="readings-start_distance-fault"' in text and 'id="readings-release_speed-fault"' not in text
    seq = room.state(12).seq
    _work(client, "readings", release_speed="1,3", start_distance="fast <b>", apex_distance="", release_speed_u="")
    assert room.state(12).seq == seq, "what is the same as before is no change"


def test_two_tabs_editing_show_both_versions_and_lose_neither(room: TestRoom) -> None:
    client = room.bench(13)
    _post(client, "/bench/work", {"step": "claim", "base": "0", "claim": "loss", "claim_why": "first tab"})
    answer = client.post("/bench/work", data={"step": "claim", "base": "0", "claim": "conserved", "claim_why": "second tab"})
    assert answer.status_code == 409
    text = words(answer.text)
    assert "first tab" in text and "second tab" in text
    assert "there is less energy at the top" in text and "we see no difference between the two energies" in text
    assert room.state(13).work["claim"].fields["claim_why"] == "first tab"
    base = re.search(r'name="base" value="(\d+)"', answer.text)
    assert base is not None
    _post(client, "/bench/work", {"step": "claim", "base": base[1], "claim": "conserved", "claim_why": "second tab"})
    assert room.state(13).work["claim"].fields["claim_why"] == "second tab"
    # Sent twice because the first answer was lost: no conflict with oneself.
    _post(client, "/bench/work", {"step": "claim", "base": base[1], "claim": "conserved", "claim_why": "second tab"})


def test_committing_asks_for_what_is_missing_then_opens_the_comparison_of_own_numbers(room: TestRoom) -> None:
    client = room.bench(14)
    answer = client.post("/bench/commit")
    assert answer.status_code == 422 and "Before you can commit, fill in" in answer.text
    for step in WORK:
        _work(client, step)
    _work(client, "calculation", kinetic_energy="a lot")
    assert "not understood as a number" in client.post("/bench/commit").text
    _work(client, "calculation")
    text = client.get("/bench").text
    assert "This opens when you have committed." in text and "comparison_says" not in text
    text = _post(client, "/bench/commit")
    assert room.state(14).committed_at
    # 0.24 and 0.22 differ by 0.02, which is 8.7 % of their mean 0.23 (by hand).
    assert "8.7 % of the average of the two energies apart; up to 5 % counts as the same" in words(text).replace("\xa0", " ")
    assert "By the rule of your class they differ." in text and "Your claim was: we cannot tell" in words(text)
    assert "KE: 0.24 J, from 0.22 J to 0.26 J" in text and "share the stretch from 0.22 J to 0.244 J" in text
    assert client.post("/bench/work", data={"step": "claim", "base": "0", "claim": "loss"}).status_code in (409, 422)
    assert room.state(14).work["claim"].fields["claim"] == "undecided"
    assert client.post("/bench/commit").status_code == 303


def test_hints_come_one_at_a_time_and_never_name_the_finding(room: TestRoom) -> None:
    fill(room, 15, "too-close")
    client = room.bench(15)
    client.get("/bench/trace")
    assert "Ask for a hint" in client.get("/bench").text
    text = _post(client, "/bench/hint")
    (code, grade), = room.state(15).hints
    assert grade == "look" and HINTS[code].look in words(text).replace("&#39;", "'")
    assert code not in text and code.replace("-", " ") not in text
    answer = client.post("/bench/hint")
    assert answer.status_code == 429 and "You had a hint a moment ago." in answer.text
    assert len(room.state(15).hints) == 1
    # A group cannot undo its hint to ask again, nor release one by name.
    seq = room.state(15).seq
    assert client.post("/bench/undo", data={"change": str(seq)}).status_code == 422
    answer = client.post("/api/bench/changes", json={"kind": "hint-released", "body": {"code": code, "grade": "measure"}})
    assert answer.status_code == 422
    # The teacher's own release waits for nobody.
    room.do(15, "hint-released", code=code, grade="question")
    assert HINTS[code].question in words(client.get("/bench").text).replace("&#39;", "'")


def test_a_bench_without_findings_has_no_hint_to_ask_for(room: TestRoom) -> None:
    fill(room, 16)
    client = room.bench(16)
    client.get("/bench/trace")
    assert "Ask for a hint" not in client.get("/bench").text
    assert client.post("/bench/hint").status_code == 422


def test_between_two_hints_lie_two_minutes_whatever_the_clock_does() -> None:
    now = datetime(2026, 3, 4, 10, 0, tzinfo=UTC)

    def change(at: datetime, actor: str = "bench", seq: int = 5) -> Change:
        text = at.isoformat().replace("+00:00", "Z")
        return Change(seq, text, "hint-released", actor, 1, {"code": "clock", "grade": "look"})  # type: ignore[arg-type]

    assert hint_wait([], frozenset(), now=now) is None
    assert hint_wait([change(now)], frozenset(), now=now + timedelta(seconds=119)) == now + BETWEEN_HINTS
    assert hint_wait([change(now)], frozenset(), now=now + timedelta(seconds=121)) is None
    assert hint_wait([change(now, "teacher")], frozenset(), now=now) is None
    assert hint_wait([change(now)], frozenset({5}), now=now) is None
    assert hint_wait([change(now + timedelta(hours=1))], frozenset(), now=now) is None, "a clock set back closes no door"


def test_the_teacher_is_called_and_called_off(room: TestRoom) -> None:
    client = room.bench(17)
    assert "Your teacher was called" in words(_post(client, "/bench/do", {"kind": "help-asked"}))
    assert room.state(17).help_at
    _post(client, "/bench/do", {"kind": "help-given"})
    assert not room.state(17).help_at


def test_a_bench_undoes_its_own_changes_alone(room: TestRoom) -> None:
    client, other = room.bench(18), room.bench(19)
    _post(client, "/bench/name", {"name": "A"})
    seq = room.state(18).seq
    assert other.post("/bench/undo", data={"change": str(seq)}).status_code == 422
    assert room.state(18).name == "A"


def test_after_the_bell_everything_is_read_and_nothing_is_changed(tmp_path: Path) -> None:
    with open_room(tmp_path) as room:
        fill(room, 1)
        client = room.bench(1)
        _work(client, "claim")
        room.store.append(room.section, Draft("bell-rung", "teacher", None, {}))
        text = client.get("/bench").text
        assert "The lesson is over." in text and "<textarea" not in text and 'method="post"' not in text
        assert "They overlap." in text
        # What somebody was still typing is taken for a while, and marked as late.
        base = str(room.state(1).work["claim"].seq)
        answer = client.post("/bench/work", data={"step": "claim", "base": base, "claim": "loss", "claim_why": "Just in time."})
        assert answer.status_code == 303
        saved = room.state(1).work["claim"]
        assert saved.fields["claim_why"] == "Just in time." and saved.late
        page = room.teacher.get(room.path("/benches/1")).text
        assert "Sent after the bell: Our claim." in words(page)
        assert client.post("/bench/name", data={"name": "Late"}).status_code == 422


def test_what_comes_too_long_after_the_bell_is_shown_again_and_not_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_room(tmp_path) as room:
        fill(room, 1)
        client = room.bench(1)
        _work(client, "claim")
        room.store.append(room.section, Draft("bell-rung", "teacher", None, {}))
        monkeypatch.setattr("joulebook.classroom.section.LATE_SECONDS", -1.0)
        answer = client.post("/bench/work", data={"step": "claim", "base": "99", "claim_why": "too late"})
        assert answer.status_code == 422
        assert "came too late" in answer.text and "too late" in words(answer.text)
        assert room.state(1).work["claim"].fields["claim_why"] == "They overlap."


def test_the_houses_decimal_sign_is_shown(tmp_path: Path) -> None:
    with open_room(tmp_path) as room:
        room.store.append(room.section, Draft("rules-set", "teacher", None, {"house": {"numbers": {"decimal": ","}}}))
        fill(room, 1)
        client = room.bench(1)
        record = room.state(1).launches[0].id
        part = client.get("/bench/trace", params={"record": record, "at": "1.25"}).text
        assert "1,250" in part and "1.250" not in re.sub(r'(data|value|d)[a-z0-9-]*="[^"]*"', "", part)
        # A saved reading is shown with it, and sending it as it is shown changes nothing.
        room.store.append(room.section, Draft("values-set", "bench", 1, {"values": {"cart.mass": "0.5125 kg ± 0.0015 kg"}}))
        page = client.get("/bench").text
        assert 'value="0,5125"' in page and 'value="0,0015"' in page
        seq = room.state(1).seq
        form = {"mass-value": "0,5125", "mass-give": "0,0015", "mass-unit": "kg", "was-mass": "0.5125 kg ± 0.0015 kg"}
        client.post("/bench/set-up", data=form)
        assert room.state(1).values["cart.mass"] == "0.5125 kg ± 0.0015 kg"
        assert room.state(1).seq in (seq, seq + 1), "only how it was measured may be new"
