"""Answers about instruments: what was found, what bytes mean, what a meter sends, which drivers are."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from acquire.answers import AsJson, argument, option, say, say_json
from acquire.bench.intake import Feed, ohmmeter
from acquire.clock import RealClock
from acquire.files.bench_tables import LOW_OHMS_LINE, TYPED
from acquire.files.new_file import write_new
from acquire.files.settings import Bench, load_bench
from acquire.files.shipped import meter_file_for, shipped
from acquire.files.toml_template import toml_from
from acquire.heart.standstill import bytes_told
from acquire.records import Notice
from acquire.steps.setup_choice import Wanted
from acquire.words.notices import said
from drivers.decode import Decoding, bytes_of_hex, decode_bytes
from drivers.find import Finding, display_counts, find_meters, list_serial_ports
from drivers.frame import Decoded
from drivers.link.address import parse_address
from drivers.link.available import LinkKind, link_kinds
from drivers.meter import Capabilities
from drivers.reading import UNIT_OF, Quantity, Reading
from drivers.registry import DriverEntry, list_drivers, open_meter
from drivers.self_check import needs_self_check
from system.ending import run_loop


async def _look(
    ports: Sequence[str] | None, tcp: Sequence[str], *, visa: bool, ask: bool, write: Path | None
) -> int:
    """Look for meters, and write a bench file if asked; gives how many were recognised."""
    console = Console(soft_wrap=True, highlight=False)
    for port in await asyncio.to_thread(list_serial_ports) if ports is None else ():
        console.print(f"port         {port.path}  {port.make}".rstrip())
    found: list[Finding] = []
    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"))
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        bar = progress.add_task("looking", total=None)
        async for finding in find_meters(serial_ports=ports, tcp=tcp, visa=visa, ask=ask):
            progress.update(bar, completed=finding.done, total=finding.total, description=finding.text[:60])
            if finding.state != "looking":
                progress.console.print(f"{finding.state:<12} {finding.text}")
            if finding.state == "found":
                found.append(finding)
    if not found:
        console.print("No meter was recognised. Is it on, and set to send? drivers/README.md lists symptoms.")
    elif write is not None:
        write_new(write, bench_text_for(found).encode())
        console.print(f"Written: {write}. Set sheet and model in it, then: steadyohm check {write}")
    return len(found)


def measures_temperature(finding: Finding) -> bool:
    """Whether what was heard is a thermometer: all that it said were temperatures."""
    if finding.driver in ASKED_WHO:
        return False
    decoding = decode_bytes(finding.driver, finding.heard, finding.options)
    told = {piece.decoded.quantity for piece in decoding.pieces if piece.decoded is not None}
    return told == {Quantity.TEMPERATURE}


ASKED_WHO = frozenset({"scpi", "modbus"})
"""Drivers whose meters were found by their answer to another question than for a reading."""


WISHES: dict[str, Any] = {
    "name": "bench-1",
    "purpose": "final",
    "operator": "",
    "batch": "",
    "sheet": None,
    "model": None,
    "celsius": 20.0,
    "self_check": "470 ohm",
    "page_port": None,
}
"""What the bench file for a meter says besides, to be replaced by hand: of the bench; paths of sheet and
meter file in place of shipped ones; temperature of the room without a thermometer; the resistor at hand, of
a meter that must be proved on one; port of the bench page, where it has one."""


def bench_text_for(found: Sequence[Finding], **wishes: Any) -> str:
    """A commented bench file for the meter that was found, and the thermometer if there is one too.

    Args:
        found: at least one; where none measures ohms as far as is known, the first is taken for the meter.
        wishes: in place of `WISHES`.
    """
    wishes = WISHES | wishes
    thermometers = [finding for finding in found if measures_temperature(finding)]
    meters = [finding for finding in found if finding not in thermometers] or thermometers[:1]
    meter, able, named = meters[0], _able(meters[0]), meters[0].identity
    sheet = wishes["sheet"] or shipped("sheets", "plover-80.toml")
    model = wishes["model"] or meter_file_for(display_counts(meter), settable=able.settable)
    return toml_from(
        Path(__file__).with_name("templates") / "bench.toml",
        meter=meter,
        others=meters[1:],
        identity=" ".join(filter(None, (named.maker, named.model, named.serial))),
        thermometer=next((finding for finding in thermometers if finding is not meter), None),
        wishes=wishes,
        sheet=sheet.as_posix(),
        model=model.as_posix(),
        self_check=needs_self_check(able),
        typed=TYPED,
        low_ohms="" if able.settable else LOW_OHMS_LINE.rstrip(),
    )


def _able(meter: Finding) -> Capabilities:
    """What a meter's driver can do with it; nothing is opened."""
    return open_meter(
        meter.driver, meter_id="meter", address=meter.address, clock=lambda: (0.0, 0.0), options=meter.options
    ).capabilities


