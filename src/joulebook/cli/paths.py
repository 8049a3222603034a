"""Paths on the command line that have to be there, and what to do about one that is not."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click

__all__ = ["ExistingPath", "path_remedy"]

_SHOWN = 6
_SEARCHED = 100


class ExistingPath(click.Path):
    """A path that has to exist; where it does not, the error names what is there instead."""

    def __init__(self, *, file_okay: bool = True, dir_okay: bool = True) -> None:
        super().__init__(exists=True, file_okay=file_okay, dir_okay=dir_okay)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the path; raises click.BadParameter with a remedy."""
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter as error:
            remedy = path_remedy(os.fspath(value), file_okay=self.file_okay, dir_okay=self.dir_okay)
            raise click.BadParameter(f"{error.message} {remedy}", ctx, param) from None


def path_remedy(text: str, *, file_okay: bool = True, dir_okay: bool = True) -> str:
    """Return what to do about a path that cannot be used.

    It names what is there one folder further down or under a similar name, else what there is at all. file_okay, dir_okay: what
    is wanted.
    """
    try:
        path = Path(text)
        if path.is_dir():
            return f"It is a folder: name a file in it. {_listed(_names(path, files=True, folders=True), path)}"
        if path.exists():
            if not file_okay:
                return f"Name the folder that it lies in, {_shown(path.resolve().parent)}."
            return "See who may read it."
        folder = next(each for each in path.parents if each.exists())
        wanted = path.relative_to(folder).parts
        if not folder.is_dir():
            return f"{_shown(folder)} is a file and holds nothing."
        last = len(wanted) == 1
        names = _names(folder, files=file_okay and last, folders=True)
        deeper = [found for name in names[:_SEARCHED] if (found := folder.joinpath(name, *wanted)).exists()]
    except (OSError, ValueError, StopIteration):
        return "Look at its name."
    near = deeper[:3] or [folder.joinpath(name, *wanted[1:]) for name in _near(wanted[0], names)]
    if near:
        return f"Did you mean {' or '.join(map(_shown, near))}?"
    alike = [name for name in names if last and path.suffix and name.casefold().endswith(path.suffix.casefold())]
    return _listed(alike or names, folder)


def _near(wanted: str, names: list[str]) -> list[str]:
    """Return up to three names that look like the wanted one, or hold it, upper and lower case alike."""
    import difflib

    by_name = {name.casefold(): name for name in names}
    close = difflib.get_close_matches(wanted.casefold(), by_name, n=3, cutoff=0.6)
    held = [name for name in by_name if wanted.casefold() in name or Path(name).stem == wanted.casefold()]
    return [by_name[name] for name in dict.fromkeys([*held, *close])][:3]


def _names(folder: Path, *, files: bool, folders: bool) -> list[str]:
    """Return the names in a folder in order, hidden ones left out."""
    with os.scandir(folder) as entries:
        found = [entry.name for entry in entries if (folders if entry.is_dir() else files) and not entry.name.startswith(".")]
    return sorted(found)


def _listed(names: list[str], folder: Path) -> str:
    where = "this folder" if folder == Path() else _shown(folder)
    if not names:
        return f"There is nothing in {where}: look at the folder that you are in."
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return f"In {where} there is {', '.join(_shown(name) for name in names[:_SHOWN])}{more}."


def _shown(path: Path | str) -> str:
    """Return a path as it can be typed, without characters that could steer a terminal."""
    return "".join(character if character.isprintable() else "?" for character in os.fspath(path))
