"""Who gets in, how often one may try, and what the cookie is like."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from tests.web.rooms import BASE, TestRoom, browser, open_room

from joulebook.store.database import open_store
from joulebook.web.app import create_app
from joulebook.web.settings import Settings
from joulebook.web.sign_in import EPOCH, PASSPHRASE

WORDS = "marble lantern otter seventy"


@pytest.fixture
def room(tmp_path: Path) -> Iterator[TestRoom]:
    with open_room(tmp_path, benches=2) as opened:
        yield opened


def test_the_printed_link_works_once(room: TestRoom) -> None:
    link = f"/sign-in/{room.settings.sign_in_token}"
    answer = room.visitor().get(link)
    assert answer.status_code == 403 and "used already" in answer.text
    assert room.teacher.get(link).status_code == 303, "whoever is signed in already goes on"
    assert room.visitor().get("/sign-in/guess").status_code == 403


def test_the_cookie_is_signed_and_out_of_reach_of_scripts_and_other_sites(tmp_path: Path) -> None:
    with open_store(folder=tmp_path) as store:
        app = create_app(store, Settings(judges=1))
        with browser(app) as client:
            answer = client.get(f"/sign-in/{app.state.settings.sign_in_token}")
            cookie = answer.headers["set-cookie"].casefold()
            assert "httponly" in cookie and "samesite=lax" in cookie
            forged = TestClient(app, base_url=BASE, follow_redirects=False)
            value = client.cookies["joulebook"]
            forged.cookies.set("joulebook", value[:-4] + ("aaaa" if not value.endswith("aaaa") else "bbbb"))
            assert forged.get("/sections").status_code == 303, "a cookie that was touched is nobody's"
            assert client.get("/sections").status_code == 200


def test_a_new_epoch_signs_every_teacher_out(tmp_path: Path) -> None:
    with open_store(folder=tmp_path) as store:
        first = create_app(store, Settings(judges=1, secret="s" * 32, epoch="one"))
        with browser(first) as client:
            client.get(f"/sign-in/{first.state.settings.sign_in_token}")
            kept = client.cookies["joulebook"]
        for epoch, status in (("one", 200), ("two", 303)):
            again = create_app(store, Settings(judges=1, secret="s" * 32, epoch=epoch))
            with browser(again) as client:
                client.cookies.set("joulebook", kept)
                assert client.get("/sections").status_code == status


def test_signing_out_everywhere_forgets_every_browser_of_the_teacher_and_no_bench(room: TestRoom) -> None:
    other, bench = room.visitor(), room.bench(1)
    room.teacher.post("/passphrase", data={"passphrase": WORDS})
    other.post("/sign-in", data={"passphrase": WORDS})
    kept = other.cookies["joulebook"]
    assert other.get("/sections").status_code == 200
    assert bench.post("/sign-out-everywhere").status_code in (303, 403), "not for a bench"
    assert other.get("/sections").status_code == 200
    assert room.teacher.post("/sign-out-everywhere").status_code == 303
    assert room.teacher.get("/sections").status_code == other.get("/sections").status_code == 303
    again = room.visitor()
    again.cookies.set("joulebook", kept)
    assert again.get("/sections").status_code == 303, "a cookie that was copied before is worth nothing"
    assert bench.get("/bench").status_code == 200
    assert room.store.setting(EPOCH)


def test_a_new_code_sends_out_whoever_came_in_by_the_old_one(room: TestRoom) -> None:
    guest, other = room.bench(1), room.bench(2)
    assert guest.get("/bench").status_code == other.get("/bench").status_code == 200
    room.teacher.post(room.path("/new-code"), data={"bench": "1"})
    assert guest.get("/bench").status_code == 303 and other.get("/bench").status_code == 200
    assert guest.post("/bench/do", data={"kind": "help-asked"}).status_code == 403
    assert room.bench(1).get("/bench").status_code == 200


def test_a_passphrase_is_kept_as_its_hash_alone_and_lets_the_teacher_in(room: TestRoom) -> None:
    assert room.teacher.post("/passphrase", data={"passphrase": "short"}).status_code == 422
    assert room.store.setting(PASSPHRASE) is None
    assert room.teacher.post("/passphrase", data={"passphrase": WORDS}).status_code == 303
    kept = room.store.setting(PASSPHRASE)
    assert kept is not None and kept.startswith("$argon2") and "otter" not in kept
    visitor = room.visitor()
    assert visitor.post("/sign-in", data={"passphrase": "marble lantern otter eighty"}).status_code == 403
    assert visitor.get("/sections").status_code == 303
    answer = visitor.post("/sign-in", data={"passphrase": WORDS, "next": "/store"})
    assert answer.status_code == 303 and answer.headers["location"] == "/store"
    assert visitor.get("/sections").status_code == 200
    assert visitor.post("/sign-out").status_code == 303 and visitor.get("/sections").status_code == 303


@pytest.mark.parametrize("elsewhere", ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:alert(1)", "/a\nb"])
def test_signing_in_never_leads_elsewhere(room: TestRoom, elsewhere: str) -> None:
    room.teacher.post("/passphrase", data={"passphrase": WORDS})
    answer = room.visitor().post("/sign-in", data={"passphrase": WORDS, "next": elsewhere})
    assert answer.headers["location"] == "/sections"


def test_passphrases_cannot_be_tried_without_end(room: TestRoom) -> None:
    room.teacher.post("/passphrase", data={"passphrase": WORDS})
    visitor = room.visitor()
    statuses = [visitor.post("/sign-in", data={"passphrase": f"guess number {n}"}).status_code for n in range(6)]
    assert statuses == [403] * 5 + [429]
    assert visitor.post("/sign-in", data={"passphrase": WORDS}).status_code == 429, "the right one does not help either"


def test_codes_cannot_be_tried_without_end(room: TestRoom) -> None:
    visitor = room.visitor()
    statuses = [visitor.post("/join", data={"code": f"XXXX{n:02d}"}).status_code for n in range(21)]
    assert statuses == [404] * 20 + [429]
    code = room.store.code(room.section, 1)
    assert visitor.get(f"/join/{code}").status_code == 429
    page = visitor.post("/join", data={"code": code})
    assert page.status_code == 429 and "Wait" in page.text


@pytest.mark.parametrize("form", ["{c}", "{l}", " {a} {b} ", "{a}-{b}"])
def test_a_code_is_taken_as_people_type_it(room: TestRoom, form: str) -> None:
    code = room.store.code(room.section, 2)
    typed = form.format(c=code, l=code.lower(), a=code[:3], b=code[3:])
    visitor = room.visitor()
    assert visitor.post("/join", data={"code": typed}).headers["location"] == "/bench"
    assert "Bench 2" in visitor.get("/bench").text


@pytest.mark.parametrize("typed", ["", "   ", "0" * 40, "' OR 1=1 --"])
def test_what_is_no_code_opens_nothing(room: TestRoom, typed: str) -> None:
    visitor = room.visitor()
    assert visitor.post("/join", data={"code": typed}).status_code == 404
    assert visitor.get("/bench").status_code == 303


def test_a_bench_whose_section_is_gone_is_asked_for_its_code_again(room: TestRoom) -> None:
    bench = room.bench(1)
    room.store.delete_section(room.section)
    assert bench.get("/bench").headers["location"] == "/"


def test_pages_say_what_is_not_there_and_carry_the_headers(room: TestRoom) -> None:
    answer = room.visitor().get("/nothing/here")
    assert answer.status_code == 404 and "There is no such page" in answer.text
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")
    for path in ("/static/room.css", "/static/pictures.css", "/api/openapi.json"):
        assert room.visitor().get(path).headers["x-content-type-options"] == "nosniff"


def test_a_form_of_another_site_changes_nothing(room: TestRoom) -> None:
    for headers in ({"Origin": "http://evil.example"}, {"Origin": "null"}):
        answer = room.teacher.post(room.path("/do"), data={"kind": "bell-rung"}, headers=headers)
        assert answer.status_code == 403
    assert not room.store.section(room.section).closed


def test_a_foreign_host_name_is_refused(room: TestRoom) -> None:
    assert room.teacher.get("/sections", headers={"Host": "evil.example"}).status_code == 421


def test_too_large_a_form_is_refused_before_it_is_read(room: TestRoom) -> None:
    assert room.bench(1).post("/bench/name", data={"name": "x" * 300_000}).status_code == 413