def decoding_lines(decoding: Decoding) -> list[str]:
    """What bytes mean, a line for each frame."""
    lines = []
    for piece in decoding.pieces:
        if piece.decoded is None:
            lines.append(f"{piece.raw.hex(' ')}  refused: {piece.refused}")
        else:
            lines.append(f"{piece.raw.hex(' ')}  {made_of(piece.decoded)}")
    if decoding.thrown_bytes:
        lines.append(f"{decoding.thrown_bytes} bytes belong to no frame of {decoding.driver}.")
    return lines or ["There is no whole frame in these bytes."]


def made_of(said: Decoded) -> str:
    """What one frame was taken for."""
    unit = f" {UNIT_OF[said.quantity]}"
    value = said.kind.value.replace("_", " ") if said.value_si is None else f"{said.value_si:.7g}{unit}"
    more = [f"range {said.range_full_scale_si:g}{unit}"] if said.range_full_scale_si else []
    more += [f"count {said.resolution_si:g}{unit}"] if said.resolution_si else []
    return ", ".join([f"{said.quantity.value}: {value}", *more, *sorted(flag.value for flag in said.flags)])


def decoding_facts(decoding: Decoding) -> dict[str, Any]:
    """The same for programs."""
    names = "quantity", "kind", "value_si", "resolution_si"
    pieces = [
        {"raw": piece.raw.hex(), "refused": piece.refused or None}
        | {name: getattr(piece.decoded, name, None) for name in names}
        | {"flags": sorted(piece.decoded.flags) if piece.decoded else []}
        for piece in decoding.pieces
    ]
    return {"driver": decoding.driver, "frames": pieces, "thrown_bytes": decoding.thrown_bytes}


VERIFIED = {
    "capture": "verified against recorded bytes",
    "datasheet": "verified against a data sheet",
    "standard": "verified against a standard",
    "memory": "from memory: needs the self-check before verdicts",
}
"""What a driver's byte format was checked against, in words."""


def link_lines(kinds: Sequence[LinkKind]) -> list[str]:
    """The kinds of links, a line each, with what is missing."""
    return [
        f"{kind.address:<26} {kind.what}{f'; missing: {kind.missing}' if kind.missing else ''}"
        for kind in kinds
    ]


def driver_lines(entries: Sequence[DriverEntry]) -> list[str]:
    """The drivers, a few lines each."""
    lines = []
    for entry in entries:
        if entry.capabilities is None:
            lines.append(f"{entry.name:<12} not available: {entry.reason}")
            continue
        able = entry.capabilities
        how = "set over the link" if able.settable else "set by hand"
        sends = "sends by itself" if able.streaming else "is asked"
        lines.append(f"{entry.name:<12} {how}, {sends}; {VERIFIED.get(able.verification, able.verification)}")
        lines.append(f"{'':<12} {', '.join(sorted(q.value.replace('_', ' ') for q in able.quantities))}")
        for name, profile in entry.profiles.items():
            lines.append(f"{'':<12} profile {name}: {VERIFIED[profile.verified]}. Source: {profile.source}")
    return lines


def driver_facts(entry: DriverEntry) -> dict[str, Any]:
    """One driver for programs."""
    able = entry.capabilities
    return {
        "name": entry.name,
        "available": able is not None,
        "reason": entry.reason or None,
        "profiles": {
            name: {"title": profile.title, "verification": profile.verified, "source": profile.source}
            for name, profile in entry.profiles.items()
        },
        "quantities": sorted(q.value for q in able.quantities) if able else [],
        "settable": able.settable if able else None,
        "streaming": able.streaming if able else None,
        "flags_visible": sorted(flag.value for flag in able.flags_visible) if able else [],
        "verification": able.verification if able else None,
    }


