"""The `joulebook` command: finds the subcommand, loads only that one, and turns errors into exit codes."""

from __future__ import annotations

import sys
from importlib import import_module
from keyword import iskeyword

import click

from joulebook import __version__
from joulebook.errors import JoulebookError
from joulebook.threads import one_thread

__all__ = ["COMMANDS", "EXIT_CANNOT", "CommandList", "joulebook", "main"]

EXIT_CANNOT = 3

# The one-line summaries stand here as well, so that `joulebook --help` need not import the commands; a test compares them.
COMMANDS: dict[str, tuple[str, str]] = {
    "audit": ("joulebook.cli.audit", "Audit one bench: its energy ledger, verdict and findings."),
    "runs": ("joulebook.cli.runs", "List the runs and columns inside a record file."),
    "sweep": ("joulebook.cli.sweep", "Audit every bench of a folder, a package or a table of records."),
    "plan": ("joulebook.cli.plan", "Choose slope, launch, rate and angle method before the class comes in."),
    "sheet": ("joulebook.cli.sheet", "Write a sheet to print: cards, worksheets, run sheet, answers, hints."),
    "demo": ("joulebook.cli.demo", "Write an invented section of six benches and audit it."),
    "check": ("joulebook.cli.check", "Check the kit from a preparation run: which bench needs service, and why."),
    "rehearse": ("joulebook.cli.rehearse", "Write bench folders to rehearse with, sound or with hidden faults."),
    "serve": ("joulebook.cli.serve", "Run the room: one period with a dozen benches, in a browser."),
    "class": ("joulebook.cli.class_", "Show what the whole section's benches say together."),
    "mark": ("joulebook.cli.mark", "Check write-ups line by line, each against its own bench."),
    "store": ("joulebook.cli.store", "Keep the room's data: list, export, import, back up, restore, delete."),
    "findings": ("joulebook.cli.findings", "Explain the findings that an audit can make."),
    "version": ("joulebook.cli.version", "Print the version of joulebook."),
}


class CommandList(click.Group):
    """A group whose commands are imported on demand, and whose errors end with an exit code instead of a traceback."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names in the order of the help text."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command; None when there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        module = import_module(COMMANDS[cmd_name][0])
        command = getattr(module, f"{cmd_name}_" if iskeyword(cmd_name) else cmd_name)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing any."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, summary) for name, (_, summary) in COMMANDS.items()])

    def invoke(self, ctx: click.Context) -> object:
        """Run the command; a JoulebookError is printed with all its faults and ends with exit code 3."""
        try:
            return super().invoke(ctx)
        except JoulebookError as error:
            click.echo(f"joulebook: {error}", err=True)
            ctx.exit(EXIT_CANNOT)


@click.group(cls=CommandList, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(__version__, "--version", message="joulebook %(version)s")
def joulebook() -> None:
    """From the distance-time files of a ramp-launch lab to joules with uncertainties and a plain verdict.

    Exit codes: 0 analysed, whatever the verdict and findings; 2 the command was not understood; 3 it could not be done, and
    the message says why and what to do.
    """


def main() -> None:
    """Run the command line of this process."""
    one_thread()  # of this process and of those that it starts
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    joulebook(prog_name="joulebook")
