"""From a file's table to a broker: where it is, with what the environment keeps secret."""

from __future__ import annotations

from collections.abc import Mapping

from acquire.files.network_tables import BrokerSettings, credentials
from acquire.outlets.mqtt import Broker


def broker_of(settings: BrokerSettings, environment: Mapping[str, str]) -> Broker:
    """Say where to connect, and with which login.

    Raises:
        InputImpossible: a variable is not set, or the password's file cannot be read.
    """
    login = credentials(settings, environment)
    return Broker(
        host=settings.host,
        port=settings.port,
        version=settings.version,
        tls=settings.encrypted,
        ca=settings.ca,
        certificate=settings.certificate,
        key=settings.key,
        user=login.user,
        password=login.password,
        keepalive_s=settings.keepalive,
    )
