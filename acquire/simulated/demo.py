"""The demonstration: the real daemon on simulated instruments, with a virtual operator, then a summary.

Nothing here is a shortcut into the heart: the readings come over a socket and a pty, the serials from the
operator's scanner, and the verdicts are compared with what was planted only when all is done. The bench is a
process of its own; between it and the daemon are two addresses and lines, and nothing of `sim` is imported.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import subprocess
import sys
from collections.abc import AsyncGenerator, AsyncIterator, Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import count
from pathlib import Path
from shutil import which
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from acquire.bench.assembly import assemble
from acquire.bench.daemon import Daemon
from acquire.bench.keyboard import to_command
from acquire.clock import RealClock
from acquire.errors import SteadyohmError
from acquire.files.settings import load_bench
from acquire.outlets.terminal import Tally, Terminal
from acquire.records import (
    Code,
    ConfirmOpen,
    Event,
    Fact,
    Judged,
    LeadZero,
    Notice,
    Outcome,
    Prompt,
    Settled,
    StartUnit,
    UnitResult,
)
from acquire.records.codes import Refusal
from acquire.simulated.simulate import simulated, with_page
from acquire.words.notices import said
from acquire.words.prompts import asked
from system.desktop import shown_where
from system.ending import asked_to_end
from system.incoming import read_lines

START_S = 20.0
"""How long the simulation may take to say where its instruments are."""


@dataclass(frozen=True, slots=True)
class StandIn:
    """A running simulation.

    Attributes:
        process: its process.
        lines: what it says.
        meter, thermometer: where its instruments are, as a bench file writes it.
    """

    process: subprocess.Popen[bytes]
    lines: AsyncGenerator[str]
    meter: str
    thermometer: str

    def show(self, event: Event) -> None:
        """Let the simulated operator see an event, if a person would."""
        seen, pipe = as_seen(event), self.process.stdin
        if seen and pipe is not None:
            with contextlib.suppress(OSError):  # it has ended
                pipe.write(json.dumps(seen).encode() + b"\n")

    async def doings(self) -> AsyncIterator[dict[str, Any]]:
        """What the hands do, until the simulation ends."""
        async for line in self.lines:
            if not (doing := _heard(line)):
                return
            yield doing


@contextlib.asynccontextmanager
async def stand_in(arguments: Sequence[str]) -> AsyncIterator[StandIn]:
    """Start `python -m sim` and end it on leaving.

    Args:
        arguments: of its command line.

    Raises:
        SteadyohmError: it does not start.
    """
    words = (sys.executable, "-P", "-m", "sim", *arguments)  # -P: a user's own folder named sim is not ours
    pipe = subprocess.PIPE
    with subprocess.Popen(words, stdin=pipe, stdout=pipe, bufsize=0) as process:  # noqa: S603, ASYNC220  (our own)
        assert process.stdout is not None  # noqa: S101  (a pipe was asked for)
        async with contextlib.aclosing(read_lines(process.stdout.fileno())) as lines:
            try:
                address = await _address(lines)
                yield StandIn(process, lines, str(address["meter"]), str(address["thermometer"]))
            finally:
                await _end(process)


async def _address(lines: AsyncGenerator[str]) -> dict[str, Any]:
    """Where its instruments are, by name: the first thing it says."""
    try:
        async with asyncio.timeout(START_S):
            address = _heard(await anext(lines, "")).get("address")
    except TimeoutError:
        raise SteadyohmError(f"The simulated bench is silent for {START_S:.0f} s.") from None
    if not isinstance(address, dict):
        raise SteadyohmError("The simulated bench does not start.", "Run `python -m sim` to see why.")
    return address


def _heard(line: str) -> dict[str, Any]:
    """What a line says; empty for anything but one object."""
    try:
        heard = json.loads(line)
    except ValueError:
        return {}
    return heard if isinstance(heard, dict) else {}


async def _end(process: subprocess.Popen[bytes]) -> None:
    """Close its input, which ends it; insist after a while."""
    if process.stdin is not None:
        process.stdin.close()
    try:
        await asyncio.to_thread(process.wait, 3.0)
    except subprocess.TimeoutExpired:
        process.terminate()


def _turn(facts: Mapping[str, Fact]) -> dict[str, Fact]:
    """Where the dial is to be turned, if anywhere."""
    return {name: fact for name, fact in facts.items() if name == "turn_ohm"}


def as_seen(event: Event) -> dict[str, Any]:
    """What a person at the bench sees or hears of an event; empty where that is nothing."""
    seen: dict[str, Any] = {}
    match event:
        case Prompt():
            more = {"pins": list(event.pair)} if event.pair else {}
            seen = {"show": event.ask.value, "text": asked(event), **more, **_turn(event.facts)}
        case Notice(code=Code.COMMAND_REFUSED) if "turn_ohm" in event.facts:
            untold = event.facts["refusal"] == Refusal.RANGE_UNTOLD
            seen = {"show": "wait", "untold": untold, **_turn(event.facts)}
        case Settled(revision=0):
            seen = {"show": "settled"}
        case Judged():
            seen = {"show": "verdict", "outcome": event.verdict.outcome.value}
        case LeadZero():
            seen = {"show": "lift"}
        case Notice(code=Code.PAIR_OTHER | Code.PAIR_UNCLEAR | Code.PROBES_NOT_LIFTED):
            seen = {"show": "hint", "text": said(event)}
        case Notice(code=Code.FIXTURE_UNPROVEN):
            seen = {"show": "look_at_clips", "text": said(event)}
        case UnitResult(revision=0):  # a later one changes a result, not what lies on the bench
            seen = {"show": "unit", "outcome": event.outcome.value if event.outcome else "held"}
        case _:
            pass
    return seen


@dataclass(frozen=True, slots=True)
class DemoOptions:
    """What the command line says.

    Attributes:
        folder: where the files of this run go; made if missing.
        scene: which units.
        meter: a meter file, or a shipped one by its name; a hand turns its dial where it has one.
        units: how many of them come to the bench; None: as many as the scene usually has.
        speed: simulated seconds per real second.
        seed: the same seed brings the same units, faults and hands.
        page: the bench page is shown too, and stays when the hands have finished.
        fixture: units are clipped into a fixture, in place of hands that hold probes.
    """

    folder: Path
    scene: str = "plover-80"
    meter: str = "bench-6-digit"
    units: int | None = None
    speed: float = 6.0
    seed: int = 7
    page: bool = False
    fixture: bool = False


def new_folder(wanted: Path | None) -> Path:
    """The folder for a run: the one that was asked for, else the first unused `demo-N` here."""
    if wanted is not None:
        return wanted
    return next(folder for n in count(1) if not (folder := Path(f"demo-{n}")).exists())


class FolderUnusable(SteadyohmError):
    """The folder that was named for a run cannot take it."""

    exit_code = 2


def make_folder(folder: Path) -> None:
    """Make the folder of a run.

    Raises:
        FolderUnusable: it cannot be made, or holds a run already: its open unit would go on in this one.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FolderUnusable(
            f"{folder} cannot be made a folder ({error.strerror}).", "Name another."
        ) from error
    if (folder / "journal").exists():
        raise FolderUnusable(f"{folder} holds a run already.", "Name another folder, or leave --dir out.")


