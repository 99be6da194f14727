"""A group of commands, each of which is loaded when it is asked for."""

from __future__ import annotations

import importlib
from collections.abc import Mapping, Sequence
from typing import Any

import click


class LazyGroup(click.Group):
    """`files` are the modules of its commands, by their words; the command is the function `functions` names, or the word."""

    def __init__(
        self, *args: Any, files: Mapping[str, str], functions: Mapping[str, str] | None = None, **more: Any
    ) -> None:
        super().__init__(*args, **more)
        self._files, self._functions = files, functions or {}

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*self._files]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self._files:
            return None
        module = importlib.import_module(f"benchrig.cli.{self._files[cmd_name]}")
        command: click.Command = getattr(module, self._functions.get(cmd_name, cmd_name))
        return command

    def resolve_command(
        self, ctx: click.Context, args: Sequence[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in self._files and not args[0].startswith("-") and not ctx.resilient_parsing:
            from benchrig.source.problem import suggest

            advice = suggest(args[0], self._files) or f"choose one of: {', '.join(self._files)}"
            ctx.fail(f"there is no command '{args[0]}'; {advice}")
        return super().resolve_command(ctx, [*args])
