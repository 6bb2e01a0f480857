"""A connection to the line's database, and a sentence when it cannot be used. Not for what is asked of it."""

from __future__ import annotations

from pathlib import Path

import psycopg
from psycopg.conninfo import conninfo_to_dict, make_conninfo

from acquire.errors import SteadyohmError
from acquire.files.network_tables import is_loopback
from acquire.logs import masked

LONGEST_STATEMENT_S = 30
"""A statement that takes longer is broken off: the server hangs, and the batch is tried again."""

UNREADABLE = "(unreadable address)"


class DatabaseAway(SteadyohmError):
    """The database cannot be reached or does not do its work now; it is tried again."""


async def connect(address: str) -> psycopg.AsyncConnection:
    """Open a connection in autocommit mode that notices a server which hangs or has gone.

    Raises:
        psycopg.Error: it cannot be had.
    """
    return await psycopg.AsyncConnection.connect(
        address,
        autocommit=True,
        connect_timeout=5,
        application_name="steadyohm collect",
        keepalives_idle=10,
        keepalives_interval=5,
        keepalives_count=3,
        tcp_user_timeout=20_000,
        options=f"-c statement_timeout={LONGEST_STATEMENT_S}s -c lock_timeout=10s -c TimeZone=UTC",
    )


def away(address: str, error: BaseException) -> DatabaseAway:
    """Say in a sentence what the database did, without its password."""
    return DatabaseAway(f"The database {shown(address)} cannot be used now: {why(address, error)}.")


def why(address: str, error: BaseException) -> str:
    """What the database or its driver says, in one line that holds no piece of a password."""
    if shown(address) == UNREADABLE:  # then the driver quotes the piece that it could not read
        return "write its address as postgresql://USER@HOST:PORT/DATABASE, with %20 for a space and the like"
    return masked(str(error).strip().partition("\n")[0] or type(error).__name__).rstrip(".")


def shown(address: str) -> str:
    """An address as people may see it."""
    try:
        parts = conninfo_to_dict(address)
    except psycopg.Error:
        return UNREADABLE
    return f"{parts.get('dbname', '?')} on {parts.get('host', 'this machine')}:{parts.get('port', 5432)}"


def complete(address: str, password: str | None = None, ca: Path | None = None) -> str:
    """An address with its secret, for the driver only; on another machine the server must show who it is.

    Args:
        address: an sslmode in it has the last word.
        password: None where none is needed.
        ca: certificate of the authority that has signed the server's; None trusts those of the system.

    Raises:
        psycopg.Error: the address cannot be read.
    """
    parts = conninfo_to_dict(address)
    host = str(parts.get("host") or "")
    more: dict[str, str] = {} if password is None else {"password": password}
    here = not host or host.startswith("/") or is_loopback(host)
    if "sslmode" not in parts and (ca is not None or not here):
        more |= {"sslmode": "verify-full", "sslrootcert": "system" if ca is None else str(ca)}
    return make_conninfo(address, **more)
