"""The line's tables, views and roles in a real PostgreSQL."""

import asyncio
import re
from datetime import date

import psycopg
import pytest

from acquire.clock import HandClock
from acquire.line import sql
from acquire.line.migrating import (
    MIGRATIONS,
    NAMES,
    DatabaseUnfit,
    migrate,
    months_ahead,
    version_of,
)
from acquire.line.store import Store
from acquire.outlets.payload import COLUMNS
from tests.known_records import NOON_S
from tests.postgres import database, needs_postgres, new_database, shared  # noqa: F401  (a fixture)
from tests.unit.test_line_store import rows

pytestmark = needs_postgres
WRITERS = {"entry", "evidence", "arrival", "rejected", "journal"}


async def connected(address):
    """In autocommit mode."""
    return await psycopg.AsyncConnection.connect(address, autocommit=True)


@pytest.fixture
def with_roles(database):  # noqa: F811
    """Addresses of the owner, a collector and a reader of a database whose roles were made."""
    name = database.rpartition("/")[2]
    logins = {"owner": f"{name}_o", "collector": f"{name}_c", "reader": f"{name}_r"}
    with psycopg.connect(database, autocommit=True) as connection:
        connection.execute(sql("roles"))
        connection.execute(sql("roles"))  # twice does no harm
        for role, login in logins.items():
            connection.execute(f"CREATE ROLE {login} LOGIN IN ROLE steadyohm_{role}")
    return {role: database.replace("postgres@", f"{login}@") for role, login in logins.items()}


async def test_all_steps_are_made_once_even_by_many_at_once(database):  # noqa: F811
    """Several collectors start together on an empty database."""
    connections = [await connected(database) for _ in range(4)]
    made = await asyncio.gather(*(migrate(connection) for connection in connections))

    assert sorted(made) == [0, 0, 0, len(MIGRATIONS)]
    assert await version_of(connections[0]) == len(MIGRATIONS)
    assert await migrate(connections[0]) == 0
    for connection in connections:
        await connection.close()


async def test_every_step_can_be_made_from_the_one_before(database):  # noqa: F811
    """A database of an older version is brought up, its entries kept."""
    connection = await connected(database)
    await migrate(connection)
    await connection.execute("DELETE FROM steadyohm.migration WHERE number > 1")
    await connection.execute("DROP FUNCTION steadyohm.make_month")
    await connection.execute("DROP INDEX steadyohm.entry_kind")
    await connection.execute("DROP INDEX steadyohm.entry_result")
    assert await migrate(connection) == len(MIGRATIONS) - 1
    for name in NAMES:
        await connection.execute(f"TABLE steadyohm.{name}")
    await connection.close()


async def test_a_database_of_a_newer_version_is_refused(database):  # noqa: F811
    """Nothing is written into what is not understood."""
    connection = await connected(database)
    await migrate(connection)
    await connection.execute("INSERT INTO steadyohm.migration (number, name) VALUES (99, 'later')")
    await connection.close()
    with pytest.raises(DatabaseUnfit, match="newer version"):
        await Store(database, HandClock()).open()


async def test_a_reader_reads_and_can_write_nothing(with_roles):
    """PostgreSQL refuses each statement by itself."""
    await (await Store(with_roles["owner"], HandClock(now_utc_s=NOON_S)).open()).close()
    with psycopg.connect(with_roles["reader"], autocommit=True) as reader:
        for name in (*NAMES, *WRITERS, "migration"):
            reader.execute(f"TABLE steadyohm.{name}")
        for statement in (
            *("DELETE FROM steadyohm." + name for name in WRITERS),  # noqa: S608  (our own names)
            *(f"TRUNCATE steadyohm.{name}" for name in WRITERS),
            "UPDATE steadyohm.journal SET kept = 0",
            "INSERT INTO steadyohm.rejected (digest, topic, reason, payload) VALUES ('', '', '', '')",
            "SELECT steadyohm.make_month('2030-01-01')",
            "CREATE TABLE steadyohm.mine ()",
            "CREATE TEMPORARY TABLE mine ()",
            "DROP VIEW steadyohm.verdict",
        ):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                reader.execute(statement)


async def test_a_collector_does_its_work_and_cannot_take_anything_back(with_roles):
    """It writes, counts and makes months; it deletes no entry and changes no table."""
    await (await Store(with_roles["owner"], HandClock(now_utc_s=NOON_S)).open()).close()
    store = await Store(with_roles["collector"], HandClock(now_utc_s=NOON_S)).open(may_migrate=False)
    await store.write([*rows(3), *rows(1, 4, utc_s=1_700_000_000.0)])
    assert await store.take_turn()
    assert [each.seq for each in await store.count_arrivals()] == [4]
    await store.close()
    with psycopg.connect(with_roles["collector"], autocommit=True) as collector:
        for statement in (
            "DELETE FROM steadyohm.entry",
            "UPDATE steadyohm.entry SET outcome = 'pass'",
            "DELETE FROM steadyohm.entry_2025_11",
            "DELETE FROM steadyohm.evidence",
            "DELETE FROM steadyohm.journal",
            "ALTER TABLE steadyohm.entry ADD COLUMN x int",
            "DROP TABLE steadyohm.entry_2025_11",
            "INSERT INTO steadyohm.migration (number, name) VALUES (50, 'x')",
        ):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                collector.execute(statement)


async def test_a_collector_without_tables_says_who_makes_them(with_roles):
    """One sentence, and the command."""
    for may in (True, False):
        with pytest.raises(DatabaseUnfit, match="--migrate"):
            await Store(with_roles["collector"], HandClock()).open(may_migrate=may)


def test_nobody_else_gets_in(with_roles):
    """The database is not for everybody who has a login on the server."""
    with psycopg.connect(shared().address(), autocommit=True) as admin:
        admin.execute("DROP ROLE IF EXISTS stranger")
        admin.execute("CREATE ROLE stranger LOGIN")
    address = re.sub(r"//.*@", "//stranger@", with_roles["reader"])
    with pytest.raises(psycopg.OperationalError, match="permission denied"):
        psycopg.connect(address)
    psycopg.connect(with_roles["reader"]).close()


async def test_the_verdict_view_has_the_columns_of_the_csv(database):  # noqa: F811
    """A report can move from one to the other."""
    connection = await connected(database)
    await migrate(connection)
    found = await connection.execute("SELECT * FROM steadyohm.verdict")
    names = [column.name for column in found.description]
    await connection.close()
    own = {"schema", "time_utc"}  # a constant, and `utc` as people write it
    assert {column.name for column in COLUMNS} - own <= set(names)


def test_months_are_counted_over_the_turn_of_the_year():
    """This one and the next."""
    assert months_ahead(1_798_600_000.0) == {date(2026, 12, 1), date(2027, 1, 1)}
    assert months_ahead(1_800_000_000.0) == {date(2027, 1, 1), date(2027, 2, 1)}


def test_two_databases_do_not_meet():
    """Tests rely on it."""
    assert new_database(shared()) != new_database(shared())
