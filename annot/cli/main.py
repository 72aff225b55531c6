"""The command `annot`: parses words, calls a task, prints."""

import sys
from importlib.metadata import version
from typing import Annotated

import typer

from annot.cli.printing import say, say_fault
from annot.cli.verbs import Verbs
from annot.errors import AnnotError
from annot.vocabulary import CAUTION

app = typer.Typer(
    name="annot",
    cls=Verbs,
    epilog=CAUTION,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


def _show_version(asked: bool) -> None:
    if asked:
        say(f"annot {version('annot')}")
        raise typer.Exit


@app.callback()
def options(
    show: Annotated[
        bool,
        typer.Option("--version", help="print the version", callback=_show_version, is_eager=True),
    ] = False,
) -> None:
    """Measure stored angiography and echo loops, every number with its uncertainty."""
    del show


def run() -> None:
    """Run the command line: exit 0 done, 1 the input is at fault, 2 wrong usage."""
    if sys.stdout is None:
        say_fault("standard output is closed, so no answer can be given; send it somewhere.")
        sys.exit(1)
    try:
        app()
    except AnnotError as fault:
        say_fault(fault.message)
        sys.exit(1)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except OSError as fault:
        say_fault(f"{fault.filename or 'the output'} cannot be used: {fault.strerror}.")
        # what is still to be written would fail again as the program ends, and say so
        sys.stderr.close()
        sys.exit(1)
