"""Answers about instruments: what was found, what bytes mean, which drivers there are."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from acquire.answers.told import write_new
from acquire.files.bench_tables import LOW_OHMS_LINE, TYPED
from acquire.files.shipped import meter_file_for, shipped
from drivers.decode import Decoding, decode_bytes
from drivers.find import Finding, display_counts, find_meters, list_serial_ports
from drivers.link.available import LinkKind
from drivers.meter import Capabilities
from drivers.reading import Quantity
from drivers.registry import DriverEntry, open_meter
from drivers.self_check import needs_self_check


async def look(
    ports: Sequence[str] | None, tcp: Sequence[str], *, visa: bool, ask: bool, write: Path | None
) -> int:
    """Look for meters with a progress bar, say what was found, and write a bench file if asked.

    Args:
        ports: serial ports to look at; None takes all of this machine.
        tcp: `HOST:PORT` of meters on the network.
        visa: whether to look at VISA resources too.
        ask: False only listens.
        write: bench file to write; None writes none.

    Returns:
        How many meters were recognised.
    """
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
        write_new(write, bench_text_for(found))
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


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the bench file for a meter shall say besides; the defaults are to be replaced by hand.

    Attributes:
        name, purpose, operator, batch: of the bench.
        sheet, model: paths of the sheet and of the meter's file; None: a shipped one stands in.
        celsius: temperature of the room where no thermometer was found.
        self_check: the resistor at hand, of a meter that must be proved on one.
        page_port: port of the bench page; None: the file has none.
    """

    name: str = "bench-1"
    purpose: str = "final"
    operator: str = ""
    batch: str = ""
    sheet: Path | None = None
    model: Path | None = None
    celsius: float = 20.0
    self_check: str = "470 ohm"
    page_port: int | None = None


def bench_text_for(found: Sequence[Finding], wishes: Wishes = Wishes()) -> str:
    """A commented bench file for the meter that was found, and the thermometer if there is one too.

    Args:
        found: at least one; where none measures ohms as far as is known, the first is taken for the meter.
        wishes: what it shall say besides.
    """
    sheet = wishes.sheet or shipped("sheets", "plover-80.toml")
    sheet_remark = "" if wishes.sheet else "   # put your own sheet here"
    model_remark = "" if wishes.model else "   # put the file of this meter's accuracy here"
    thermometers = [finding for finding in found if measures_temperature(finding)]
    meters = [finding for finding in found if finding not in thermometers] or thermometers[:1]
    meter, others = meters[0], [f"# Also found: {finding.text}\n" for finding in meters[1:]]
    model = wishes.model or meter_file_for(display_counts(meter), settable=_able(meter).settable)
    thermometer = next((finding for finding in thermometers if finding is not meter), None)
    return f"""# Written by steadyohm, which found: {meter.text}
{"".join(others)}# Every other setting is explained in the shipped bench file example.toml.

[bench]
name = {_toml(wishes.name)}
purpose = {_toml(wishes.purpose)}               # incoming, winding, final or returned
sheet = {_toml(sheet.as_posix())}{sheet_remark}
{_said("operator", wishes.operator)}{_said("batch", wishes.batch)}{_low_ohms_of(meter)}
[meter]                         # {_identity_of(meter)}
driver = {_toml(meter.driver)}
{_link_of(meter)}model = {_toml(model.as_posix())}{model_remark}
{_options_of(meter)}{_self_check_of(meter, wishes.self_check)}
[temperature]                   # of the room, in which the unit has soaked
{_temperature_of(thermometer, wishes.celsius)}
[leads]
zero = "ask"

[journal]
folder = "journal"

[csv]
folder = "csv"
{_page_at(wishes.page_port)}"""


def _link_of(meter: Finding) -> str:
    """What is typed comes without one."""
    return "" if meter.driver == TYPED else f"link = {_toml(meter.address)}\n"


def _low_ohms_of(meter: Finding) -> str:
    """What to write for a meter that counts no milliohms; left to whoever answers for it."""
    return "" if _able(meter).settable else f"# {LOW_OHMS_LINE}"


def _said(key: str, text: str) -> str:
    return f"{key} = {_toml(text)}\n" if text else ""


def _page_at(port: int | None) -> str:
    return "" if port is None else f"\n[page]\nport = {port}\n"


def _identity_of(meter: Finding) -> str:
    named = meter.identity
    said = " ".join(filter(None, (named.maker, named.model, named.serial)))
    return said or "it did not say who it is"


def _options_of(finding: Finding) -> str:
    options = ", ".join(f"{key} = {_toml(value)}" for key, value in finding.options.items())
    return f"options = {{ {options} }}\n" if options else ""


def _able(meter: Finding) -> Capabilities:
    """What a meter's driver can do with it; nothing is opened."""
    return open_meter(
        meter.driver, meter_id="meter", address=meter.address, clock=lambda: (0.0, 0.0), options=meter.options
    ).capabilities


def _self_check_of(meter: Finding, resistor: str) -> str:
    """The resistor that a meter known from memory only must be proved on."""
    if not needs_self_check(_able(meter)):
        return ""
    said = f"self_check = {_toml(resistor)}"
    return f"{said}         # known from memory: put the resistor that you have here\n"


def _temperature_of(thermometer: Finding | None, celsius: float) -> str:
    if thermometer is None:
        return f'source = "typed"\nvalue = "{celsius:g} °C"\nuncertainty = "2 K"\n'
    return (
        f'source = "meter"\ndriver = {_toml(thermometer.driver)}\nlink = {_toml(thermometer.address)}\n'
        f'uncertainty = "1 K"            # put the limits of error of this thermometer here\n'
        f"{_options_of(thermometer)}"
    )


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return str(value) if isinstance(value, int | float) else json.dumps(str(value), ensure_ascii=False)


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
