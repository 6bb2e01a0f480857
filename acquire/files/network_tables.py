"""The keys of a bench file that concern the network, `[mqtt]`, `[http]`, `[page]`, and where secrets are.

Only what can be checked inside one table is checked here. User and password for a broker are fetched from
where the file says they are, never logged or shown. Not for reading files (settings).
"""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import AliasChoices, Field, model_validator

from acquire.errors import InputImpossible
from acquire.files.bench_tables import FilePath
from acquire.files.toml_file import Flag, TomlTable
from acquire.quantity import Seconds
from drivers.plain_file import read_file

EnvironmentName = Annotated[
    str,
    Field(
        pattern=r"^[A-Za-z_][A-Za-z0-9_]*$",
        description="It names an environment variable; the secret itself does not belong here.",
        examples=['"STEADYOHM_MQTT_PASSWORD"'],
    ),
]


def is_loopback(host: str) -> bool:
    """Whether an address is reached from this machine only."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


class BrokerSettings(TomlTable):
    """Where a broker is, and how to get in.

    Attributes:
        host: of the broker.
        port: 1883, or 8883 with TLS, when left out.
        version: of MQTT.
        tls: whether to encrypt, and to check who the broker is; left out, on any machine but this one.
        ca: path of the authority's certificate; left out, the system's are trusted.
        certificate: path of our own certificate.
        key: path of its key.
        user_env: environment variable that holds the user's name; see `acquire.files.network_tables`.
        password_env: environment variable that holds the password.
        password_file: path of a file whose first line is the password.
        keepalive: longest silence on the connection.
    """

    host: Annotated[str, Field(pattern=r"^[A-Za-z0-9.:_-]{1,255}$", examples=['"broker.lan"'])]
    port_given: Annotated[int, Field(strict=True, ge=1, le=65535)] | None = Field(default=None, alias="port")
    version: Literal["5", "3.1.1"] = "5"
    tls: Flag | None = None
    ca: FilePath | None = None
    certificate: FilePath | None = None
    key: FilePath | None = None
    user_env: EnvironmentName | None = None
    password_env: EnvironmentName | None = None
    password_file: FilePath | None = None
    keepalive: Seconds = 30.0

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        if self.tls is False and (self.ca or self.certificate or self.key):
            raise ValueError("ca, certificate and key need tls")
        if (self.certificate is None) != (self.key is None):
            raise ValueError("certificate and key go together")
        if self.password_env and self.password_file:
            raise ValueError("give password_env or password_file, not both")
        if (self.password_env or self.password_file) and not self.user_env:
            raise ValueError("a password needs a user: give user_env")
        return self

    @property
    def encrypted(self) -> bool:
        """Whether TLS is used."""
        if self.tls is None:
            return bool(self.ca or self.certificate) or not is_loopback(self.host)
        return self.tls

    @property
    def port(self) -> int:
        """TCP port; the registered ones where the file gives none (1883 mqtt, 8883 secure-mqtt, IANA)."""
        return self.port_given or (8883 if self.encrypted else 1883)


class MqttSettings(BrokerSettings):
    """`[mqtt]`: publishing over MQTT. Without this table nothing is sent.

    Attributes:
        commands: take commands from the broker: whoever may publish there can then end units, confirm open
            pairs, override the check standard and stop the bench.
        readings: publish live readings, a few a second; a line of many benches leaves them out.
        line: publish everything on the record, and send again what the line's database has not confirmed.
        evidence: publish what each verdict rests on as well; needs `line`.
    """

    commands: Flag = Field(default=False, validation_alias=AliasChoices("commands", "orders"))
    readings: Flag = True
    line: Flag = False
    evidence: Flag = False

    @model_validator(mode="after")
    def _evidence_goes_to_a_line(self) -> Self:
        if self.evidence and not self.line:
            raise ValueError("evidence needs line = true")
        return self


class HttpSettings(TomlTable):
    """`[http]`: numbers for a monitor and a health check. Without this table nothing listens.

    Attributes:
        port: TCP port to listen on.
        host: address to listen on.
        public: says that others than this machine may ask.
    """

    port: Annotated[int, Field(strict=True, ge=1, le=65535, examples=["8470"])]
    host: Annotated[str, Field(max_length=64, examples=['"127.0.0.1"'])] = "127.0.0.1"
    public: Flag = False

    @model_validator(mode="after")
    def _stays_here(self) -> HttpSettings:
        try:
            address = ipaddress.ip_address(self.host)
        except ValueError:
            raise ValueError('host must be an address of this machine, such as "127.0.0.1"') from None
        if not address.is_loopback and not self.public:
            raise ValueError("host lets other machines in: add public = true if that is meant")
        return self


HostName = Annotated[str, Field(pattern=r"^[A-Za-z0-9.-]{1,253}$", examples=['"bench-1.lan"'])]


class Speech(StrEnum):
    """Who speaks: the browser that shows the page, or the machine that the bench runs on."""

    BROWSER = "browser"
    MACHINE = "machine"


class PageSettings(TomlTable):
    """`[page]`: the bench page, to be opened in a browser. Without this table there is none.

    Attributes:
        port: TCP port to listen on.
        host: address to listen on; with any but the loopback every browser must show the token once.
        commands: whether the page may send commands, or only looks on.
        stop: whether it may also end the bench, which nobody can begin again from a page.
        speech: who speaks.
        names: that browsers may use for this machine, besides its addresses and its own name.
        token_file: path of the token; left out, it lies in the folder of the journal.
    """

    port: Annotated[int, Field(strict=True, ge=1, le=65535, examples=["8480"])] = 8480
    host: Annotated[str, Field(max_length=64, examples=['"127.0.0.1"'])] = "127.0.0.1"
    commands: Flag = Field(default=True, validation_alias=AliasChoices("commands", "orders"))
    stop: Flag = False
    speech: Speech = Speech.BROWSER
    names: tuple[HostName, ...] = ()
    token_file: FilePath | None = None

    @model_validator(mode="after")
    def _is_an_address(self) -> PageSettings:
        try:
            ipaddress.ip_address(self.host)
        except ValueError:
            raise ValueError('host must be an address of this machine, such as "127.0.0.1"') from None
        return self


LONGEST = 1000
"""Characters of a password's first line that are looked at."""


