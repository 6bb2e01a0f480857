"""The service files as systemd itself reads them: no unknown key, no missing unit, little left to attack."""

import json
import shutil
import subprocess
from pathlib import Path

import pytest

ANALYZE = shutil.which("systemd-analyze")
UNITS = sorted((Path(__file__).parents[2] / "configs" / "systemd").glob("*.service"))
SYSTEM = Path("/lib/systemd/system")

pytestmark = pytest.mark.skipif(
    ANALYZE is None, reason="systemd-analyze is not installed: what systemd says of the units is not asked"
)

MOST_EXPOSED = 20
"""Tenths on systemd's own scale, from 0 (shut in) to 100; its word up to 2.0 is "OK" in 252."""


@pytest.fixture
def machine(tmp_path):
    """Another root with systemd's own units, the program and ours."""
    if SYSTEM.is_dir():
        shutil.copytree(SYSTEM, tmp_path / "usr/lib/systemd/system", symlinks=True)
    ours = tmp_path / "etc/systemd/system"
    ours.mkdir(parents=True)
    for unit in UNITS:
        shutil.copy(unit, ours)
    for program in ("opt/steadyohm/bin/steadyohm", "bin/kill"):
        path = tmp_path / program
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("#!/bin/sh\n")
        path.chmod(0o755)
    return tmp_path


def named(unit):
    """As it is started: a template with a name behind the sign."""
    return unit.name.replace("@.", "@north.")


def said_of(machine, name):
    """What systemd has against a unit; it only warns of a key that it does not know, with exit code 0."""
    words = [ANALYZE, "verify", f"--root={machine}", "--man=no", name]
    done = subprocess.run(words, capture_output=True, text=True, check=False, timeout=20)
    return (done.returncode, done.stdout + done.stderr)


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.name)
def test_systemd_has_nothing_against_a_unit(machine, unit):
    """`systemd-analyze verify`, on a root where the program is installed as the file's head says."""
    assert said_of(machine, named(unit)) == (0, "")


def test_a_misspelt_key_and_a_missing_program_are_seen(machine):
    """Else the test above could not fail."""
    unit = machine / "etc/systemd/system/steadyohm.service"
    unit.write_text(unit.read_text().replace("NoNewPrivileges", "NoMorePrivileges"))
    assert "NoMorePrivileges" in said_of(machine, unit.name)[1]
    (machine / "opt/steadyohm/bin/steadyohm").unlink()
    assert said_of(machine, unit.name)[0] != 0


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.name)
def test_a_service_can_do_hardly_any_harm(tmp_path, unit):
    """`systemd-analyze security --offline`: what is left is the network, serial ports and USB instruments."""
    alone = tmp_path / named(unit)
    shutil.copy(unit, alone)
    words = [ANALYZE, "security", "--offline=true", "--json=short", "--no-pager", str(alone)]
    strict = [*words[:3], f"--threshold={MOST_EXPOSED}", *words[3:]]
    done = subprocess.run(strict, capture_output=True, text=True, check=False, timeout=20)
    assert done.returncode == 0, done.stdout + done.stderr
    table = {row["name"]: row for row in json.loads(done.stdout)}
    for name in ("NoNewPrivileges=", "ProtectSystem=", "CapabilityBoundingSet=~CAP_SYS_ADMIN"):
        assert table[name]["set"] is True, name
