"""What every request must pass before a page sees it, and what every answer carries.

Each rule is a small ASGI layer of its own, put together in `app.create_app`:
known host names (DNS rebinding), the Origin of whatever changes something (cross-site requests), the size and the time of a
body, and the headers that keep a page from loading or running anything that is not ours.
"""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from collections.abc import Callable, Mapping
from time import monotonic
from types import MappingProxyType
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["CONTENT_SECURITY_POLICY", "HEADERS", "BodyLimit", "KnownHosts", "Limiter", "OriginCheck", "SafeHeaders"]

CONTENT_SECURITY_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)

HEADERS: Mapping[str, str] = MappingProxyType(
    {
        "Content-Security-Policy": CONTENT_SECURITY_POLICY,
        "X-Content-Type-Options": "nosniff",
        "Referrer-Policy": "same-origin",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Permissions-Policy": "camera=(), microphone=(), geolocation=(), usb=()",
        "Cache-Control": "no-store",
    }
)
"""What every answer carries; the style sheet and the modules may be kept by the browser and say so themselves."""

_SAFE_METHODS = ("GET", "HEAD", "OPTIONS")


class SafeHeaders:
    """Puts HEADERS on every answer that does not set them itself."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    if name not in headers:
                        headers[name] = value
            await send(message)

        await self.app(scope, receive, sent)


class KnownHosts:
    """Refuses a request for a host name that is not ours. hosts: without ports, lower case."""

    def __init__(self, app: ASGIApp, *, hosts: tuple[str, ...]) -> None:
        self.app, self.hosts = app, {host.casefold() for host in hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            host = Headers(scope=scope).get("host", "").casefold()
            name = host if host.endswith("]") else host.rsplit(":", 1)[0] if ":" in host else host
            if name not in self.hosts:
                text = "This address is not one of joulebook's. Use the address that it printed when it was started.\n"
                await PlainTextResponse(text, status_code=421)(scope, receive, send)
                return
        await self.app(scope, receive, send)


class OriginCheck:
    """Refuses whatever changes something unless a page of ours sent it (RFC 6454; Referer where a browser leaves Origin out)."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and scope["method"] not in _SAFE_METHODS:
            headers = Headers(scope=scope)
            host = headers.get("host", "").casefold()
            origin = headers.get("origin") or headers.get("referer") or ""
            if not host or urlsplit(origin).netloc.casefold() != host:
                text = "This request did not come from one of joulebook's own pages, so nothing was changed.\n"
                await PlainTextResponse(text, status_code=403)(scope, receive, send)
                return
        await self.app(scope, receive, send)


class BodyLimit:
    """Refuses a body that is too large or comes too slowly.

    size: bytes allowed by path. seconds: in which all of it must have come.
    """

    def __init__(self, app: ASGIApp, *, size: Callable[[str], int], seconds: float = 30.0) -> None:
        self.app, self.size, self.seconds = app, size, seconds

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] in _SAFE_METHODS:
            await self.app(scope, receive, send)
            return
        limit = self.size(scope["path"])
        declared = Headers(scope=scope).get("content-length", "0")
        if not declared.isdigit() or int(declared) > limit:
            await _too_large(limit)(scope, receive, send)
            return
        # The whole body is taken in before the page is asked: it is small, and a page never waits for a slow sender.
        parts: list[bytes] = []
        length, deadline = 0, monotonic() + self.seconds
        while True:
            try:
                message = await asyncio.wait_for(receive(), max(deadline - monotonic(), 0.001))
            except TimeoutError:
                text = f"The request did not arrive within {self.seconds:g} s, so nothing was changed. Send it again.\n"
                await PlainTextResponse(text, status_code=408)(scope, receive, send)
                return
            if message["type"] == "http.disconnect":
                return
            parts.append(message.get("body", b""))
            length += len(parts[-1])
            if length > limit:
                await _too_large(limit)(scope, receive, send)
                return
            if not message.get("more_body", False):
                break
        whole: list[Message] = [{"type": "http.request", "body": b"".join(parts), "more_body": False}]

        async def replay() -> Message:
            return whole.pop() if whole else await receive()

        await self.app(scope, replay, send)


class Limiter:
    """Counts failed tries, for each asker and for all together (a token bucket each).

    each, together: tries allowed within `seconds`.
    """

    def __init__(self, *, each: int, together: int, seconds: float, clock: Callable[[], float] = monotonic) -> None:
        self._each, self._together, self._seconds, self._clock = each, together, seconds, clock
        self._tries: OrderedDict[str, list[float]] = OrderedDict()

    def wait(self, asker: str) -> float:
        """Return how many seconds the asker must wait before the next try, 0 when it may try now."""
        now = self._clock()
        since = now - self._seconds
        own = [at for at in self._tries.get(asker, ()) if at > since]
        everyone = sorted(at for tries in self._tries.values() for at in tries if at > since)
        waits = [0.0]
        if len(own) >= self._each:
            waits.append(own[-self._each] + self._seconds - now)
        if len(everyone) >= self._together:
            waits.append(everyone[-self._together] + self._seconds - now)
        return max(waits)

    def failed(self, asker: str) -> None:
        """Count a failed try."""
        now = self._clock()
        kept = [at for at in self._tries.get(asker, ()) if at > now - self._seconds][-self._each :]
        self._tries[asker] = [*kept, now]
        self._tries.move_to_end(asker)
        while len(self._tries) > 1_000:
            self._tries.popitem(last=False)


def _too_large(limit: int) -> PlainTextResponse:
    shown = f"{limit / 1_048_576:.0f} MB" if limit >= 1_048_576 else f"{limit / 1024:.0f} kB"
    text = f"This is larger than the {shown} that may be sent at once, so nothing was changed. Send it in smaller parts.\n"
    return PlainTextResponse(text, status_code=413)
