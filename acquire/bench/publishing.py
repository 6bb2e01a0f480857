"""A bench on the network: its MQTT outlet, alone or as a bench of a line, and orders that come in that way.

Orders are carried out as if typed; the record says how they came. Not for what is sent, nor for how orders
are checked (outlets/orders), nor for whether they are taken at all (assembly).
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from acquire.bench.daemon import Daemon
from acquire.files.network_tables import MqttSettings
from acquire.outlets.mqtt import Broker
from acquire.outlets.mqtt_outlet import CURSOR, LineOutlet, MqttOutlet
from acquire.outlets.orders import ORDERS, Desk, Order, OrderAnswer, Stop
from acquire.records import (
    AcceptFirstUnit,
    Code,
    Command,
    GiveUpUnit,
    Note,
    Notice,
    Outcome,
    OverrideCheck,
    Severity,
    SkipStep,
    TypedResult,
)
from acquire.records.codes import SCAN_ASKED
from acquire.words.beside import typed_answer
from acquire.words.notices import WAYS, said

ANSWER_FIRST_S = 0.3
"""An order to stop is answered before it is obeyed: with the bench goes the connection."""

ON_RECORD_S = 5.0
"""How long an answer waits for the journal; asked over the page, people wait no longer."""

NOT_YET = "It was done, but is not on the record yet: the journal cannot be written now, and is tried again."

REASONED = SkipStep | GiveUpUnit | OverrideCheck | AcceptFirstUnit
WORDED = REASONED | Note
"""Orders whose own words go on the record, and so can say that they came over the network."""


@dataclass(frozen=True, slots=True)
class Orders:
    """Carries out what comes in over the network.

    Attributes:
        daemon: the bench.
        stop: set by the order to stop.
        way: how they come in, a key of `WAYS`.
    """

    daemon: Daemon
    stop: asyncio.Event
    way: str = "mqtt"

    async def __call__(self, order: Order) -> OrderAnswer:
        """Do it, and say what became of it once it is on the record: "done" outlives a power cut."""
        if isinstance(order, Stop):
            asyncio.get_running_loop().call_later(ANSWER_FIRST_S, self.stop.set)
            return OrderAnswer(done=True)
        reason = ""
        for event in await self.daemon.command(_told_how(order, self.way)):
            if isinstance(event, Notice) and event.code in {Code.COMMAND_REFUSED, *SCAN_ASKED}:
                return OrderAnswer(done=False, reason=said(event))
            if isinstance(event, TypedResult) and event.outcome is Outcome.CANNOT_JUDGE:
                reason = typed_answer(event)
        if not isinstance(order, WORDED):
            await self.daemon.tell(self._taken(order))
        try:
            await asyncio.wait_for(self.daemon.written(), ON_RECORD_S)
        except TimeoutError:
            return OrderAnswer(done=True, reason=f"{NOT_YET} {reason}".rstrip())
        return OrderAnswer(done=True, reason=reason)

    def _taken(self, order: Command) -> Notice:
        """What the record says of an order that has no words of its own."""
        name = next(name for name, kind in ORDERS.items() if isinstance(order, kind))
        unit = self.daemon.pipeline.unit
        serial, facts = unit.serial if unit else "", {"way": self.way, "order": name}
        return Notice(Severity.INFO, Code.ORDER_TAKEN, self.daemon.clock.utc_s(), serial, facts=facts)


def _told_how(order: Command, way: str) -> Command:
    """The same order with its reason saying how it came in, for the record."""
    if isinstance(order, REASONED):
        return replace(order, reason=f"{order.reason} ({WAYS[way]})")
    if isinstance(order, Note):
        return replace(order, text=f"{order.text} ({WAYS[way]})")
    return order


def mqtt_outlet(
    mqtt: MqttSettings, daemon: Daemon, *, environment: Mapping[str, str], stop: asyncio.Event, software: str
) -> MqttOutlet:
    """Make the outlet of a bench, and let it hear what the display hears.

    Args:
        mqtt: the bench file's table.
        daemon: the bench.
        environment: of the process, for the secrets that the table names.
        stop: set when somebody with the right to do so ends the bench over the network.
        software: name and version of the program.

    Raises:
        InputImpossible: a secret is not where the table says.
    """
    how: dict[str, Any] = {
        "bench": daemon.pipeline.place.bench,
        "clock": daemon.clock,
        "software": software,
        "on_command": Orders(daemon, stop) if mqtt.commands else None,
        "files": lambda: files_in_force(daemon),
        "readings": mqtt.readings,
    }
    broker = Broker.of(mqtt, environment)
    outlet: MqttOutlet
    if mqtt.line:
        outlet = LineOutlet(broker, with_evidence=mqtt.evidence, **how)
        daemon.outlets[CURSOR] = _until_set  # the archive waits for this cursor too; the outlet moves it
    else:
        outlet = MqttOutlet(broker, **how)
    if mqtt.commands:
        outlet.desk = Desk.kept(daemon.journal.path.parent)
    daemon.desk_refused = lambda: outlet.desk.refused
    daemon.subscribers.append(outlet.show)
    return outlet


def files_in_force(daemon: Daemon) -> dict[str, str]:
    """By which files the bench works now, as its status tells it."""
    place = daemon.pipeline.place
    return {
        "sheet": place.sheet.name,
        "meter": place.meter_model,
        "sheet_hash": place.sheet.content_hash,
        "meter_hash": place.meter_hash,
        "bench_hash": place.bench_hash,
    }


async def _until_set(stop: asyncio.Event) -> None:
    await stop.wait()
