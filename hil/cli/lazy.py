"""A group whose commands are imported when they are called, from a table.

NAME: (module with a click command named `command`, the sentence shown in --help)
"""

import importlib
from collections.abc import Mapping
from typing import Any

import click

Table = Mapping[str, tuple[str, str]]


class LazyGroup(click.Group):
    """A group of commands that live in files of their own."""

    def __init__(self, *args: Any, table: Table, **more: Any) -> None:
        super().__init__(*args, **more)
        self.table = table

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.table)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in self.table:
            return None
        command: click.Command = importlib.import_module(self.table[name][0]).command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in self.table.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError:
            near = _nearest(args[0], self.table)
            path = " ".join(["hil", *ctx.command_path.split()[1:]])
            hint = f"\n    try: {path} {near}" if near else ""
            raise click.UsageError(f"there is no command {args[0]!r}{hint}", ctx) from None


def _nearest(word: str, table: Table) -> str:
    import difflib

    near = difflib.get_close_matches(word, table, n=1)
    return near[0] if near else ""
