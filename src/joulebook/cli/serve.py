"""`joulebook serve`: the room in a browser."""

from __future__ import annotations

import secrets
import socket
from pathlib import Path
from typing import TYPE_CHECKING

import click

from joulebook.cli.paths import ExistingPath
from joulebook.errors import InputError, OutputError

if TYPE_CHECKING:
    from joulebook.store.store import Store

__all__ = ["lan_address", "serve"]

_NEEDED = ("fastapi", "uvicorn", "sqlalchemy", "alembic", "jinja2", "argon2", "itsdangerous", "multipart", "segno", "watchfiles")


@click.command()
@click.option("--lan", is_flag=True, help="Open the room to the local network, for phones and other computers.")
@click.option(
    "--port", type=click.IntRange(0, 65535), default=8765, show_default=True, help="Port to listen on; 0: any free one."
)
@click.option(
    "--store", "url", metavar="URL", help="Database, such as postgresql+psycopg://…; a file in the data folder unless given."
)
@click.option(
    "--data", metavar="FOLDER", type=click.Path(file_okay=False), help="Data folder; the usual one of this machine unless given."
)
@click.option("--watch", metavar="FOLDER", type=ExistingPath(file_okay=False), help="Take in what benches save to this folder.")
@click.option("--section", metavar="ID", help="The section that --watch is for; the newest unless given.")
@click.option("--demo", is_flag=True, help="Open a room filled with the invented demo section, in a store of its own.")
@click.option("--open/--no-open", "open_browser", default=False, help="Open the teacher's page in this machine's browser.")
def serve(
    lan: bool,
    port: int,
    url: str | None,
    data: str | None,
    watch: str | None,
    section: str | None,
    demo: bool,
    open_browser: bool,
) -> None:
    """Run the room: one period with a dozen benches, in a browser.

    No internet and no accounts. The link that is printed signs the teacher in once; Ctrl-C ends the room, and everything that was
    saved is kept. Without --lan only this machine can open it.
    """
    _check_packages()
    import uvicorn

    from joulebook.store.database import open_store
    from joulebook.web.app import create_app
    from joulebook.web.connections import GuardedProtocol
    from joulebook.web.settings import Settings
    from joulebook.web.sign_in import EPOCH

    if section and not watch:
        raise click.UsageError("--section is of use with --watch alone.")
    folder = Path(data) if data else None
    if demo:
        from joulebook.store.places import data_folder

        folder = (folder or data_folder()) / "demo"
    listener = _listen("0.0.0.0" if lan else "127.0.0.1", port)
    port = listener.getsockname()[1]
    with open_store(url, folder=folder) as store:
        if demo:
            from joulebook.api.demo_room import fill_demo_room

            fill_demo_room(store)
        chosen = _watched(store, section) if watch else ""
        here = lan_address() if lan else "127.0.0.1"
        hosts = (
            "127.0.0.1",
            "localhost",
            "[::1]",
            *((here, socket.gethostname(), f"{socket.gethostname()}.local") if lan else ()),
        )
        settings = Settings(
            port=port, hosts=hosts, address=f"http://{here}:{port}", lan=lan, secret=_kept(store, "cookie-secret", 32),
            epoch=_kept(store, EPOCH, 8), watch=Path(watch) if watch else None, watch_section=chosen,
        )  # fmt: skip
        app = create_app(store, settings)
        link = f"http://127.0.0.1:{port}/sign-in/{settings.sign_in_token}"
        click.echo(_welcome(settings, link))
        if open_browser:
            click.launch(link)
        config = uvicorn.Config(
            app, log_level="warning", access_log=False, server_header=False, timeout_graceful_shutdown=3, limit_concurrency=400,
            proxy_headers=False, http=GuardedProtocol,
        )  # fmt: skip
        uvicorn.Server(config).run(sockets=[listener])


def lan_address() -> str:
    """Return this machine's address in the local network, 127.0.0.1 when it has none. Nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Connecting a datagram socket only looks up the route; 192.0.2.1 is an address of documentation (RFC 5737).
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def _listen(host: str, port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
    except OSError as error:
        listener.close()
        what = f"Port {port} of {host} cannot be used: {error.strerror}."
        raise OutputError(what, remedy="Another room may be running; end it, or name another port with --port.") from None
    listener.listen(128)
    return listener


def _check_packages() -> None:
    from importlib.util import find_spec

    missing = [name for name in _NEEDED if find_spec(name) is None]
    if missing:
        what = f"The room needs packages that are not installed: {', '.join(missing)}."
        raise InputError(what, remedy="Install them with: python -m pip install 'joulebook[room]'.", code="packages")


def _watched(store: Store, section: str | None) -> str:
    lines = store.sections()
    if section is None:
        if not lines:
            raise InputError(
                "There is no section that a watched folder could belong to.", remedy="Make one first, then start again."
            )
        return lines[0].id
    if section not in [line.id for line in lines]:
        known = ", ".join(f"{line.id} ({line.title})" for line in lines[:6]) or "none"
        raise InputError(f"There is no section {section!r}.", remedy=f"Known: {known}.")
    return section


def _kept(store: Store, name: str, length: int) -> str:
    """Return a secret of the store, made at its first use, so that a restart signs nobody out."""
    kept = store.setting(name)
    if kept is None:
        kept = secrets.token_urlsafe(length)
        store.set_setting(name, kept)
    return kept


def _welcome(settings: object, link: str) -> str:
    from joulebook.web.settings import Settings

    assert isinstance(settings, Settings)
    lines = ["The room is open. Teacher, open this link; it works once, and this browser then stays signed in:", f"  {link}"]
    if settings.lan:
        lines += [
            f"Benches on the local network join at {settings.address}",
            "Everyone in this network can reach the join page. Pages are sent unencrypted: use a network that you trust.",
        ]
    else:
        lines += ["Only this machine can open it. To let phones and other computers join, start it with --lan."]
    if settings.watch is not None:
        lines += [f"Files saved to {settings.watch} are taken in."]
    return "\n".join([*lines, "Ctrl-C ends the room; everything that was saved is kept."])
