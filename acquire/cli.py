"""The commands. Each imports what it needs when it is called, so that `--help` answers at once.

Exit codes: 0 done, 1 a run that failed, 2 bad input. Errors are sentences on standard error; a traceback
comes only with STEADYOHM_DEBUG=1 in the environment.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(
    name="steadyohm",
    help="Reads your multimeter by itself while both your hands hold the probes.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


@app.command()
def demo(
    folder: Annotated[Path | None, typer.Option("--dir", help="Where the files of this run go.")] = None,
    units: Annotated[int, typer.Option(min=1, max=1000, help="How many units come to the bench.")] = 10,
    speed: Annotated[float, typer.Option(min=0.1, max=10.0, help="How much faster than real time.")] = 6.0,
    seed: Annotated[int, typer.Option(help="The same seed brings the same units and faults.")] = 7,
) -> None:
    """Show the whole job on simulated instruments: ten units, three of them faulty."""
    import asyncio

    from rich.console import Console

    from acquire import logs
    from acquire.demo import DemoOptions, new_folder, run_demo

    logs.set_up(level="warning")
    options = DemoOptions(new_folder(folder), units, speed, seed)
    surprises = asyncio.run(run_demo(options, Console()))
    raise typer.Exit(1 if surprises else 0)


@app.command()
def run(
    bench: Annotated[
        Path, typer.Argument(help="Bench file (TOML); configs/benches/example.toml shows all of it.")
    ],
    *,
    log_level: Annotated[str, typer.Option(help="debug, info, warning or error.")] = "warning",
) -> None:
    """Work at a bench until Ctrl-C: read the meter, find the step, say the verdict, keep the record."""
    import asyncio

    from acquire import logs
    from acquire.bench_run import run_bench

    logs.set_up(level=log_level)
    asyncio.run(run_bench(bench))


@app.command()
def simulate(
    scene: Annotated[str, typer.Option(help="Which invented unit lies on the bench.")] = "plover-80",
    bench: Annotated[Path, typer.Option(help="Bench file to write, for `steadyohm run`.")] = Path(
        "simulated-bench.toml"
    ),
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="TCP port of the meter; 0 takes a free one.")
    ] = 5025,
    seed: Annotated[int, typer.Option(help="The same seed brings the same units.")] = 7,
) -> None:
    """Serve a simulated meter and thermometer; you are the hands: type the pins to touch."""
    from acquire.simulate import become_simulation

    become_simulation(scene, bench, port, seed)


@app.command()
def check(
    files: Annotated[list[Path], typer.Argument(help="Bench, sheet and meter files (TOML).")],
) -> None:
    """Check files line by line and say what they mean; exit 2 if any cannot be used."""
    from acquire.check import check_files

    faults = 0
    for report in check_files(files):
        for fault in report.faults:
            typer.echo(fault, err=True)
        for line in report.summary:
            typer.echo(line)
        faults += len(report.faults)
    raise typer.Exit(2 if faults else 0)


def main() -> None:
    """Entry point: commands in, exit code out, every expected error a sentence."""
    from acquire.errors import SteadyohmError
    from drivers.errors import MeterError

    try:
        app()
    except SteadyohmError as error:
        _leave(str(error), error.exit_code)
    except MeterError as error:
        _leave(str(error), 1)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # whoever read us has left: so do we
        sys.exit(1)
    except Exception as error:  # noqa: BLE001  (the last stop: a user gets a sentence, never a traceback)
        _leave(f"This is a fault of steadyohm itself: {type(error).__name__}: {error}", 1, own=True)


def _leave(sentence: str, code: int, *, own: bool = False) -> None:
    if os.environ.get("STEADYOHM_DEBUG"):
        raise  # noqa: PLE0704  (called from an except clause: the traceback was asked for)
    typer.echo(sentence, err=True)
    if own:
        typer.echo("Run it again with STEADYOHM_DEBUG=1 to see where, and report it.", err=True)
    sys.exit(code)


if __name__ == "__main__":
    main()
