"""The rules that every request must pass, each on an application that does nothing but echo."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from starlette.testclient import TestClient
from starlette.types import Message

from joulebook.web.security import CONTENT_SECURITY_POLICY, HEADERS, BodyLimit, KnownHosts, Limiter, OriginCheck, SafeHeaders

BASE = "http://room.example:8765"


async def _echo(request: Request) -> PlainTextResponse:
    return PlainTextResponse(await request.body() or b"nothing")


def _client(*layers: Any) -> TestClient:
    app: Any = Starlette(routes=[Route("/{rest:path}", _echo, methods=["GET", "POST"])])
    for layer in layers:
        app = layer(app)
    return TestClient(app, base_url=BASE)


def test_every_answer_carries_the_headers() -> None:
    answer = _client(SafeHeaders).get("/")
    assert {name: answer.headers[name] for name in HEADERS} == dict(HEADERS)


def test_the_policy_allows_no_inline_script_or_style_and_no_foreign_source() -> None:
    # CSP Level 3: what is not named falls back to default-src.
    rules = dict(part.strip().split(" ", 1) for part in CONTENT_SECURITY_POLICY.split(";"))
    assert rules["default-src"] == "'none'"
    assert rules["script-src"] == rules["style-src"] == "'self'"
    assert "unsafe" not in CONTENT_SECURITY_POLICY and "http" not in CONTENT_SECURITY_POLICY
    assert rules["frame-ancestors"] == rules["base-uri"] == "'none'"


@pytest.mark.parametrize("host", ["room.example", "room.example:8765", "ROOM.example:1"])
def test_a_known_host_is_served(host: str) -> None:
    client = _client(lambda app: KnownHosts(app, hosts=("room.example",)))
    assert client.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize("host", ["evil.example", "room.example.evil.example:8765", "", "127.0.0.1"])
def test_another_host_is_refused(host: str) -> None:
    client = _client(lambda app: KnownHosts(app, hosts=("room.example",)))
    answer = client.get("/", headers={"host": host})
    assert answer.status_code == 421
    assert "Use the address that it printed" in answer.text


def test_an_address_in_brackets_is_known_by_itself() -> None:
    client = _client(lambda app: KnownHosts(app, hosts=("[::1]",)))
    assert client.get("/", headers={"host": "[::1]:8765"}).status_code == 200
    assert client.get("/", headers={"host": "[::1]"}).status_code == 200
    assert client.get("/", headers={"host": "[::2]:8765"}).status_code == 421


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": BASE}, 200),
        ({"referer": f"{BASE}/bench"}, 200),
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": "null", "referer": f"{BASE}/bench"}, 403),
        ({"origin": "http://room.example:80"}, 403),
        ({"referer": f"http://evil.example/{BASE}"}, 403),
        ({}, 403),
    ],
)
def test_whatever_changes_something_needs_our_origin(headers: dict[str, str], status: int) -> None:
    answer = _client(OriginCheck).post("/", headers=headers, content=b"x")
    assert answer.status_code == status
    if status == 403:
        assert "nothing was changed" in answer.text


def test_reading_needs_no_origin() -> None:
    assert _client(OriginCheck).get("/", headers={"origin": "http://evil.example"}).status_code == 200


def _limited(app: Any) -> BodyLimit:
    return BodyLimit(app, size=lambda path: 1000 if path.endswith("/records") else 100)


@pytest.mark.parametrize(
    ("path", "size", "status"), [("/x", 100, 200), ("/x", 101, 413), ("/a/records", 1000, 200), ("/a/records", 1001, 413)]
)
def test_a_body_is_limited_by_its_path(path: str, size: int, status: int) -> None:
    answer = _client(_limited).post(path, content=b"x" * size)
    assert answer.status_code == status
    assert ("larger than" in answer.text) == (status == 413)


def test_a_body_of_unknown_length_is_counted_as_it_comes() -> None:
    def pieces() -> Iterator[bytes]:
        for _ in range(11):
            yield b"x" * 10

    assert _client(_limited).post("/x", content=pieces()).status_code == 413


def test_a_length_that_is_no_number_is_refused() -> None:
    assert _client(_limited).post("/x", content=b"x", headers={"content-length": "-1"}).status_code == 413


def test_a_body_that_does_not_come_is_given_up() -> None:
    sent: list[Message] = []

    async def ask() -> None:
        async def receive() -> Message:
            await asyncio.sleep(60.0)
            raise AssertionError("nobody waits that long")

        async def send(message: Message) -> None:
            sent.append(message)

        async def app(*_: Any) -> None:
            raise AssertionError("the page must not be asked")

        scope = {"type": "http", "method": "POST", "path": "/x", "headers": [(b"content-length", b"5")]}
        await BodyLimit(app, size=lambda _: 100, seconds=0.05)(scope, receive, send)

    asyncio.run(ask())
    assert sent[0]["status"] == 408


def test_a_limiter_counts_each_asker_and_all_together() -> None:
    now = [0.0]
    limiter = Limiter(each=2, together=3, seconds=60.0, clock=lambda: now[0])
    assert limiter.wait("a") == 0.0
    limiter.failed("a")
    now[0] = 10.0
    limiter.failed("a")
    assert limiter.wait("a") == pytest.approx(50.0)
    assert limiter.wait("b") == 0.0
    limiter.failed("b")
    assert limiter.wait("c") == pytest.approx(50.0), "three failures of anybody close the door to all"
    now[0] = 60.5
    assert limiter.wait("a") == 0.0
    assert limiter.wait("c") == 0.0


def test_a_limiter_does_not_grow_without_bound() -> None:
    limiter = Limiter(each=2, together=10**9, seconds=60.0, clock=lambda: 0.0)
    for number in range(5_000):
        limiter.failed(str(number))
    assert limiter.wait("0") == 0.0, "the oldest askers are forgotten"
