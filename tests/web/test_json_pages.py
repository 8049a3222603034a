"""The room as JSON: what it does, what it refuses, and that nothing sent to it makes it fail."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from tests.classroom.benches import files
from tests.web.rooms import BASE, TestRoom, fill, open_room


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestRoom]:
    with open_room(tmp_path_factory.mktemp("json"), benches=3) as opened:
        yield opened


@pytest.fixture
def room(house: TestRoom) -> TestRoom:
    """A section of its own for each test."""
    return replace(house, section=house.store.make_section("Second period", benches=3))


TEACHERS = (
    "visited", "ledger-opened", "all-ledgers-opened", "hint-released", "record-added", "override-set", "bell-rung", "mark-set",
)  # fmt: skip
_SENT = ("method", "url", "headers", "params", "json", "data", "content")


def _record(content: bytes = b"t,d\n0,1\n", name: str = "a.csv", role: str = "launch") -> dict[str, str]:
    return {"name": name, "role": role, "content": base64.b64encode(content).decode()}


def test_a_section_is_made_and_its_codes_are_told_to_the_teacher(room: TestRoom) -> None:
    made = room.teacher.post(
        "/api/sections", json={"title": "Third period", "benches": 2, "house": {"numbers": {"decimal": "comma"}}}
    )
    assert made.status_code == 201
    told = made.json()
    assert room.store.find_code(told["codes"]["2"]) == (told["section"], 2)
    assert room.store.section(told["section"]).house.decimal == ","
    assert told["section"] in [line["id"] for line in room.teacher.get("/api/sections").json()]


def test_a_bench_saves_a_record_and_is_told_how_it_was_judged(room: TestRoom) -> None:
    content, values = files()
    bench = room.bench(1)
    measured = {name: text for name, text in values.items() if name in ("cart.mass", "track.angle", "track.rise", "track.along")}
    assert bench.post("/api/bench/changes", json={"kind": "values-set", "body": {"values": measured}}).status_code == 201
    foreign = bench.post("/api/bench/changes", json={"kind": "values-set", "body": {"values": {"place.gravity": "3 m/s^2"}}})
    assert foreign.status_code == 422 and "not a bench's to set" in foreign.json()["error"]["message"]
    for name, data in content.items():
        answer = bench.post("/api/bench/records", json=_record(data, name, "rest" if "rest" in name else "launch"))
        assert answer.status_code == 201 and answer.json()["record"]["state"] in ("fine", "checking"), answer.text
    room.teacher.get(f"/api/sections/{room.section}/benches/1")  # waits until it is judged
    again = bench.post("/api/bench/records", json=_record(content["launch-1.csv"], "again.csv"))
    assert again.status_code == 409 and again.json()["error"]["code"] == "double"
    view = bench.get("/api/bench").json()
    assert view["ledger"] is None and [line["state"] for line in view["records"]] == ["fine", "fine", "fine"]
    samples = bench.get(f"/api/bench/records/{view['records'][1]['id']}").json()
    assert len(samples["time_s"]) == len(samples["distance_m"]) > 20
    told = room.teacher.get(f"/api/sections/{room.section}/benches/1").json()
    assert told["audit"]["format"] == "joulebook/audit-1" and told["missing"] == []
    assert room.teacher.get(f"/api/sections/{room.section}/board").json()[-1]["standing"] == "measured"


def test_an_override_is_tried_without_being_kept(room: TestRoom) -> None:
    fill(room, 1)
    place = f"/api/sections/{room.section}/benches/1"
    before = room.teacher.get(place).json()["audit"]["launches"][0]["quantities"]["release_time"]["value"]
    record = room.state(1).launches[0].id
    tried = room.teacher.post(f"{place}/preview", json={"record": record, "release": before + 0.05}).json()
    assert tried["audit"]["launches"][0]["quantities"]["release_time"]["value"] == pytest.approx(before + 0.05)
    assert room.state(1).launches[0].override.release is None
    assert room.teacher.post(f"{place}/preview", json={"record": "r999"}).status_code == 404


def test_a_saved_step_is_not_written_over_by_an_older_page(room: TestRoom) -> None:
    bench = room.bench(1)

    def save(text: str, **more: Any) -> Any:
        body = {"step": "claim", "fields": {"claim_why": text}, **more.pop("body", {})}
        return bench.post("/api/bench/changes", json={"kind": "work-saved", "body": body, **more})

    first = save("ours", base=0).json()
    stale = save("theirs", base=0)
    assert stale.status_code == 409 and stale.json()["error"]["code"] == "stale"
    assert save("theirs", base=0, body={"over": first["seq"]}).status_code == 201
    assert room.state(1).work["claim"].fields == {"claim_why": "theirs"}


@pytest.mark.parametrize("kind", TEACHERS)
def test_a_bench_may_not_do_what_is_the_teachers(room: TestRoom, kind: str) -> None:
    answer = room.bench(1).post("/api/bench/changes", json={"kind": kind, "body": {}})
    assert answer.status_code == 422 and "not a bench's to change" in answer.json()["error"]["message"]


def test_a_bench_cannot_act_for_another_or_see_it(room: TestRoom) -> None:
    fill(room, 2)
    bench = room.bench(1)
    assert bench.post("/api/bench/changes", json={"kind": "help-asked", "bench": 2}).status_code == 422
    assert bench.get(f"/api/bench/records/{room.state(2).records[0].id}").status_code == 404
    change = room.store.changes(room.section)[-1].seq
    answer = bench.post("/api/bench/changes", json={"kind": "undone", "body": {"change": change}})
    assert answer.status_code == 422 and "not yours to undo" in answer.json()["error"]["message"]


@pytest.mark.parametrize(
    ("path", "method"),
    [("/api/sections", "get"), ("/api/sections", "post"), ("/api/sections/{s}", "get"), ("/api/sections/{s}/board", "get"),
     ("/api/sections/{s}/changes", "get"), ("/api/sections/{s}/changes", "post"), ("/api/sections/{s}/benches/1", "get"),
     ("/api/sections/{s}/benches/1/records", "post"), ("/api/sections/{s}/benches/1/preview", "post")],
)  # fmt: skip
def test_the_teachers_part_is_closed_to_benches_and_strangers(room: TestRoom, path: str, method: str) -> None:
    for client in (room.visitor(), room.bench(1)):
        answer = client.request(method, path.replace("{s}", room.section), json={} if method == "post" else None)
        assert answer.status_code == 403 and answer.json()["error"]["code"] == "not-signed-in"


def test_a_stranger_has_no_bench(room: TestRoom) -> None:
    assert room.visitor().get("/api/bench").status_code == 403


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ({**_record(), "content": "!!!"}, "not Base64"),
        ({**_record(), "content": ""}, "is empty"),
        ({"name": "a.csv", "role": "start", "content": "AA=="}, "role"),
        ({"name": "", "role": "rest", "content": "AA=="}, "name"),
    ],
)
def test_a_record_that_is_none_is_refused(room: TestRoom, body: dict[str, str], message: str) -> None:
    answer = room.bench(1).post("/api/bench/records", json=body)
    assert answer.status_code == 422 and message in answer.json()["error"]["message"] and answer.json()["error"]["remedy"]


@pytest.mark.slow
@pytest.mark.parametrize("who", ["teacher", "bench"])
def test_nothing_that_fits_the_description_makes_the_server_fail(house: TestRoom, who: str) -> None:
    """Requests made from the OpenAPI description itself: no server error, and answers as described."""
    client = house.teacher if who == "teacher" else house.bench(1)
    schema = schemathesis.openapi.from_dict(house.teacher.get("/api/openapi.json").json())
    prefix = "/api/sections" if who == "teacher" else "/api/bench"
    count = 0
    for result in schema.get_all_operations():
        operation = result.ok()
        if not operation.path.startswith(prefix):
            continue
        count += 1
        _exercise(operation, client)
    assert count >= (8 if who == "teacher" else 4)


def _exercise(operation: Any, client: Any) -> None:
    @settings(max_examples=12, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck))
    @given(case=operation.as_strategy())
    def run(case: Any) -> None:
        case.headers = {**(case.headers or {}), "Origin": BASE}
        arguments = case.as_transport_kwargs(base_url=BASE)
        response = client.request(**{name: value for name, value in arguments.items() if name in _SENT})
        assert response.status_code < 500, response.text
        assert str(response.status_code) in operation.definition.raw["responses"] or response.status_code in (404, 405), (
            response.text
        )

    run()
