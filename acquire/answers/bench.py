"""Commands that work at a bench: demo, run, fixture, simulate."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from acquire.answers.options import Level, LogLevel, say


class DemoScene(StrEnum):
    """Invented units of the demonstration."""

    PLOVER_80 = "plover-80"
    QUERN_12 = "quern-12"
    FATHOM_7 = "fathom-7"


class HandsPace(StrEnum):
    """How quick a pair of hands is."""

    QUICK = "quick"
    SLOW = "slow"


METER_HELP = "A meter file, or a shipped one by its name, such as hand-2000."


def demo(
    folder: Annotated[Path | None, typer.Option("--dir", help="Where the files of this run go.")] = None,
    scene: Annotated[
        DemoScene,
        typer.Option(help="Which units: cores that came by mail, or a batch of forty that was wound here."),
    ] = DemoScene.PLOVER_80,
    meter: Annotated[str, typer.Option(help=METER_HELP)] = "bench-6-digit",
    units: Annotated[
        int | None, typer.Option(min=1, max=1000, help="How many units come; 10, and 40 of fathom-7.")
    ] = None,
    speed: Annotated[
        float | None,
        typer.Option(min=0.1, max=10.0, help="How much faster than real time; 6, and 2 with --page."),
    ] = None,
    seed: Annotated[int, typer.Option(help="The same seed brings the same units and faults.")] = 7,
    page: Annotated[
        bool, typer.Option("--page", help="Show the bench page too; it stays until Ctrl-C.")
    ] = False,
    in_fixture: Annotated[
        bool, typer.Option("--fixture", help="Units are clipped into a fixture; relays measure every pair.")
    ] = False,
) -> None:
    """Show the whole job on simulated instruments: ten units, three of them faulty."""
    from acquire import logs
    from acquire.outlets.console import BenchConsole
    from acquire.simulated.demo import DemoOptions, new_folder, run_demo
    from system.ending import run_loop

    logs.set_up(level="warning")
    pace = speed or (2.0 if page else 6.0)
    options = DemoOptions(new_folder(folder), scene.value, meter, units, pace, seed, page, in_fixture)
    surprises = run_loop(run_demo(options, BenchConsole()))
    raise typer.Exit(1 if surprises else 0)


def run(
    bench: Annotated[
        Path, typer.Argument(help="Bench file (TOML); configs/benches/example.toml shows all of it.")
    ],
    *,
    record: Annotated[
        Path | None, typer.Option(help="Write down every reading here, for `steadyohm replay`.")
    ] = None,
    log_level: LogLevel = Level.WARNING,
) -> None:
    """Work at a bench until Ctrl-C: read the meter, find the step, say the verdict, keep the record."""
    from acquire import logs
    from acquire.bench.run import run_bench
    from system.ending import run_loop

    logs.set_up(level=log_level.value)
    run_loop(run_bench(bench, record))


def fixture(
    bench: Annotated[Path, typer.Argument(help="Bench file with a [fixture] table.")],
    *,
    plug: Annotated[
        bool, typer.Option("--plug", help="A plug joins all pins; else nothing is clipped in.")
    ] = False,
) -> None:
    """Try every relay of a fixture: stuck, dead, or shorted."""
    from acquire.bench.fixture_setup import trial_lines, tried
    from acquire.files.settings import load_bench
    from system.ending import run_loop

    trial = run_loop(tried(load_bench(bench), plugged=plug))
    say(trial_lines(trial))
    raise typer.Exit(1 if trial.findings() else 0)


def simulate(
    sheet: Annotated[
        str, typer.Option(help="Which unit lies on the bench: a sheet file, or a shipped sheet by its name.")
    ] = "plover-80",
    meter: Annotated[str, typer.Option(help=METER_HELP)] = "bench-6-digit",
    fault: Annotated[
        list[str] | None,
        typer.Option(
            help='Of the units that come, in turn: good, "joint 2 12", "open trigger"; "help" lists them.'
        ),
    ] = None,
    hands: Annotated[
        HandsPace, typer.Option(help="How long the probes are in the air on their way.")
    ] = HandsPace.QUICK,
    bench: Annotated[Path, typer.Option(help="Bench file to write, for `steadyohm run`.")] = Path(
        "simulated-bench.toml"
    ),
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="TCP port of the meter; 0 takes a free one.")
    ] = 5025,
    seed: Annotated[int, typer.Option(help="The same seed brings the same units.")] = 7,
) -> None:
    """Serve a simulated meter and thermometer; you are the hands: type the pins to touch."""
    from acquire.simulated.simulate import become_simulation, simulated

    put = simulated(sheet, meter)
    become_simulation(put, bench, faults=fault or [], pace=hands.value, port=port, seed=seed)
