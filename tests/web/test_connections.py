"""Connections that send nothing, or that are too many, do not close the room to others (RFC 9110 leaves the limits to the server)."""

from __future__ import annotations

import socket
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from tests.web.served import Served, served

from joulebook.web import connections

PATIENCE = 20.0


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(Path(tmp_path_factory.mktemp("connections"))) as room:
        yield room


def _connect(room: Served) -> socket.socket:
    place = urlsplit(room.url)
    assert place.hostname and place.port
    return socket.create_connection((place.hostname, place.port), timeout=PATIENCE)


def _ended(line: socket.socket) -> bool:
    """Whether the other side ends the connection, without a word, before our patience does."""
    try:
        return line.recv(100) == b""
    except ConnectionResetError:
        return True
    except TimeoutError:
        return False


def _answers(room: Served) -> bool:
    with urllib.request.urlopen(room.url, timeout=PATIENCE) as answer:
        return bool(answer.status == 200)


@pytest.mark.parametrize("sent", [b"", b"GET / HTTP/1.1\r\nHost: 127.0.0.1"])
def test_a_connection_without_a_whole_request_is_ended(opened: Served, monkeypatch: pytest.MonkeyPatch, sent: bytes) -> None:
    monkeypatch.setattr(connections, "HEADER_SECONDS", 0.3)
    with _connect(opened) as line:
        line.sendall(sent)
        assert _ended(line)
    assert _answers(opened)


def test_headers_that_come_a_byte_at_a_time_do_not_hold_the_line(opened: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "HEADER_SECONDS", 0.3)
    with _connect(opened) as line:
        line.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n")
        line.settimeout(0.02)
        end, ended = time.monotonic() + PATIENCE, False
        while not ended and time.monotonic() < end:
            try:
                line.sendall(b"x")
                ended = line.recv(100) == b""
            except TimeoutError:
                continue
            except (ConnectionResetError, BrokenPipeError):
                ended = True
        assert ended


def test_a_second_request_on_the_same_line_has_its_deadline_too(opened: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "HEADER_SECONDS", 0.3)
    with _connect(opened) as line:
        host = urlsplit(opened.url).netloc.encode()
        line.sendall(b"GET / HTTP/1.1\r\nHost: " + host + b"\r\n\r\n")
        assert line.recv(20).startswith(b"HTTP/1.1 200")
        line.sendall(b"GET / HT")
        end = time.monotonic() + PATIENCE
        while line.recv(65536):
            assert time.monotonic() < end


def test_one_machine_cannot_take_every_connection(opened: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "AT_ONCE", 3)
    held = [_connect(opened) for _ in range(3)]
    with _connect(opened) as more:
        more.settimeout(0.3)
        assert not _ended(more), "this machine itself is trusted"
    monkeypatch.setattr(connections, "_LOOPBACK", ())
    with _connect(opened) as more:
        assert _ended(more)
    for line in held:
        line.close()
    end = time.monotonic() + PATIENCE
    while connections.GuardedProtocol._held and time.monotonic() < end:
        time.sleep(0.01)
    assert not connections.GuardedProtocol._held, "a connection that ended is forgotten"
    assert _answers(opened)
