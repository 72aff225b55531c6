"""The verbs of `annot`, each brought in when it is asked for: a start pays for its own only."""

from importlib import import_module
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup
from typer.main import get_command, get_group

# in the order of the help; a verb of this name lies in the module of this name
VERBS = (
    "demo",
    "loops",
    "scale",
    "measure",
    "track",
    "section",
    "followup",
    "discuss",
    "sizes",
    "geometry",
    "view",
    "schema",
    "agree",
    "audit",
    "check",
    "protocol",
    "reads",
    "validate",
)


class Verbs(TyperGroup):
    """A group that imports the module of a verb when the verb is used or listed."""

    def list_commands(self, ctx: Any) -> list[str]:
        """Return every verb, in the order of the help."""
        del ctx
        return list(VERBS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """Return a verb as a command, None if there is no such verb."""
        del ctx
        if cmd_name not in VERBS:
            return None
        if cmd_name not in self.commands:
            self.commands[cmd_name] = _command(cmd_name)
        return self.commands[cmd_name]

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Find a verb; of one mistyped the likely ones are named, which needs them all."""
        if args and args[0] not in VERBS:
            for verb in VERBS:
                self.get_command(ctx, verb)
        return super().resolve_command(ctx, args)


def _command(verb: str) -> Any:
    """Import a verb and make a command of it: a function, or an app with verbs of its own."""
    found = getattr(import_module(f"annot.cli.{verb}"), verb)
    if isinstance(found, typer.Typer):
        command: Any = get_group(found)
    else:
        alone = typer.Typer(add_completion=False, pretty_exceptions_enable=False)
        alone.command(verb)(found)
        command = get_command(alone)
        assert isinstance(command, TyperCommand)
    command.name = verb
    return command
