"""The command `annot`: parses words, calls a task, prints."""

import sys

import typer

from annot.cli.demo import demo
from annot.cli.loops import loops
from annot.cli.measure import measure
from annot.cli.printing import say_fault
from annot.cli.scale import scale
from annot.cli.schema import schema
from annot.cli.view import view
from annot.errors import AnnotError
from annot.vocabulary import CAUTION

app = typer.Typer(
    name="annot",
    help="Measure stored angiography and echo loops, every number with its uncertainty.",
    epilog=CAUTION,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
for verb in (demo, loops, scale, measure, view, schema):
    app.command()(verb)


def run() -> None:
    """Run the command line: exit 0 done, 1 the input is at fault, 2 wrong usage."""
    try:
        app()
    except AnnotError as fault:
        say_fault(fault.message)
        sys.exit(1)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
