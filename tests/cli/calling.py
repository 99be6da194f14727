"""The command line in this process: quick, for commands that open no radio."""

from __future__ import annotations

from click.testing import CliRunner, Result

from benchrig.cli import main


def call(*words: object, stdin: str = "", columns: int = 120) -> Result:
    """Run a command to its end; what it does not expect is raised here."""
    result = CliRunner().invoke(main, [str(word) for word in words], input=stdin, env={"COLUMNS": str(columns)})
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def told(*words: object, columns: int = 160) -> Result:
    """What a command says that succeeds."""
    result = call(*words, columns=columns)
    assert result.exit_code == 0, result.stderr
    return result


def lines(result: Result) -> list[list[str]]:
    """The output, each line cut where several blanks are."""
    return [[cell.strip() for cell in line.split("  ") if cell.strip()] for line in result.stdout.splitlines()]
