"""`python -m sim`: a bench to plug into, and somebody to work on it.

Prints the addresses of its instruments and what the hands do as JSON objects, one a line; reads what a person
at the bench would see or hear from its standard input, the same way; ends when that input ends.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

from sim.bench import LINKS, Options, run
from sim.faults import NoSuchFault, fault_of
from sim.files import Unusable
from sim.hands import PACES
from sim.meter import MeterClass, meter_class
from sim.scenes import Scene, build_scene, dice_for, of_sheet
from sim.server import LineTrouble
from sim.speak_frames import VOICES, usual_voice
from sim.switch_card import Wear
from sim.units import unit_type
from system.console import make_streams
from system.ending import run_loop

TROUBLES = ("drop", "garble", "stall", "stall_s", "delay_s")


def trouble(text: str) -> LineTrouble:
    """Read a list such as `drop=0.001,stall=0.01`."""
    figures: dict[str, float] = {}
    for part in text.split(","):
        key, _, figure = part.partition("=")
        if key not in TROUBLES:
            raise argparse.ArgumentTypeError(f"no trouble is called {key!r}; known: {', '.join(TROUBLES)}")
        try:
            figures[key] = float(figure)
        except ValueError:
            raise argparse.ArgumentTypeError(f"{key}: {figure!r} is no number") from None
        if not 0 <= figures[key] <= (1 if key in TROUBLES[:3] else 3600):
            raise argparse.ArgumentTypeError(f"{key}={figure}: out of range")
    found = LineTrouble()
    for key, number in figures.items():
        setattr(found, key, number)
    return found


def wear(text: str) -> Wear:
    """Read a list such as `welded=103,dead=204,loose=4`."""
    found = Wear()
    for part in text.split(","):
        key, _, what = part.partition("=")
        if key in ("welded", "dead") and what.isdigit():
            getattr(found, key).add(int(what))
        elif part == "plug":
            found.plug = True
        elif key == "loose" and what:
            found.loose.add(what)
        else:
            raise argparse.ArgumentTypeError(f"{part!r} is no wear of a fixture")
    return found


def command_line() -> argparse.ArgumentParser:
    """Every option of the command line."""
    parser = argparse.ArgumentParser(prog="python -m sim", description="A simulated bench.")
    parser.add_argument(
        "--scene", default="plover-80", metavar="NAME", help="a scene file, or a shipped one by its name"
    )
    parser.add_argument(
        "--sheet", default="", metavar="NAME", help="units of a sheet in place of a scene; file or name"
    )
    parser.add_argument(
        "--fault",
        action="append",
        default=[],
        metavar="WORDS",
        help='with --sheet: of the units in turn, such as good or "shorted slow charge 0.12"',
    )
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument(
        "--units", type=int, default=None, metavar="N", help="how many units come to the bench"
    )
    parser.add_argument("--speed", type=float, default=1.0, help="simulated seconds per second")
    parser.add_argument(
        "--truth", type=Path, default=None, metavar="FILE", help="write what really was there"
    )
    parser.add_argument("--hands", choices=("auto", "typed"), default="auto")
    parser.add_argument("--pace", choices=PACES, default="quick", help="how quick the hands are")
    parser.add_argument(
        "--brief", action="store_true", help="with typed hands: print no lines for a bench file"
    )
    _add_meter(parser)
    _add_links(parser)
    return parser


def _add_meter(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--meter", default="bench-6-digit", metavar="NAME", help="a meter file, or its name")
    parser.add_argument(
        "--voice", choices=("scpi", *VOICES), default=None, help="what it speaks, if not the usual"
    )
    parser.add_argument(
        "--fixed-range", type=float, default=None, metavar="OHM", help="range set by the knob"
    )
    parser.add_argument(
        "--fixture",
        choices=("shared", "kelvin"),
        default="",
        help="the unit is clipped into a fixture with a bus card; both buses share a pin's clip, or not",
    )
    parser.add_argument(
        "--wear",
        type=wear,
        default=None,
        metavar="LIST",
        help="of the fixture, such as welded=103,dead=204,loose=4",
    )


def _add_links(parser: argparse.ArgumentParser) -> None:
    example = "drop=0.001,garble=0.001,stall=0.01,stall_s=3,delay_s=0.1"
    parser.add_argument(
        "--trouble",
        type=trouble,
        default=None,
        metavar="LIST",
        help=f"of the meter's line, such as {example}",
    )
    parser.add_argument("--no-pty", action="store_true", help="serve everything on TCP")
    parser.add_argument("--meter-link", choices=LINKS, default="tcp", help="what it is plugged in by")
    parser.add_argument("--meter-port", type=int, default=0, metavar="PORT", help="TCP port of the meter")
    parser.add_argument("--thermometer", choices=("pty", "tcp"), default="pty", help="its link")
    parser.add_argument(
        "--thermometer-port", type=int, default=0, metavar="PORT", help="its TCP port, if on TCP"
    )


def wrong_in(given: argparse.Namespace, meter: MeterClass, voice: str) -> str:
    """What is wrong with a command line in one sentence; empty when nothing is."""
    ports = {"--meter-port": given.meter_port, "--thermometer-port": given.thermometer_port}
    checks = [
        (given.units is None or given.units >= 1, "--units: at least 1"),
        (0 < given.speed <= 100, "--speed: a number above 0, at most 100"),
        *((0 <= port <= 65535, f"{option}: 0 to 65535") for option, port in ports.items()),
        (
            meter.nplc if voice == "scpi" else VOICES[voice].fits(meter),
            f"--voice: a {given.meter} meter does not speak {voice}",
        ),
        (
            given.fixed_range is None or 0 <= given.fixed_range <= meter.ranges[-1].nominal_ohm,
            f"--fixed-range: a {given.meter} meter has no such range",
        ),
        (
            voice == "scpi" or given.meter_link in ("tcp", "pty"),
            f"--meter-link {given.meter_link}: only a meter that speaks scpi has it",
        ),
        (voice == "scpi" or not given.fixture, "--fixture: only a meter that speaks scpi has a card"),
        (given.sheet or not given.fault, "--fault: goes with --sheet"),
    ]
    return next((sentence for good, sentence in checks if not good), "")


def scene_of(given: argparse.Namespace) -> Scene:
    """The units that come, from a scene or a sheet."""
    if not given.sheet:
        scene = build_scene(given.scene, given.seed, given.units)
        return replace(scene, units=()) if given.hands == "typed" else scene
    kind = unit_type(given.sheet)
    faults = [fault_of(kind, words.split()) for words in given.fault]
    return of_sheet(given.sheet, given.seed, faults, given.units)


def options(arguments: list[str] | None = None) -> Options:
    """Read the command line."""
    parser = command_line()
    given = parser.parse_args(arguments)
    try:
        meter = meter_class(given.meter)
        voice = given.voice or usual_voice(meter)
        if fault := wrong_in(given, meter, voice):
            parser.error(fault)
        scene = scene_of(given)
    except (Unusable, NoSuchFault) as error:
        parser.error(str(error))
    line_trouble = given.trouble or LineTrouble()
    line_trouble.dice = dice_for(given.seed, "line trouble")
    return Options(
        scene=scene,
        seed=given.seed,
        speed=given.speed,
        truth=given.truth,
        meter=meter,
        voice=voice,
        fixture=given.fixture,
        wear=given.wear or Wear(),
        fixed_ohm=given.fixed_range,
        trouble=line_trouble,
        meter_port=given.meter_port,
        thermometer_port=given.thermometer_port,
        meter_link="tcp" if given.no_pty else given.meter_link,
        thermometer="tcp" if given.no_pty else given.thermometer,
        typed=given.hands == "typed",
        pace=PACES[given.pace],
        brief=given.brief,
    )


def main() -> int:
    """Run until the input ends or somebody stops it."""
    make_streams()
    try:
        return run_loop(run(options()))
    except OSError as error:
        print(f"The bench cannot be served: {error}.", file=sys.stderr)
        return 1


if __name__ == "__main__":
    sys.exit(main())
