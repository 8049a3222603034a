"""How far a sweep is: a bar at a terminal, a line now and then where nobody watches."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

__all__ = ["Pace", "show_progress"]

_EVERY = 30.0

Tell = Callable[[int, int, int], None]


class Pace:
    """How fast benches are done, and how long the rest will take. clock: seconds, from any beginning."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._begun = self._told = clock()

    def due(self) -> bool:
        """Return whether it is time for another line."""
        return self._clock() - self._told >= _EVERY

    def line(self, done: int, kept: int, total: int) -> str:
        """Return a line. done: benches that are finished. kept: those of them that were finished before. total: all of them."""
        self._told = self._clock()
        rate = (done - kept) / max(self._told - self._begun, 1e-9)
        left = f", {_duration((total - done) / rate)} left" if rate > 0.0 else ""
        return f"{done:,} of {total:,} benches, {_rate(rate)}{left}"


@contextmanager
def show_progress() -> Iterator[Tell]:
    """Yield what is to be called with the benches done, those of them that were done before, and all of them.

    At a terminal it moves a bar with rate and time left; else it prints a line every half minute.
    """
    if not sys.stderr.isatty():
        pace = Pace()

        def tell(done: int, kept: int, total: int) -> None:
            if done < total and pace.due():
                click.echo(pace.line(done, kept, total), err=True)

        yield tell
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    pace = Pace()
    columns = (TextColumn("auditing"), BarColumn(), MofNCompleteColumn(), TextColumn("{task.fields[pace]}"))
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("auditing", total=None, pace="")

        def move(done: int, kept: int, total: int) -> None:
            bar.update(task, completed=done, total=total, pace=pace.line(done, kept, total).split("benches, ")[-1])

        yield move


def _rate(rate: float) -> str:
    """Return a rate in benches a second, or a minute where it is low."""
    return f"{rate:,.0f} a second" if rate >= 10.0 else f"{rate:.1f} a second" if rate >= 0.5 else f"{60.0 * rate:.1f} a minute"


def _duration(seconds: float) -> str:
    """Return a time to two places of what a person counts in."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    minutes, whole = divmod(whole, 60)
    if minutes < 60:
        return f"{minutes} min {whole:02d} s"
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02d} min"
