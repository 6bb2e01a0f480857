"""User and password for a broker, fetched from where the bench file says they are. Never logged or shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from acquire.errors import InputImpossible
from acquire.files.network_tables import BrokerSettings
from drivers.plain_file import read_file

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