def find(
    *,
    port: Annotated[list[str] | None, option("This serial port; may be repeated.")] = None,
    tcp: Annotated[list[str] | None, option("A meter on the network, HOST:PORT; may be repeated.")] = None,
    visa: Annotated[bool, option("The VISA resources of this machine and its network.", "--visa")] = False,
    listen_only: Annotated[
        bool, option("Send nothing; hear only what sends by itself.", "--listen-only")
    ] = False,
    write: Annotated[Path | None, option("Write a commented bench file for what was found.")] = None,
) -> None:
    """Look for meters where you say, else on every serial port, by listening and asking harmlessly."""
    for place in tcp or ():
        parse_address(f"tcp:{place}")  # a slip of the pen is bad input, not a meter that does not answer
    ports = [] if port is None and (tcp or visa) else port
    found = run_loop(_look(ports, tcp or [], visa=visa, ask=not listen_only, write=write))
    raise typer.Exit(0 if found else 1)


def decode(
    driver: Annotated[str, argument("Whose bytes these are; `steadyohm meters` lists the drivers.")],
    hexadecimal: Annotated[list[str], argument('Such as "2b 30 31 32".', metavar="HEX...")],
    *,
    profile: Annotated[str | None, option("Profile of the driver, if it has several.")] = None,
    as_json: AsJson = False,
) -> None:
    """Say what a driver makes of some bytes, or why it makes nothing of them."""
    options = {"profile": profile} if profile else None
    decoding = decode_bytes(driver, bytes_of_hex(" ".join(hexadecimal)), options)
    say_json(decoding_facts(decoding), indent=2) if as_json else say(decoding_lines(decoding))
    raise typer.Exit(0 if any(piece.decoded for piece in decoding.pieces) else 1)


def meters(*, as_json: AsJson = False) -> None:
    """List drivers and links: what each can do, what it was verified against, and what is missing."""
    entries = list_drivers()
    if as_json:
        drivers, links = [driver_facts(entry) for entry in entries], [asdict(kind) for kind in link_kinds()]
        say_json({"drivers": drivers, "links": links}, indent=2)
    else:
        say([*driver_lines(entries), "", *link_lines(link_kinds())])


async def _show_bytes(bench: Bench, say: Callable[[str], None], seconds: float | None) -> int:
    """Show what comes, for so long or until it is ended; gives how many readings came."""
    clock = RealClock()

    def line(raw: bytes, made: str) -> None:
        told = bytes_told(raw)
        say(f"{told['hex']}  “{told['text']}”  {made}")

    def unread(raw: bytes, why: str) -> None:
        line(raw, f"no reading: {why}")

    async def take(reading: Reading) -> None:
        shown = Decoded(
            reading.quantity,
            reading.kind,
            reading.value_si,
            reading.resolution_si,
            reading.range_full_scale_si,
            reading.range_origin,
            reading.flags,
        )
        line(reading.raw, made_of(shown))

    async def tell(notice: Notice) -> None:
        say(said(notice))

    feed = Feed("meter", ohmmeter(bench, clock), clock, take, tell, wanted=Wanted, unread=unread)
    feed.integration_plc, feed.offset_compensation = (
        bench.meter.integration_plc,
        bench.meter.offset_compensation,
    )
    say(f"{bench.meter.driver} at {bench.meter.link}: bytes, text, and what is made of them. Ctrl-C ends it.")
    try:
        async with asyncio.timeout(seconds):
            await feed.run()
    except TimeoutError:
        say(f"{feed.came} readings came.")
    return feed.came


def meter_says(
    bench: Annotated[Path, argument("The bench file whose [meter] is to be heard.")],
    *,
    seconds: Annotated[
        float | None, option("End after so long; else Ctrl-C ends it.", min=0.1, max=86400.0)
    ] = None,
) -> None:
    """Show the bytes that a meter sends and what is made of them, live; nothing is judged or recorded."""
    came = 1
    with suppress(KeyboardInterrupt):
        came = run_loop(_show_bytes(load_bench(bench), typer.echo, seconds))
    raise typer.Exit(0 if came else 1)
