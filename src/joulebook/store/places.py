"""Where a person's data lives on this machine."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path

__all__ = ["DATABASE", "data_folder"]

DATABASE = "joulebook.db"
"""The name of the store's file in the data folder."""


def data_folder(environ: Mapping[str, str] | None = None, *, platform: str = sys.platform) -> Path:
    """Return the folder that holds the store, which need not be there yet.

    environ: the environment, the process's own unless given: JOULEBOOK_DATA names the folder outright; otherwise it is the data
    folder that the platform prescribes: $XDG_DATA_HOME or ~/.local/share (XDG Base Directory Specification), %LOCALAPPDATA%, or
    ~/Library/Application Support.
    """
    env = os.environ if environ is None else environ
    if env.get("JOULEBOOK_DATA"):
        return Path(env["JOULEBOOK_DATA"]).expanduser()
    if platform == "win32":
        return Path(env.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "joulebook"
    if platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "joulebook"
    given = env.get("XDG_DATA_HOME", "")
    # The specification has relative paths ignored.
    base = Path(given) if given and Path(given).is_absolute() else Path.home() / ".local" / "share"
    return base / "joulebook"
