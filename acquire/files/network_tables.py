"""The keys of a bench file that concern the network, `[mqtt]`, `[http]`, `[page]`, and where secrets are.

Only what can be checked inside one table is checked here. User and password for a broker are fetched from
where the file says they are, never logged or shown. Not for reading files (settings).
"""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, AliasChoices, Field, model_validator

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


class Secretive(TomlTable):
    """A table that says where a password is.

    Attributes:
        password_env: environment variable that holds it.
        password_file: path of a file whose first line it is.
    """

    password_env: EnvironmentName | None = None
    password_file: FilePath | None = None

    @model_validator(mode="after")
    def _one_password(self) -> Self:
        if self.password_env and self.password_file:
            raise ValueError("give password_env or password_file, not both")
        return self

    def password_of(self, environment: Mapping[str, str]) -> str | None:
        """Fetch it; None where there is none.

        Args:
            environment: of the process, by name.

        Raises:
            InputImpossible: the variable is not set, or the file cannot be read.
        """
        if self.password_env:
            return _variable(environment, self.password_env)
        return _first_line(self.password_file) if self.password_file else None


class BrokerSettings(Secretive):
    """Where a broker is, and how to get in.

    Attributes:
        host: of the broker.
        port: 1883, or 8883 with TLS, when left out.
        version: of MQTT.
        tls: whether to encrypt, and to check who the broker is; left out, on any machine but this one.
        ca: path of the authority's certificate; left out, the system's are trusted.
        certificate: path of our own certificate.
        key: path of its key.
        user_env: environment variable that holds the user's name.
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
    keepalive: Seconds = 30.0

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        if self.tls is False and (self.ca or self.certificate or self.key):
            raise ValueError("ca, certificate and key need tls")
        if (self.certificate is None) != (self.key is None):
            raise ValueError("certificate and key go together")
        if (self.password_env or self.password_file) and not self.user_env:
            raise ValueError("a password needs a user: give user_env")
        return self

    def user_of(self, environment: Mapping[str, str]) -> str | None:
        """Fetch the user's name. Raises InputImpossible where its variable is not set."""
        return _variable(environment, self.user_env) if self.user_env else None

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


def _address(host: str) -> str:
    try:
        return str(ipaddress.ip_address(host))
    except ValueError:
        raise ValueError('host must be an address of this machine, such as "127.0.0.1"') from None


Host = Annotated[str, Field(max_length=64, examples=['"127.0.0.1"']), AfterValidator(_address)]


class HttpSettings(TomlTable):
    """`[http]`: numbers for a monitor and a health check. Without this table nothing listens.

    Attributes:
        port: TCP port to listen on.
        host: address to listen on.
        public: says that others than this machine may ask.
    """

    port: Annotated[int, Field(strict=True, ge=1, le=65535, examples=["8470"])]
    host: Host = "127.0.0.1"
    public: Flag = False

    @model_validator(mode="after")
    def _stays_here(self) -> HttpSettings:
        if not is_loopback(self.host) and not self.public:
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
    host: Host = "127.0.0.1"
    commands: Flag = Field(default=True, validation_alias=AliasChoices("commands", "orders"))
    stop: Flag = False
    speech: Speech = Speech.BROWSER
    names: tuple[HostName, ...] = ()
    token_file: FilePath | None = None


LONGEST = 1000
"""Characters of a password's first line that are looked at."""


def _variable(environment: Mapping[str, str], name: str) -> str:
    value = environment.get(name)
    if not value:
        raise InputImpossible(
            f"The environment variable {name} is not set.", f"Set it before starting: export {name}=…"
        )
    return value


def _first_line(path: Path) -> str:
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