@dataclass(frozen=True, slots=True)
class Credentials:
    """Who logs in; the password does not appear when this is printed."""

    user: str | None
    password: str | None = field(default=None, repr=False)


def credentials(mqtt: BrokerSettings, environment: Mapping[str, str]) -> Credentials:
    """Fetch user and password.

    Args:
        mqtt: says where they are.
        environment: of the process, by name.

    Raises:
        InputImpossible: a variable is not set, or the password's file cannot be read.
    """
    user = variable(environment, mqtt.user_env) if mqtt.user_env else None
    if mqtt.password_env:
        return Credentials(user, variable(environment, mqtt.password_env))
    return Credentials(user, first_line(mqtt.password_file) if mqtt.password_file else None)


def variable(environment: Mapping[str, str], name: str) -> str:
    """Fetch a secret from the environment.

    Raises:
        InputImpossible: the variable is not set.
    """
    value = environment.get(name)
    if not value:
        raise InputImpossible(
            f"The environment variable {name} is not set.", f"Set it before starting: export {name}=…"
        )
    return value


def first_line(path: Path) -> str:
    """Fetch a secret from the first line of a file.

    Raises:
        InputImpossible: it cannot be read, or is empty.
    """
    try:
        line = read_file(path, LONGEST).decode("utf-8-sig").partition("\n")[0].rstrip("\r")
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "it is no UTF-8 text"
        raise InputImpossible(
            f"The password file {path} cannot be read ({why}).", "Check its name."
        ) from error
    if not line:
        raise InputImpossible(f"The password file {path} has an empty first line.", "Put the password there.")
    return line
