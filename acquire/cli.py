"""The commands. Each is imported when it is asked for, so that `--help` answers at once.

Exit codes: 0 done, 1 a run that failed, 2 bad input. Errors are sentences on standard error; a traceback
comes only with STEADYOHM_DEBUG=1 in the environment.
"""

from __future__ import annotations

import errno
import os
import pkgutil
import sys
from collections.abc import Iterator, Sequence
from typing import Any, NoReturn

import typer
from typer.core import TyperGroup

from system.console import make_streams, write_nowhere

COMMANDS: dict[str, tuple[str, str]] = {
    name: (place, about)
    for name, place, about in (
        line.split(maxsplit=2)
        for line in """\
demo              bench:demo                   Show the whole job on simulated instruments.
fixture           bench:fixture                Try every relay of a fixture: stuck, dead, or shorted.
run               bench:run                    Work at a bench until Ctrl-C.
setup             setup:setup                  Make a bench in the browser.
simulate          bench:simulate               Serve a simulated meter and thermometer; you are the hands.
check             check:check                  Check files line by line and say what they mean.
winding           winding:winding              Ohms from turns, turns from ohms, wire from mass and ohms.
schema            history:schema               Print the JSON Schemas of what is recorded and sent.
find              instruments:find             Look for meters by listening and asking harmlessly.
meter-says        instruments:meter_says       Show a meter's bytes and what is made of them, live.
decode            instruments:decode           Say what a driver makes of some bytes.
meters            instruments:meters           List drivers and links, and what each can do.
explain           reported:explain_unit        Explain values told over the telephone.
identify          reported:identify_core       Say which of the known sheets an unknown core fits.
learn             reported:learn_sheet         Propose a sheet from good units measured by pairs.
history           history:history              Show what is on the record, or write it into files.
restore           importing:restore_journal    Bring back what a journal has lost, from its copies.
replay            history:replay_recording     Run recorded readings again, by their own sheet or another.
chart             batch:chart                  Draw the check standard's readings between their limits.
result            importing:result             Type in results from elsewhere while no bench is at work.
batch             batch:batch                  Report a batch, or list the batches of a journal.
collect           collect:collect              Collect what all benches of a line record.
line              collect:all_benches          Serve the page with all benches.
index             collect:index                Write the list of a shared folder of files.
certificate       papers:certificate           Issue certificates, or check one that somebody brings.
issued            papers:issued                List the papers that were issued, or print one again.
label             papers:label                 Draw the label for a unit.
returned          papers:returned              Compare a returned unit with what it read when it left.
lookback          history:lookback             List what rests on a meter found unfit, or a bad spool.
sign-key          papers:sign_key              Make a key that certificates are signed with.
import            importing:import_papers      Bring earlier paper records onto the journal.
study             batch:study                  Find out whether this bench can judge a step.
install-shortcut  setup:install_shortcut       Put an entry into the menu that opens the setup page.
remove-shortcut   setup:remove_shortcut        Take that entry out of the menu again.
install-at-login  setup:install_at_login       Let a bench start whenever you log in.
remove-at-login   setup:remove_at_login        Let a bench start at log-in no longer.
""".splitlines()
    )
}
"""Each command: where in `acquire.answers` it is, and what it does; its own help says all of it."""

UNTYPED = {"document": "batch:document"}
"""Commands that the bench page runs, and nobody types."""


class Commands(TyperGroup):
    """All commands; each is imported when it is asked for, so that `--help` answers at once."""

    def list_commands(self, ctx: Any) -> list[str]:  # noqa: ARG002  (of the library)
        """Their names."""
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:  # noqa: ARG002  (of the library)
        """One of them; None where there is none of this name."""
        place = COMMANDS[cmd_name][0] if cmd_name in COMMANDS else UNTYPED.get(cmd_name)
        if place is None:
            return None
        one = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
        one.command(cmd_name)(pkgutil.resolve_name(f"acquire.answers.{place}"))
        return typer.main.get_command(one)

    def format_commands(self, ctx: Any, formatter: Any) -> None:  # noqa: ARG002  (of the library)
        """What each does, in a sentence; none is imported for that."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, about) for name, (_, about) in COMMANDS.items()])

    def invoke(self, ctx: Any) -> Any:
        """Run the command that was asked for; a word that an option does not take is refused in our words."""
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
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


@app.callback()
def steadyohm() -> None:
    """Reads your multimeter by itself while both your hands hold the probes."""


NO_ROOM = frozenset({errno.ENOSPC, errno.EDQUOT})
"""What the system says where there is no room left for output that was sent into a file."""


def main() -> None:
    """Entry point: commands in, exit code out, every expected error a sentence."""
    from acquire.errors import SteadyohmError, quoted
    from drivers.errors import GivenInvalid, MeterError

    make_streams()
    try:
        _refuse_signs(sys.argv[1:])
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
        if error.errno not in NO_ROOM and error.filename is not None:
            _leave(f"{quoted(str(error.filename))} cannot be used ({error.strerror}).", 2)
        if error.errno not in NO_ROOM:
            _fault(error)
        write_nowhere(sys.stdout)  # what is left would fail again
        _leave(f"The output cannot be written ({error.strerror}). Make room and run it again.", 1)
    except Exception as error:  # noqa: BLE001  (the last stop: a user gets a sentence, never a traceback)
        _fault(error)


def _refuse_signs(words: Sequence[str]) -> None:
    """A terminal would obey what it shows, and so might what reads a paper or a label."""
    from acquire.errors import InputImpossible, quoted

    for word in words:
        if not word.isprintable():
            raise InputImpossible(f"{quoted(word)} holds signs that cannot be shown.", "Leave them out.")


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
