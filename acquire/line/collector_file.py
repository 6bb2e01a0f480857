"""A collector's TOML file: which broker, which database, how large a batch. See configs/line/README.md.

No secret stands in it: only the name of an environment variable or of a file. Not for bench files
(settings).
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, Self, cast

from pydantic import Field, TypeAdapter, model_validator

from acquire.errors import InputImpossible
from acquire.files.bench_tables import BenchName, FilePath
from acquire.files.network_tables import BrokerSettings, HttpSettings, Secretive
from acquire.files.toml_file import Faults, TomlTable, read_toml, tables_of
from acquire.line.database import complete
from acquire.quantity import Seconds


class CollectorSettings(TomlTable):
    """`[collector]`: who collects.

    Attributes:
        name: of this collector; two with one name throw each other out.
        group: collectors of one group share the messages.
        messages: most in one batch.
        linger: how long a batch waits for more messages after its first.
        in_flight: most messages under way without acknowledgement.
    """

    name: Annotated[BenchName, Field(examples=['"collector-1"'])]
    group: BenchName = "line"
    messages: Annotated[int, Field(strict=True, ge=1, le=10_000)] = 500
    linger: Seconds = 0.02
    in_flight: Annotated[int, Field(strict=True, ge=1, le=65_535)] = 1000


class LineBroker(BrokerSettings):
    """`[broker]`: where the benches publish, as `[mqtt]` of a bench file; version 5 only."""

    version: Literal["5"] = "5"


class DatabaseSettings(Secretive):
    """`[database]`: where the record of the line is kept.

    Attributes:
        address: postgresql://USER@HOST:PORT/DATABASE, without the password.
        ca: path of the authority's certificate, by which the server shows who it is; left out, the system's
            are trusted. Asked of servers on other machines unless the address says another sslmode.
        migrate: make missing tables at the start; False leaves that to `collect --migrate`.
    """

    address: Annotated[
        str,
        Field(
            max_length=500,
            pattern=r"^postgres(ql)?://([^/:@\s]*@)?[^@\s]+$",
            description="It begins with postgresql:// and holds no password: name that in password_env.",
            examples=['"postgresql://collector@db.lan/steadyohm"'],
        ),
    ]
    ca: FilePath | None = None
    migrate: bool = True

    @model_validator(mode="after")
    def _holds_no_password(self) -> Self:
        if "password=" in self.address:
            raise ValueError("the address must not hold the password: name it in password_env")
        return self

    def complete(self, environment: Mapping[str, str]) -> str:
        """For the driver, with password and what the server must show. Raises as `password_of`."""
        return complete(self.address, self.password_of(environment), self.ca)


class LineSettings(HttpSettings):
    """`[line]`: the page with all benches. Without this table `steadyohm line` takes its defaults.

    Attributes:
        port, host, public: where the page listens; others than this machine need a token.
        silent: a bench that says it is online and has recorded nothing for so long is shown as silent.
        files: folder of the files that benches work by, to show who runs old ones.
    """

    port: Annotated[int, Field(strict=True, ge=1, le=65535)] = 8471
    silent: Seconds = 900.0
    files: FilePath | None = None


class CollectorFile(TomlTable):
    """Everything a collector file says, checked.

    Attributes:
        file: itself.
        collector, broker, database, line: its tables; defaults stand for a missing last one.
    """

    file: Path
    collector: CollectorSettings
    broker: LineBroker
    database: DatabaseSettings
    line: LineSettings = Field(default_factory=cast("Any", dict))


def load_collector(path: Path) -> CollectorFile:
    """Read and check a collector file.

    Raises:
        FileInvalid: with every fault found, each with its line.
    """
    file = read_toml(path, "collector file")
    faults = Faults(file)
    faults.unknown_tables(tables_of(CollectorFile), "collector file")
    found = faults.tables(CollectorFile)
    faults.stop_here()
    return CollectorFile.model_construct(file=path.absolute(), **found)


def named(file: CollectorFile, name: str | None) -> CollectorFile:
    """The same collector under another name, so that one file serves several.

    Raises:
        InputImpossible: the name is none.
    """
    if name is None:
        return file
    try:
        known: str = TypeAdapter(BenchName).validate_python(name)
    except ValueError as error:
        raise InputImpossible(
            f'"{name}" is no name of a collector.', "Take small letters, digits and hyphens."
        ) from error
    return file.model_copy(update={"collector": file.collector.model_copy(update={"name": known})})
