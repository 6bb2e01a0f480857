"""`python -m sim`: a bench to plug into, and somebody to work on it.

Prints the addresses of its instruments and what the hands do as JSON objects, one a line; reads what a person
at the bench would see or hear from its standard input, the same way; ends when that input ends.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
from pathlib import Path

from sim.bench import Options, run
from sim.scenes import SCENES


def options(arguments: list[str] | None = None) -> Options:
    """Read the command line."""
    parser = argparse.ArgumentParser(prog="python -m sim", description="A simulated bench.")
    parser.add_argument("--scene", choices=sorted(SCENES), default="plover-80")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument(
        "--units", type=int, default=None, metavar="N", help="how many units come to the bench"
    )
    parser.add_argument("--speed", type=float, default=1.0, help="simulated seconds per second")
    parser.add_argument(
        "--truth", type=Path, default=None, metavar="FILE", help="write what really was there"
    )
    parser.add_argument("--no-pty", action="store_true", help="serve everything on TCP")
    parser.add_argument("--meter-port", type=int, default=0, metavar="PORT", help="TCP port of the meter")
    parser.add_argument("--meter-link", choices=("tcp", "pty"), default="tcp")
    parser.add_argument("--thermometer", choices=("pty", "tcp"), default="pty")
    parser.add_argument("--hands", choices=("auto", "typed"), default="auto")
    given = parser.parse_args(arguments)
    if given.units is not None and given.units < 1:
        parser.error("--units: at least 1")
    if not 0 < given.speed <= 100:
        parser.error("--speed: a number above 0, at most 100")
    if not 0 <= given.meter_port <= 65535:
        parser.error("--meter-port: 0 to 65535")
    return Options(
        scene=given.scene,
        seed=given.seed,
        units=given.units,
        speed=given.speed,
        truth=given.truth,
        meter_port=given.meter_port,
        meter_link="tcp" if given.no_pty else given.meter_link,
        thermometer="tcp" if given.no_pty else given.thermometer,
        typed=given.hands == "typed",
    )


def main() -> int:
    """Run until the input ends or somebody stops it."""
    try:
        return asyncio.run(run(options()))
    except OSError as error:
        print(f"The bench cannot be served: {error}.", file=sys.stderr)
        return 1


if __name__ == "__main__":
    sys.exit(main())
