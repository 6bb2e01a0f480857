"""Secrets: fetched from the environment or a file, never shown."""

# ruff: noqa: S105, S106  (these are no secrets)

from __future__ import annotations

import pytest

from acquire.errors import InputImpossible
from acquire.files.network_tables import MqttSettings
from acquire.outlets.mqtt import Broker


def mqtt(folder, **keys):
    """An `[mqtt]` table of a bench file in a folder."""
    return MqttSettings.model_validate({"host": "broker.lan", **keys}, context={"folder": folder})


def login(settings, environment):
    """As the daemon logs in."""
    return Broker.of(settings, environment)


def test_no_login_where_the_file_names_none(tmp_path):
    found = login(mqtt(tmp_path), {"USER": "somebody"})
    assert (found.user, found.password) == (None, None)


def test_user_and_password_come_from_the_environment(tmp_path):
    found = login(mqtt(tmp_path, user_env="U", password_env="P"), {"U": "bench", "P": "swordfish"})
    assert (found.user, found.password) == ("bench", "swordfish")
    assert "swordfish" not in repr(found)


def test_the_password_may_be_the_first_line_of_a_file_beside_the_bench_file(tmp_path):
    (tmp_path / "secret").write_text("sword fish\r\nsecond line\n", encoding="utf-8")
    found = login(mqtt(tmp_path, user_env="U", password_file="secret"), {"U": "bench"})
    assert found.password == "sword fish"


@pytest.mark.parametrize(
    ("content", "said"), [(None, "cannot be read"), (b"", "empty first line"), (b"\xff\n", "no UTF-8 text")]
)
def test_a_file_that_holds_no_password_is_named(tmp_path, content, said):
    if content is not None:
        (tmp_path / "secret").write_bytes(content)
    with pytest.raises(InputImpossible, match=said):
        login(mqtt(tmp_path, user_env="U", password_file="secret"), {"U": "bench"})


def test_a_variable_that_is_not_set_is_named_with_the_remedy(tmp_path):
    with pytest.raises(InputImpossible, match=r"variable P is not set.*export P="):
        login(mqtt(tmp_path, user_env="U", password_env="P"), {"U": "bench", "P": ""})
