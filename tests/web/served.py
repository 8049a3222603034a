"""A room served for a real browser: uvicorn in a thread of its own on a free port."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import uvicorn

from joulebook.store.database import open_store
from joulebook.store.store import Store
from joulebook.web.app import create_app
from joulebook.web.connections import GuardedProtocol
from joulebook.web.settings import Settings

CHROMIUM = next((path for path in ("/usr/bin/chromium", "/usr/bin/chromium-browser") if Path(path).exists()), "")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync"]


@dataclass(frozen=True)
class Served:
    """url: of the room. store: over which it runs. sign_in: the path of the one-time link."""

    url: str
    store: Store
    sign_in: str


@contextmanager
def launched() -> Iterator[Any]:
    """Launch Chromium, headless, until the block ends; a missing one is a failure, never a skip."""
    from playwright.sync_api import sync_playwright

    assert CHROMIUM, "Chromium is missing: Debian's package chromium"
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@contextmanager
def served(folder: Path) -> Iterator[Served]:
    """Serve a room until the block ends."""
    listener = socket.create_server(("127.0.0.1", 0))
    port = listener.getsockname()[1]
    with open_store(folder=folder) as store:
        settings = Settings(port=port, address=f"http://127.0.0.1:{port}", judges=1)
        config = uvicorn.Config(
            create_app(store, settings), log_level="error", access_log=False, timeout_graceful_shutdown=1, http=GuardedProtocol
        )
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        end = time.monotonic() + 30.0
        while not server.started:
            assert time.monotonic() < end, "the server does not start"
            time.sleep(0.02)
        yield Served(settings.address, store, f"/sign-in/{settings.sign_in_token}")
        server.should_exit = True
        thread.join(20.0)
        assert not thread.is_alive(), "the server does not end"
