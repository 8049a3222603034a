"""Connections that never become a request: each has a deadline for its headers, and no machine may hold very many at once.

The server counts its connections, and closes its door when there are too many. Without this, one machine that opens hundreds and
sends nothing would shut out the class.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Any, ClassVar

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

__all__ = ["AT_ONCE", "HEADER_SECONDS", "GuardedProtocol"]

HEADER_SECONDS = 10.0
"""s within which the headers of a request must have come, once its connection is open."""

AT_ONCE = 48
"""Connections that one machine may hold: a browser needs six and one for the news, and a desk has more than one."""

_LOOPBACK = ("127.0.0.1", "::1")


class GuardedProtocol(H11Protocol):
    """uvicorn's HTTP/1.1 with a deadline for headers and a limit for each machine but this one."""

    _held: ClassVar[Counter[str]] = Counter()
    _asker = ""
    _deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection, or refuse it when its machine holds too many already."""
        super().connection_made(transport)
        self._asker = self.client[0] if self.client else ""
        self._held[self._asker] += 1
        if self._held[self._asker] > AT_ONCE and self._asker not in _LOOPBACK:
            transport.abort()
            return
        self._await_headers()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget a connection."""
        self._stop_waiting()
        self._held[self._asker] -= 1
        if self._held[self._asker] <= 0:
            del self._held[self._asker]
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take bytes; the deadline runs on while they are no whole request yet."""
        super().data_received(data)
        if self.conn.their_state is h11.IDLE and self.conn.trailing_data[0]:
            if self._deadline is None:
                self._await_headers()
        elif self.conn.their_state is not h11.IDLE:
            self._stop_waiting()

    def _await_headers(self) -> None:
        self._deadline = self.loop.call_later(HEADER_SECONDS, self._too_slow)

    def _stop_waiting(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None

    def _too_slow(self) -> None:
        self._deadline = None
        transport: Any = self.transport
        if not transport.is_closing():
            transport.abort()
