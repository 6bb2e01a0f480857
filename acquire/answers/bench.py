"""Commands that work at a bench: demo, run, fixture, simulate."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from acquire.answers import LogLevel, argument, option, say

Scene = Literal["plover-80", "quern-12", "fathom-7"]
"""Invented units of the demonstration."""

Pace = Literal["quick", "slow"]
"""How quick a pair of hands is."""

METER_HELP = "A meter file, or a shipped one by its name, such as hand-2000."


def demo(
    *,
    folder: Annotated[Path | None, option("Where the files of this run go.", "--dir")] = None,
    scene: Annotated[
        Scene, option("Which units: cores that came by mail, or a batch of forty that was wound here.")
    ] = "plover-80",
    meter: Annotated[str, option(METER_HELP)] = "bench-6-digit",
    units: Annotated[
        int | None, option("How many units come; 10, and 40 of fathom-7.", min=1, max=1000)
    ] = None,
    speed: Annotated[
        float | None, option("How much faster than real time; 6, and 2 with --page.", min=0.1, max=10.0)
    ] = None,
    seed: Annotated[int, option("The same seed brings the same units and faults.")] = 7,
    page: Annotated[bool, option("Show the bench page too; it stays until Ctrl-C.", "--page")] = False,
    in_fixture: Annotated[
        bool, option("Units are clipped into a fixture; relays measure every pair.", "--fixture")
    ] = False,
) -> None:
    """Show the whole job on simulated instruments: ten units, three of them faulty."""
    from acquire import logs
    from acquire.outlets.console import BenchConsole
    from acquire.simulated.demo import DemoOptions, new_folder, run_demo
    from system.ending import run_loop

    logs.set_up(level="warning")
    pace = speed or (2.0 if page else 6.0)
    options = DemoOptions(new_folder(folder), scene, meter, units, pace, seed, page, in_fixture)
    surprises = run_loop(run_demo(options, BenchConsole()))
    raise typer.Exit(1 if surprises else 0)


def run(
    bench: Annotated[Path, argument("Bench file (TOML); configs/benches/example.toml shows all of it.")],
    *,
    record: Annotated[Path | None, option("Write down every reading here, for `steadyohm replay`.")] = None,
    log_level: LogLevel = "warning",
) -> None:
    """Work at a bench until Ctrl-C: read the meter, find the step, say the verdict, keep the record."""
    from acquire import logs
    from acquire.bench.run import run_bench
    from system.ending import run_loop

    logs.set_up(level=log_level)
    run_loop(run_bench(bench, record))


def fixture(
    bench: Annotated[Path, argument("Bench file with a [fixture] table.")],
    *,
    plug: Annotated[bool, option("A plug joins all pins; else nothing is clipped in.", "--plug")] = False,
) -> None:
    """Try every relay of a fixture: stuck, dead, or shorted."""
    from acquire.bench.fixture_setup import trial_lines, tried
    from acquire.files.settings import load_bench
    from system.ending import run_loop

    trial = run_loop(tried(load_bench(bench), plugged=plug))
    say(trial_lines(trial))
    raise typer.Exit(1 if trial.findings() else 0)


def simulate(
    *,
    sheet: Annotated[
        str, option("Which unit lies on the bench: a sheet file, or a shipped sheet by its name.")
    ] = "plover-80",
    meter: Annotated[str, option(METER_HELP)] = "bench-6-digit",
    fault: Annotated[
        list[str] | None,
        option('Of the units that come, in turn: good, "joint 2 12", "open trigger"; "help" tells.'),
    ] = None,
    hands: Annotated[Pace, option("How long the probes are in the air on their way.")] = "quick",
    bench: Annotated[Path, option("Bench file to write, for `steadyohm run`.")] = Path(
        "simulated-bench.toml"
    ),
    port: Annotated[int, option("TCP port of the meter; 0 takes a free one.", min=0, max=65535)] = 5025,
    seed: Annotated[int, option("The same seed brings the same units.")] = 7,
) -> None:
    """Serve a simulated meter and thermometer; you are the hands: type the pins to touch."""
    from acquire.simulated.simulate import become_simulation, simulated

    put = simulated(sheet, meter)
    become_simulation(put, bench, faults=fault or [], pace=hands, port=port, seed=seed)
