"""`joulebook version`."""

from __future__ import annotations

import click

from joulebook import __version__

__all__ = ["version"]


@click.command()
def version() -> None:
    """Print the version of joulebook."""
    click.echo(f"joulebook {__version__}")
