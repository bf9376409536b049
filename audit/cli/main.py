"""The `lidoff` command: finds its sub-commands, turns errors into one line and an exit code.

Sub-commands are modules of this package that export a click command named
`command`; they are imported only when called, so that help stays fast.
"""

from __future__ import annotations

import ast
import importlib
import os
import sys
from pathlib import Path

import click

from audit import __version__
from audit.errors import ExitCode, JobProblems, LidoffError

_NOT_COMMANDS = {"main", "__init__"}


class _Commands(click.Group):
    """A group whose sub-commands are the modules beside this file."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        here = Path(__file__).parent
        names = {p.stem for p in here.glob("*.py")} - _NOT_COMMANDS
        return sorted(n.replace("_", "-") for n in names if not n.startswith("_"))

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.list_commands(ctx):
            return None
        module = importlib.import_module(f"audit.cli.{cmd_name.replace('-', '_')}")
        command = module.command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands by their files' first lines: importing them all would cost a second."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, _short_help(name)) for name in self.list_commands(ctx)])


def _short_help(name: str) -> str:
    """What stands after the first colon of a command file's docstring."""
    path = Path(__file__).with_name(f"{name.replace('-', '_')}.py")
    first = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    said = first.splitlines()[0].partition(": ")[2] if first else ""
    return said[:1].upper() + said[1:]


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="lidoff")
def cli() -> None:
    """Read photos of opened downlight fittings; write the checklist a competent person confirms.

    An aid: it certifies nothing, and it never asks anyone to open or move anything.
    """


def _say(error: LidoffError) -> None:
    lines = error.problems if isinstance(error, JobProblems) else [error]
    for line in lines:
        click.echo(f"lidoff: {line.one_line()}", err=True)


def main(args: list[str] | None = None) -> None:
    """Entry point of the console script."""
    try:
        code = cli.main(args=args, prog_name="lidoff", standalone_mode=False)
        sys.stdout.flush()
        sys.exit(int(code) if isinstance(code, int) else ExitCode.DONE)
    except LidoffError as error:
        _say(error)
        sys.exit(error.exit_code)
    except click.exceptions.Exit as leave:
        sys.exit(leave.exit_code)
    except (KeyboardInterrupt, click.Abort):
        click.echo("lidoff: interrupted; what was finished is kept, run again to go on", err=True)
        sys.exit(ExitCode.INTERRUPTED)
    except click.ClickException as wrong:
        wrong.show()
        sys.exit(ExitCode.USAGE)
    except BrokenPipeError:
        # The reader of our output left (as `head` does): nothing to tell anybody.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(ExitCode.DONE)
    except (MemoryError, OSError) as exc:
        click.echo(f"lidoff: {type(exc).__name__}: {exc}; what was finished is kept", err=True)
        sys.exit(ExitCode.RESOURCES)
