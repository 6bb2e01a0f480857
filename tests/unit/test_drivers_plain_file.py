"""Files that somebody named: none fills the memory, devices without an end neither."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from acquire import cli
from acquire.errors import InputImpossible, SteadyohmError
from drivers.plain_file import read_file
from tests.whole_bench import CONFIGS

ENDLESS = Path("/dev/zero")


def test_a_file_is_read_up_to_its_limit(tmp_path):
    file = tmp_path / "rows.csv"
    file.write_bytes(b"x" * 100)
    assert read_file(file, 100) == b"x" * 100
    with pytest.raises(OSError, match=r"it is larger than 0\.099 kB: '.*rows\.csv'"):
        read_file(file, 99)


@pytest.mark.parametrize(
    "words",
    [
        ["learn", "--name", "x", ENDLESS],
        ["study", "--report", ENDLESS],
        ["winding", "--wire", "36-A", "--spools", ENDLESS, "--turns", "10", "--mean-turn", "50 mm"],
    ],
)
def test_a_device_without_an_end_is_bad_input(words):
    result = CliRunner().invoke(cli.app, [str(word) for word in words])
    assert isinstance(result.exception, SteadyohmError)
    assert result.exception.exit_code == 2
    assert "/dev/zero" in str(result.exception)
    assert "a device" in str(result.exception)


@pytest.mark.parametrize("command", ["explain", "identify"])
def test_readings_are_only_so_many_as_can_be_weighed_in_memory(command):
    sheet = CONFIGS / "sheets" / "fathom-7.toml"
    result = CliRunner().invoke(cli.app, [command, str(sheet), *["--reading", "1-2=3"] * 191])
    assert isinstance(result.exception, InputImpossible)
    assert str(result.exception) == "191 readings are too many. Give at most 190."
