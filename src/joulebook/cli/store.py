"""`joulebook store`: where the room's data is, and how it is kept, moved and deleted."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from joulebook.cli.paths import ExistingPath
from joulebook.errors import InputError

if TYPE_CHECKING:
    from joulebook.store.backup import Restored
    from joulebook.store.store import SectionLine, Store

__all__ = ["store"]

_Command = TypeVar("_Command", bound=Callable[..., Any])
_NEEDED = ("sqlalchemy", "alembic")
_SHOWN = 6


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
def store() -> None:
    """Keep the room's data: list, export, import, back up, restore, delete.

    A SECTION is named by its id, which “joulebook store sections” lists, or by its title where only one has it.
    """


def _options(command: _Command) -> _Command:
    """Add the options that say which store is meant."""
    for option in (
        click.option("--data", metavar="FOLDER", type=click.Path(file_okay=False),
                     help="Data folder; the usual one of this machine unless given."),
        click.option("--store", "url", metavar="URL",
                     help="Database, such as postgresql+psycopg://…; a file in the data folder unless given."),
    ):  # fmt: skip
        command = option(command)
    return command


@store.command()
@_options
def where(url: str | None, data: str | None) -> None:
    """Say where the data is, how much there is, and who can read it."""
    with _open(url, data) as kept:
        lines = kept.sections()
        click.echo(f"The store is {kept.place}")
        if kept.engine.dialect.name == "sqlite":
            files = sorted(Path(kept.place).parent.glob(f"{Path(kept.place).name}*"))
            size = sum(file.stat().st_size for file in files)
            click.echo(f"It is {size / 1e6:.1f} MB large, on this machine; who can read this file can read everything in it.")
        else:
            click.echo("It is in a database server; its administrator can read everything in it.")
        click.echo(f"It holds {_count(len(lines), 'section')}. Nothing of it leaves this machine unless you export it or back it up.")


@store.command()
@_options
def sections(url: str | None, data: str | None) -> None:
    """List the sections, the newest first."""
    with _open(url, data) as kept:
        lines = kept.sections()
    if not lines:
        click.echo("There are no sections yet. “joulebook serve” opens the room, where they are made.")
    for line in lines:
        closed = ", closed" if line.closed else ""
        day = line.made_at[:10]
        click.echo(f"{line.id}  {day}  {_count(line.benches, 'bench', 'benches')}, {_count(line.seq, 'change')}{closed}  {line.title}")


@store.command()
@click.argument("section")
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--names", is_flag=True, help="Let the names that groups gave themselves go with it.")
@_options
def export(section: str, file: str, names: bool, url: str | None, data: str | None) -> None:
    """Write a SECTION into a FILE: a data package (.zip), or a workbook (.xlsx).

    The package holds tables, bench files, records as they came, audits and the log. No codes of benches are in it, and no names of
    groups unless you ask for them. Only the package can be taken in again.
    """
    ending = Path(file).suffix.casefold()
    if ending not in (".zip", ".xlsx"):
        raise click.UsageError(f"{file} ends in neither .zip (a data package) nor .xlsx (a workbook). Name it accordingly.")
    with _open(url, data) as kept:
        line = _section(kept, section)
        if ending == ".zip":
            from joulebook.store.package import export_package

            export_package(kept, line.id, file, pseudonyms=names)
        else:
            from joulebook.store.workbook import export_workbook

            export_workbook(kept, line.id, file, pseudonyms=names)
    click.echo(f"“{line.title}” is written to {file}")


@store.command("import")
@click.argument("file", type=ExistingPath(dir_okay=False))
@_options
def import_(file: str, url: str | None, data: str | None) -> None:
    """Take an exported section (.zip) in, as a new one with new codes."""
    from joulebook.store.package import import_package

    with _open(url, data) as kept:
        section = import_package(kept, file)
        title = kept.section(section).title
    click.echo(f"“{title}” is taken in as section {section}. Its benches have new codes.")


@store.command()
@click.argument("file", type=click.Path(dir_okay=False))
@_options
def backup(file: str, url: str | None, data: str | None) -> None:
    """Write the whole store into one FILE (.zip), which fits any store.

    Passphrase and sessions stay behind. The file holds what students wrote: keep it as safe as the store.
    """
    with _open(url, data) as kept:
        from joulebook.store.backup import back_up

        done = back_up(kept, file)
    click.echo(f"{_amount(done)} written to {file}")


@store.command()
@click.argument("file", type=ExistingPath(dir_okay=False))
@click.option("--replace", is_flag=True, help="Let sections of the backup take the place of those that the store holds already.")
@_options
def restore(file: str, replace: bool, url: str | None, data: str | None) -> None:
    """Take the sections of a backup FILE in, all or none."""
    with _open(url, data) as kept:
        from joulebook.store.backup import restore as restore_all

        done = restore_all(kept, file, replace=replace)
    click.echo(f"{_amount(done)} restored from {file}")


@store.command()
@click.argument("section")
@click.option("--yes", is_flag=True, help="Do not ask for the title.")
@_options
def delete(section: str, yes: bool, url: str | None, data: str | None) -> None:
    """Delete a SECTION for good: its log, records, codes and audits. There is no way back but a backup."""
    with _open(url, data) as kept:
        line = _section(kept, section)
        if not yes:
            click.echo(f"“{line.title}”, {_count(line.benches, 'bench', 'benches')}, {_count(line.seq, 'change')}, is about to be "
                       "deleted for good.")  # fmt: skip
            typed = click.prompt("Type its title to go on", default="", show_default=False)
            if typed.strip() != line.title.strip():
                raise InputError("That is not its title, and nothing was deleted.", remedy="Type it as it stands there.")
        kept.delete_section(line.id)
    click.echo(f"“{line.title}” is deleted.")


def _open(url: str | None, data: str | None) -> Store:
    from importlib.util import find_spec

    missing = [name for name in _NEEDED if find_spec(name) is None]
    if missing:
        what = f"The store needs packages that are not installed: {', '.join(missing)}."
        raise InputError(what, remedy="Install them with: python -m pip install 'joulebook[room]'.", code="packages")
    from joulebook.store.database import open_store

    return open_store(url, folder=data)


def _section(kept: Store, named: str) -> SectionLine:
    """Return the section of this id or title. Raises InputError when there is none or more than one."""
    lines = kept.sections()
    found = [line for line in lines if line.id == named] or [line for line in lines if line.title == named]
    if len(found) == 1:
        return found[0]
    if found:
        raise InputError(f"{len(found)} sections are called {named!r}.", remedy=f"Name one by its id: {_listed(found)}.")
    remedy = f"There is {_listed(lines)}." if lines else "The store is empty: look at --store and --data."
    raise InputError(f"There is no section {named!r}.", remedy=remedy, code="no-section")


def _listed(lines: list[SectionLine]) -> str:
    more = f" and {len(lines) - _SHOWN} more" if len(lines) > _SHOWN else ""
    return ", ".join(f"{line.id} ({line.title}, {line.made_at[:10]})" for line in lines[:_SHOWN]) + more


def _amount(done: Restored) -> str:
    sections_, changes = _count(len(done.sections), "section"), _count(done.changes, "change")
    return f"{sections_} with {changes} and {_count(done.files, 'record')}"


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"