async def run_demo(options: DemoOptions, console: Console) -> int:
    """Play the whole demonstration.

    Returns:
        How many units ended otherwise than their planted faults call for; 0 when all is well.
    """
    bench = simulated(options.scene, options.meter)  # a scene is named after its sheet
    make_folder(options.folder)
    truth_file, stop = options.folder / "truth.jsonl", asyncio.Event()
    words = ["--scene", options.scene, "--seed", str(options.seed)]
    words += [] if options.units is None else ["--units", str(options.units)]
    words += ["--speed", str(options.speed), f"--truth={truth_file}"]
    words += ["--fixture", "kelvin"] if options.fixture else []
    async with stand_in([*words, *bench.words()]) as simulation:
        bench_file = options.folder / "bench.toml"
        text = bench.bench_text(simulation.meter, simulation.thermometer)
        text = bench.with_fixture(text) if options.fixture else text
        bench_file.write_text(with_page(text) if options.page else text, encoding="utf-8")
        _introduce(console, simulation, options)
        with Terminal(console) as terminal:

            def show(event: Event) -> None:
                terminal.show(event)
                simulation.show(event)

            daemon = await assemble(
                load_bench(bench_file), clock=RealClock(options.speed), show=show, stop=stop
            )
            if told := daemon.invitation(console.is_terminal):
                console.print(told, highlight=False, soft_wrap=True)
            stays = partial(console.print, "The hands have finished. The page stays until Ctrl-C.")
            await at_work(daemon, simulation, stop, stays if options.page else None)
    planted = read_truth(truth_file)
    console.print(comparison(list(terminal.units.values()), planted))
    _what_next(console, options)
    ended = sum(as_planted(unit.outcome, planted.get(unit.serial, {})) for unit in terminal.units.values())
    return (options.units or len(planted)) - ended


async def at_work(
    daemon: Daemon,
    simulation: StandIn,
    stop: asyncio.Event | None = None,
    stays: Callable[[], None] | None = None,
) -> None:
    """Run the daemon until the hands have finished, or until Ctrl-C.

    Args:
        daemon: the bench.
        simulation: with the hands.
        stop: ends it; made here where nobody has one.
        stays: called when the hands have finished, of a bench that then stays until Ctrl-C.
    """
    stop = stop or asyncio.Event()
    signals = contextlib.nullcontext() if stays is None else asked_to_end(stop.set)
    with signals:
        async with asyncio.TaskGroup() as group:
            group.create_task(daemon.run(stop), name="daemon")
            hands = group.create_task(_hands(daemon, simulation), name="hands")
            stopped = group.create_task(stop.wait(), name="stop")
            await asyncio.wait((hands, stopped), return_when=asyncio.FIRST_COMPLETED)
            if stays is not None and not stop.is_set():
                stays()
                await stop.wait()
            stop.set()
            hands.cancel()


