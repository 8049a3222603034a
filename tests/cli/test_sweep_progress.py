"""How far a sweep is: rate and time left, a line every half minute where nobody watches, a bar where somebody does."""

from __future__ import annotations

import io
import sys

import pytest

from joulebook.cli import sweep_progress
from joulebook.cli.sweep_progress import Pace, show_progress


class Clock:
    """Shows what it is set to."""

    now = 100.0

    def __call__(self) -> float:
        return self.now


@pytest.mark.parametrize(
    ("seconds", "done", "kept", "line"),
    [
        (30.0, 6_000, 0, "6,000 of 100,000 benches, 200 a second, 7 min 50 s left"),
        (30.0, 56_000, 50_000, "56,000 of 100,000 benches, 200 a second, 3 min 40 s left"),
        (100.0, 150, 0, "150 of 100,000 benches, 1.5 a second, 18 h 29 min left"),
        (100.0, 99_990, 99_980, "99,990 of 100,000 benches, 6.0 a minute, 1 min 40 s left"),
        (10.0, 99_980, 99_000, "99,980 of 100,000 benches, 98 a second, 0 s left"),
        (10.0, 500, 500, "500 of 100,000 benches, 0.0 a minute"),
    ],
)
def test_rate_and_time_left(seconds: float, done: int, kept: int, line: str) -> None:
    """What was finished before this run says nothing of how fast it is."""
    clock = Clock()
    pace = Pace(clock)
    clock.now += seconds
    assert pace.line(done, kept, 100_000) == line


def test_a_line_every_half_minute(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    clock = Clock()
    monkeypatch.setattr(sweep_progress, "Pace", lambda: Pace(clock))
    with show_progress() as tell:
        for done in range(1, 81):
            clock.now += 1.0
            tell(done, 0, 80)
    assert capsys.readouterr().err == (
        "30 of 80 benches, 1.0 a second, 50 s left\n60 of 80 benches, 1.0 a second, 20 s left\n"
    )  # fmt: skip


def test_a_terminal_sees_a_bar(monkeypatch: pytest.MonkeyPatch) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.delenv("NO_COLOR", raising=False)
    with show_progress() as tell:
        for done in range(1, 4):
            tell(done, 0, 3)
    shown = terminal.getvalue()
    assert "3/3" in shown
    assert "a second, 0 s left" in shown
