"""The line's database over TLS: a server that cannot show who it is gets nothing."""

import os
import pwd

import psycopg
import pytest

from acquire.line.database import complete
from tests.postgres import needs_postgres, server
from tests.reliability.test_mqtt_getting_in import authority


@needs_postgres
def test_a_database_shows_who_it_is_or_gets_nothing(tmp_path):
    ours, stranger = authority(tmp_path / "ours", ["db"]), authority(tmp_path / "stranger", ["db"])
    with server() as postgres:
        postgres.stop()
        data = postgres.folder / "data"
        for name in ("db.pem", "db.key"):
            (data / name).write_bytes((ours / name).read_bytes())
            (data / name).chmod(0o600)
            if os.geteuid() == 0:
                os.chown(data / name, *pwd.getpwnam("postgres")[2:4])
        with (data / "postgresql.conf").open("a") as file:
            file.write("ssl = on\nssl_cert_file = 'db.pem'\nssl_key_file = 'db.key'\n")
        postgres.start()
        with psycopg.connect(complete(postgres.address(), ca=ours / "ca.pem")) as connection:
            assert connection.pgconn.ssl_in_use
        with pytest.raises(psycopg.OperationalError, match="certificate verify failed"):
            psycopg.connect(complete(postgres.address(), ca=stranger / "ca.pem"))
        elsewhere = f"host=db.lan hostaddr=127.0.0.1 port={postgres.port} user=postgres"
        with pytest.raises(psycopg.OperationalError, match=r'does not match host name "db\.lan"'):
            psycopg.connect(complete(elsewhere, ca=ours / "ca.pem"))


@pytest.mark.parametrize(
    ("address", "wanted"),
    [
        ("postgresql://anna@db.lan/steadyohm", "verify-full"),
        ("postgresql://anna@10.0.0.5:5433/steadyohm", "verify-full"),
        ("postgresql://anna@db.lan/steadyohm?sslmode=disable", "disable"),
        ("postgresql://anna@127.0.0.1/steadyohm", None),
        ("postgresql://anna@localhost/steadyohm", None),
        ("postgresql:///steadyohm", None),
    ],
)
def test_a_server_on_another_machine_must_show_who_it_is(address, wanted):
    parts = psycopg.conninfo.conninfo_to_dict(complete(address, "secret"))
    assert parts.get("sslmode") == wanted
    assert parts["password"] == "secret"  # noqa: S105
    assert parts.get("sslrootcert") == ("system" if wanted == "verify-full" else None)
