"""The commands, by room. Each imports what it needs when it is called, so that `--help` answers at once.

Exit codes: 0 done, 1 a run that failed, 2 bad input. Errors are sentences on standard error; a traceback
comes only with STEADYOHM_DEBUG=1 in the environment.
"""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Iterator
from typing import Any, NoReturn

import typer
from typer.core import TyperGroup

from acquire.cli import batch, bench, files, line, meters, papers, record, study, units
from system.console import make_streams, write_nowhere


class Commands(TyperGroup):
    """All commands; a word that an option does not take is refused in our words."""

    def invoke(self, ctx: Any) -> Any:
        """Run the command that was asked for."""
        try:
            return super().invoke(ctx)
        except typer.BadParameter as error:
            error.message = _in_our_words(error)
            raise


NUMBERS = {"int_parsing": "whole number", "int_from_float": "whole number", "float_parsing": "number"}
"""What was wanted, by the kind of fault that the library behind typer tells."""


def _in_our_words(error: typer.BadParameter) -> str:
    """What is wrong with a word of the command line, without that library's own preface."""
    cause: Any = error.__cause__
    told: dict[str, Any] = next(iter(cause.errors()), {}) if hasattr(cause, "errors") else {}
    if told.get("type") in NUMBERS:
        return f"'{told['input']}' is no {NUMBERS[told['type']]}."
    return error.message.removeprefix("Value error, ")


app = typer.Typer(
    name="steadyohm",
    cls=Commands,
    help="Reads your multimeter by itself while both your hands hold the probes.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


for room in (bench, files, meters, units, record, batch, line, papers, study):
    room.add_to(app)


NO_ROOM = frozenset({errno.ENOSPC, errno.EDQUOT})
"""What the system says where there is no room left for output that was sent into a file."""


def main() -> None:
    """Entry point: commands in, exit code out, every expected error a sentence."""
    from acquire.errors import SteadyohmError
    from drivers.errors import GivenInvalid, MeterError

    make_streams()
    try:
        app()
    except SteadyohmError as error:
        _leave(str(error), error.exit_code)
    except GivenInvalid as error:
        _leave(_alone(error), 2)
    except MeterError as error:
        _leave(_alone(error), 1)
    except BrokenPipeError:
        write_nowhere(sys.stdout)  # whoever read us has left: so do we
        sys.exit(1)
    except OSError as error:
        if error.errno not in NO_ROOM:
            _fault(error)
        write_nowhere(sys.stdout)  # what is left would fail again
        _leave(f"The output cannot be written ({error.strerror}). Make room and run it again.", 1)
    except Exception as error:  # noqa: BLE001  (the last stop: a user gets a sentence, never a traceback)
        _fault(error)


def _fault(error: Exception) -> NoReturn:
    """Leave with what went wrong in tasks, or with a fault of ours."""
    from acquire.errors import SteadyohmError
    from drivers.errors import MeterError

    causes = list(_single(error))
    known = [cause for cause in causes if isinstance(cause, SteadyohmError | MeterError)]
    if len(known) == len(causes):
        _leave("\n".join(map(_alone, known)), 1)
    told = "; ".join(f"{type(cause).__name__}: {cause}" for cause in causes)
    _leave(f"This is a fault of steadyohm itself: {told}", 1, own=True)


def _alone(error: Exception) -> str:
    """An error as a sentence of its own: a driver's follow a place and a colon elsewhere, so begin small."""
    said = str(error)
    first = said.partition(" ")[0]
    return f"{said[:1].upper()}{said[1:]}" if first.isalpha() else said  # an address or a file stays as it is


def _single(error: BaseException) -> Iterator[BaseException]:
    """Take the groups apart that tasks running side by side wrap their errors in."""
    if isinstance(error, BaseExceptionGroup):
        for inner in error.exceptions:
            yield from _single(inner)
    else:
        yield error


def _leave(sentence: str, code: int, *, own: bool = False) -> NoReturn:
    if os.environ.get("STEADYOHM_DEBUG"):
        raise  # noqa: PLE0704  (called from an except clause: the traceback was asked for)
    from acquire.logs import masked

    typer.echo(masked(sentence), err=True)
    if own:
        typer.echo("Run it again with STEADYOHM_DEBUG=1 to see where, and report it.", err=True)
    sys.exit(code)


if __name__ == "__main__":
    main()