async def _hands(daemon: Daemon, simulation: StandIn) -> None:
    """Do what the simulated hands do, until they have finished."""
    async for doing in simulation.doings():
        match doing.get("hands"):
            case "scan":
                await daemon.command(StartUnit(serial=str(doing["serial"])))
            case "confirm_open":
                await daemon.command(ConfirmOpen())
            case "type" if (command := to_command(str(doing["line"]))) is not None:
                await daemon.command(command)
            case "finished":
                break


def read_truth(truth_file: Path) -> dict[str, dict[str, Any]]:
    """What was planted in each unit, by serial."""
    units = {}
    for line in truth_file.read_text(encoding="utf-8").splitlines():
        fact = json.loads(line)
        if fact.get("truth") == "unit":
            units[fact["serial"]] = fact
    return units


def as_planted(outcome: Outcome | None, fact: dict[str, Any]) -> bool:
    """Whether a unit ended as what was planted in it calls for: a warm one held, a bad one failed."""
    if fact.get("too_warm_to_judge"):
        return outcome is None
    good = outcome in (Outcome.PASS, Outcome.CONDITIONAL_PASS)
    bad = outcome in (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)
    sound = fact.get("verdict") == "pass" and fact.get("story") != "reversed"
    return good if sound else bad


def in_words(fact: dict[str, Any]) -> str:
    """What was planted, in words."""
    story = str(fact.get("story", ""))
    fault = fact.get("fault", {})
    where = f" in {fault['where']}" if fault.get("where") else ""
    known = {
        "good": "a good unit",
        "wrong pair": "a good unit, probed on a wrong pair at first",
        "shorted": f"shorted turns{where}",
        "joint": f"a bad joint{where.replace(' in ', ' in pin ')}",
        "open": f"an open winding{where.replace(' in ', ': ')}",
        "few turns": f"too few turns{where}",
        "reversed": f"{fault.get('where', '')} wound the wrong way, which no ohms can show",
        "warm": f"a good unit, still {fact.get('excess_kelvin', 0):.0f} K warm",
    }
    return known.get(story, story)


def comparison(units: list[Tally], planted: dict[str, dict[str, Any]]) -> Table:
    """Each unit's verdict beside what the simulation had planted."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for head in ("unit", "planted by the simulation", "verdict", "explanation"):
        table.add_column(head, header_style="bold")
    for unit in units:
        fact = planted.get(unit.serial, {})
        mark = "" if as_planted(unit.outcome, fact) else "  (not as planted)"
        words = Text(unit.words + mark, style=unit.style)
        table.add_row(Text(unit.serial), Text(in_words(fact)), words, Text(unit.why))
    return table


def _introduce(console: Console, simulation: StandIn, options: DemoOptions) -> None:
    console.print(Text("A simulated bench", style="bold"))
    for name, what in (
        ("meter", simulation.meter),
        ("thermometer", simulation.thermometer),
        ("time", f"runs {options.speed:g} times as fast"),
    ):
        console.print(f"  {name:<11}  {what}", highlight=False, soft_wrap=True)
    console.print()


PIPX = "pipx_metadata.json"
"""Lies in each environment that pipx has made (its `pipx_metadata_file.py`, from memory)."""


def _known_first() -> list[tuple[str, str]]:
    """What makes the shell know our name, where it does not yet."""
    if which("steadyohm") is not None:
        return []
    if Path(sys.prefix, PIPX).is_file():
        return [("pipx ensurepath", "once; then open a new terminal for the commands below")]
    word, activate = shown_where(Path(sys.prefix))
    if not activate.is_file():
        return []
    if activate.is_relative_to(Path.cwd()):
        activate = activate.relative_to(Path.cwd())
    return [(f"{word}{activate}", "once in each terminal, for the commands below")]


def _what_next(console: Console, options: DemoOptions) -> None:
    folder = options.folder
    console.print()
    console.print(Text("Files of this run", style="bold"))
    for path in sorted(folder.rglob("*")):
        if path.is_file() and not path.name.endswith(("-wal", "-shm")):
            console.print(f"  {path}", highlight=False, soft_wrap=True)
    console.print()
    console.print(Text("Next", style="bold"))
    lines = (
        *_known_first(),
        (f"steadyohm check {folder / 'bench.toml'}", "a bench file checked line by line"),
        (f"steadyohm history {folder / 'journal'}", "what is on record now"),
        (f"steadyohm batch --journal {folder / 'journal'}", "its batches; with a name the report of one"),
        ("steadyohm simulate", "a bench to play with, from two terminals"),
        ("steadyohm run BENCH.toml", "your own meter and sheet: see README.md"),
    )
    wide = max(len(command) for command, _ in lines)
    for command, what in lines:
        console.print(f"  {command:<{wide}}  {what}", highlight=False, soft_wrap=True)
