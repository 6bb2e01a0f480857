"""Answers about instruments: what was found, what bytes mean, which drivers there are."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from acquire.answers.told import write_new
from acquire.shipped import shipped
from drivers.decode import Decoding
from drivers.find import Finding, find_meters, list_serial_ports
from drivers.registry import DriverEntry


async def look(
    ports: Sequence[str] | None, tcp: Sequence[str], *, visa: bool, ask: bool, write: Path | None
) -> int:
    """Look for meters with a progress bar, say what was found, and write a bench file if asked.

    Returns:
        How many meters were recognised.
    """
    console = Console()
    for port in list_serial_ports() if ports is None else ():
        console.print(f"port {port.path}  {port.make}".rstrip(), highlight=False)
    found: list[Finding] = []
    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"))
    with Progress(*columns, console=console, transient=True) as progress:
        bar = progress.add_task("looking", total=None)
        async for finding in find_meters(serial_ports=ports, tcp=tcp, visa=visa, ask=ask):
            progress.update(bar, completed=finding.done, total=finding.total, description=finding.text[:60])
            if finding.state != "looking":
                progress.console.print(
                    f"{finding.state:<12} {finding.address}  {finding.text}", highlight=False
                )
            if finding.state == "found":
                found.append(finding)
    if not found:
        console.print("No meter was recognised. Is it on, and set to send? README.md lists symptoms.")
    elif write is not None:
        write_new(write, bench_text_for(found[0]))
        console.print(
            f"Written: {write}. Set sheet and model in it, then: steadyohm check {write}", highlight=False
        )
    return len(found)


def bench_text_for(finding: Finding) -> str:
    """A commented bench file for a meter that was found."""
    identity = " ".join(
        filter(None, (finding.identity.maker, finding.identity.model, finding.identity.serial))
    )
    options = ", ".join(f"{key} = {_toml(value)}" for key, value in finding.options.items())
    return f"""# Written by `steadyohm find`: {finding.text}
# Every other setting is explained in the shipped bench file example.toml.

[bench]
name = "bench-1"
purpose = "final"               # incoming, winding, final or returned
sheet = "{shipped("sheets", "plover-80.toml").as_posix()}"   # put your own sheet here

[meter]                         # {identity or "it did not say who it is"}
driver = "{finding.driver}"
link = "{finding.address}"
model = "{shipped("meters", "hand-2000.toml").as_posix()}"   # put the file of this meter's accuracy here
{f"options = {{ {options} }}" if options else ""}

[temperature]                   # of the room, in which the unit has soaked
source = "typed"
value = "20 °C"
uncertainty = "2 K"

[leads]
zero = "ask"

[journal]
folder = "journal"

[csv]
folder = "csv"
"""


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return str(value) if isinstance(value, int | float) else f'"{value}"'


def decoding_lines(decoding: Decoding) -> list[str]:
    """What bytes mean, a line for each frame."""
    lines = []
    for piece in decoding.pieces:
        if piece.decoded is None:
            lines.append(f"{piece.raw.hex(' ')}  refused: {piece.refused}")
        else:
            said = piece.decoded
            value = said.kind.value.replace("_", " ") if said.value_si is None else f"{said.value_si:.7g}"
            flags = ", ".join(sorted(flag.value for flag in said.flags))
            lines.append(f"{piece.raw.hex(' ')}  {said.quantity.value}: {value} {flags}".rstrip())
    if decoding.thrown_bytes:
        lines.append(f"{decoding.thrown_bytes} bytes belong to no frame of {decoding.driver}.")
    return lines or ["There is no whole frame in these bytes."]


def decoding_facts(decoding: Decoding) -> dict[str, Any]:
    """The same for programs."""
    pieces = [
        {
            "raw": piece.raw.hex(),
            "refused": piece.refused or None,
            "quantity": piece.decoded.quantity.value if piece.decoded else None,
            "kind": piece.decoded.kind.value if piece.decoded else None,
            "value_si": piece.decoded.value_si if piece.decoded else None,
            "resolution_si": piece.decoded.resolution_si if piece.decoded else None,
            "flags": sorted(flag.value for flag in piece.decoded.flags) if piece.decoded else [],
        }
        for piece in decoding.pieces
    ]
    return {"driver": decoding.driver, "frames": pieces, "thrown_bytes": decoding.thrown_bytes}


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
        lines.append(f"{entry.name:<12} {how}, {sends}; format verified against: {able.verification}")
        lines.append(f"{'':<12} {', '.join(sorted(q.value.replace('_', ' ') for q in able.quantities))}")
        if entry.profiles:
            lines.append(f"{'':<12} profiles: {', '.join(entry.profiles)}")
    return lines


def driver_facts(entry: DriverEntry) -> dict[str, Any]:
    """One driver for programs."""
    able = entry.capabilities
    return {
        "name": entry.name,
        "available": able is not None,
        "reason": entry.reason or None,
        "profiles": list(entry.profiles),
        "quantities": sorted(q.value for q in able.quantities) if able else [],
        "settable": able.settable if able else None,
        "streaming": able.streaming if able else None,
        "flags_visible": sorted(flag.value for flag in able.flags_visible) if able else [],
        "verification": able.verification if able else None,
    }
