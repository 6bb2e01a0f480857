"""The whole way over VISA resources: verdicts, and nothing hangs where there is no instrument."""

from __future__ import annotations

import time

import pytest

from tests.commanded import commanded
from tests.waiting import crowding
from tests.whole_bench import AIR_S, SPEED, bench_file, free_port, journal_entries, lift, running, simulated

CHANGES = (
    ('[csv]\nfolder = "csv"\n', '[leads]\nzero = "value"\nvalue = "0.1 ohm"\nuncertainty = "0.1 ohm"\n'),
)


def test_a_socket_resource_gives_verdicts_and_survives_a_restart_of_the_meter(tmp_path):
    """As over `tcp:`, through pyvisa-py; killed in mid-unit it is picked up again."""
    port = free_port()
    file = bench_file(tmp_path, meter=f"visa:TCPIP::127.0.0.1::{port}::SOCKET", changes=CHANGES)
    with running(file) as bench:
        with simulated(port) as sim:
            bench.type("P80-0001")
            bench.until("Touch 1–2")
            sim.type("1 2")
            bench.until("● pass")
            lift(sim)
            bench.until("Touch 2–3")
            sim.process.kill()
            bench.until("gives no readings")
        with simulated(port) as sim:
            bench.until("The meter is back")
            time.sleep(AIR_S / SPEED)
            sim.type("2 3")
            bench.until("● pass")
        code, output = bench.end()
    assert code == 0, output
    steps = [entry.payload["step"] for entry in journal_entries(tmp_path, "verdict")]
    assert steps == ["slow charge", "fast charge"]


@pytest.mark.parametrize(
    "resource",
    [
        "TCPIP::127.0.0.1::hislip0::INSTR",
        *(
            pytest.param(name, marks=pytest.mark.long)
            for name in (
                "USB0::0x1234::0x5678::SN1::INSTR",
                "GPIB0::22::INSTR",
                "TCPIP::127.0.0.1::INSTR",
                "NOSUCH::1::INSTR",
            )
        ),
    ],
)
def test_a_resource_that_is_not_there_is_said_and_nothing_hangs(tmp_path, resource):
    """One sentence that names it; the bench stays awake and stops at once when it is told to."""
    file = bench_file(tmp_path, meter=f"visa:{resource}", changes=CHANGES)
    with running(file) as bench:
        said = bench.until("gives no readings")
        assert resource in said
        bench.type("P80-0001")
        bench.until("Unit P80-0001")
        began_s = time.monotonic()
        code, output = bench.end()
        assert time.monotonic() - began_s < 6.0 * crowding()
    assert code == 0
    assert "Traceback" not in output
    assert output.count("gives no readings") == 1


def test_meters_says_what_is_missing_for_which_link():
    """Or that nothing is."""
    done = commanded("meters")
    (usb,) = [line for line in done.stdout.splitlines() if "USBTMC" in line]
    try:
        import usb as _present
    except ImportError:
        assert 'missing: pip install "steadyohm[usb]"' in usb
    else:
        assert _present
        assert "pip install" not in usb
