"""A bench on the network: its MQTT outlet, alone or as a bench of a line.

Not for what is sent (outlets) nor for orders (network_orders).
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Any

from acquire.bench.daemon import Daemon
from acquire.bench.network_orders import Orders
from acquire.files.network_tables import MqttSettings
from acquire.line.broker import broker_of
from acquire.outlets.line_outlet import CURSOR, LineOutlet
from acquire.outlets.mqtt_outlet import MqttOutlet
from acquire.outlets.orders_kept import OrderFile
from acquire.records import Event


def mqtt_outlet(
    mqtt: MqttSettings,
    daemon: Daemon,
    *,
    environment: Mapping[str, str],
    stop: asyncio.Event,
    software: str,
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
        "on_command": Orders(daemon, stop) if mqtt.orders else None,
        "files": lambda: files_in_force(daemon),
        "readings": mqtt.readings,
    }
    broker = broker_of(mqtt, environment)
    outlet: MqttOutlet
    if mqtt.line:
        outlet = LineOutlet(broker, with_evidence=mqtt.evidence, **how)
        daemon.outlets[CURSOR] = _until_set  # the archive waits for this cursor too; the outlet moves it
    else:
        outlet = MqttOutlet(broker, **how)
    if mqtt.orders:
        kept = OrderFile(daemon.journal.path.parent)
        outlet.desk.known, outlet.note = kept.known, kept.note
    daemon.desk_refused = lambda: outlet.desk.refused
    shown = daemon.show

    def show(event: Event) -> None:
        shown(event)
        outlet.show(event)

    daemon.show = show
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
