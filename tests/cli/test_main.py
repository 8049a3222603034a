"""The command itself: help, exit codes, and errors without a traceback."""

from __future__ import annotations

import click
import pytest
from click.testing import CliRunner

from joulebook import __version__
from joulebook.cli.main import COMMANDS, EXIT_CANNOT, joulebook, main
from joulebook.errors import Fault, JoulebookError


def test_the_help_lists_every_command_in_order() -> None:
    result = CliRunner().invoke(joulebook, ["--help"])
    assert result.exit_code == 0
    places = [result.output.index(f"\n  {name} ") for name in COMMANDS]
    assert places == sorted(places)


@pytest.mark.parametrize("name", COMMANDS)
def test_the_summary_is_the_first_sentence_of_the_command(name: str) -> None:
    command = joulebook.get_command(click.Context(joulebook), name)
    assert command is not None
    assert command.name == name
    assert (command.help or "").split("\n")[0] == COMMANDS[name][1]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_is_explained(name: str) -> None:
    command = joulebook.get_command(click.Context(joulebook), name)
    assert command is not None
    assert [option.name for option in command.params if isinstance(option, click.Option) and not option.help] == []


@pytest.mark.parametrize("arguments", [["version"], ["--version"]])
def test_the_version(arguments: list[str]) -> None:
    assert CliRunner().invoke(joulebook, arguments).output == f"joulebook {__version__}\n"


def test_an_unknown_command_is_a_usage_error() -> None:
    result = CliRunner().invoke(joulebook, ["adit"])
    assert result.exit_code == 2
    assert "No such command 'adit'" in result.stderr


def test_an_error_shows_all_faults_and_ends_with_its_exit_code(monkeypatch: pytest.MonkeyPatch) -> None:
    @click.command("version")
    def failing() -> None:
        faults = [Fault("track.angle", "97 deg is more than 89.", "Measure it again."), Fault("cart.mass", "It is missing.")]
        raise JoulebookError("2 faults.", source="bench.toml", remedy="Mend them.", faults=faults)

    monkeypatch.setattr(type(joulebook), "get_command", lambda self, ctx, name: failing)
    result = CliRunner().invoke(joulebook, ["version"])
    assert result.exit_code == EXIT_CANNOT == 3
    assert result.stdout == ""
    assert result.stderr == (
        "joulebook: bench.toml: 2 faults. Mend them.\n"
        "  - track.angle: 97 deg is more than 89. Measure it again.\n  - cart.mass: It is missing.\n"
    )


def test_main_runs_the_command_of_the_process(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr("sys.argv", ["joulebook", "version"])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 0
    assert capsys.readouterr().out == f"joulebook {__version__}\n"
