"""How one server is set up."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from pathlib import Path

__all__ = ["Settings"]


@dataclass(frozen=True, slots=True)
class Settings:
    """What a server needs to know besides its store.

    host, port: where it listens. hosts: names under which a browser may ask for it, ports left out (against DNS rebinding).
    address: how benches reach it, as it is printed on cards. lan: whether it is open to the local network.
    secret: signs the session cookies. epoch: part of every teacher's cookie; a new one signs all of them out. `serve` keeps both
    in the store, so that a restart in the middle of a lesson signs nobody out.
    sign_in_token: of the one-time link printed at start, "" for none.
    watch: a folder that benches save to, and watch_section the section that its files belong to.
    judges: processes that read and audit. judge_seconds: time that one judgement may take before it is given up.
    body_seconds: time in which a request's body must have come. session_hours: how long a browser stays signed in.
    """

    host: str = "127.0.0.1"
    port: int = 8765
    hosts: tuple[str, ...] = ("127.0.0.1", "localhost", "[::1]")
    address: str = "http://127.0.0.1:8765"
    lan: bool = False
    secret: str = field(default_factory=lambda: secrets.token_urlsafe(32), repr=False)
    epoch: str = field(default_factory=lambda: secrets.token_urlsafe(8), repr=False)
    sign_in_token: str = field(default_factory=lambda: secrets.token_urlsafe(24), repr=False)
    watch: Path | None = None
    watch_section: str = ""
    judges: int = 2
    judge_seconds: float = 20.0
    body_seconds: float = 30.0
    session_hours: float = 12.0
