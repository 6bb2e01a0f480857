"""A range that is too coarse is said before it costs a verdict, and the verdict says what it is worth."""

from __future__ import annotations

import contextlib
import os
import re
import threading
import time
import tty

import pytest

from tests.whole_bench import CONFIGS, bench_file, free_port, journal_entries, running, simulated

LEADS = (
    'folder = "journal"\n',
    'folder = "journal"\n[leads]\nzero = "value"\nvalue = "0.1 ohm"\nuncertainty = "0.1 ohm"\n',
)


def hand_bench(folder, port, driver, model, *, finest):
    """A bench whose hand meter's ranges begin at `finest`; leads stated, so that no zero is asked for."""
    text = (CONFIGS / "meters" / f"{model}.toml").read_text(encoding="utf-8")
    leading = re.search(r"full_scale_si = (\d)", text)[1]
    text = re.sub(rf"full_scale_si = {leading}", f"full_scale_si = {str(finest)[0]}", text)
    (folder / "meter.toml").write_text(text, encoding="utf-8")
    return bench_file(
        folder,
        meter=f"tcp:127.0.0.1:{port}",
        changes=(
            ('driver = "scpi"', f'driver = "{driver}"'),
            (str(CONFIGS / "meters" / "bench-6-digit.toml"), str(folder / "meter.toml")),
            ('four_wire_below = "10 ohm"\nintegration_plc = 1.0\n', ""),
            LEADS,
        ),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "voice", "model", "finest"),
    [
        pytest.param("hand-4000", "parity11", "hand-6000", 400, marks=pytest.mark.long),
        ("hand-2000", "lines", "hand-2000", 200),
    ],
)
def test_a_dial_on_too_coarse_a_range_costs_a_prompt(tmp_path, kind, voice, model, finest):
    """46 ohm within 6 % on a range of one ohm a count: no verdict, a turn; then the same touch passes."""
    port = free_port()
    file = hand_bench(tmp_path, port, voice, model, finest=finest)
    words = ("--meter", kind, "--voice", voice, "--fixed-range", str(10 * finest))
    with simulated(port, *words) as sim, running(file) as bench:
        bench.type("P80-0001")
        if model != "hand-2000":  # whose dial is turned by hand: there the finest range comes first
            bench.until("Touch 1–2")
            bench.type(".skip not what this is about")
        bench.until("Touch 2–3")
        sim.type("2 3")
        bench.until(f"Turn the dial to {finest} Ω. Touch 2–3")
        bench.until(f"turn it to {finest} Ω")
        assert journal_entries(tmp_path, "verdict") == []
        sim.type(f"dial {finest}")
        bench.until("2–3    fast charge")
        _, output = bench.end()
    (verdict,) = journal_entries(tmp_path, "verdict")
    assert verdict.payload["outcome"] in {"pass", "conditional_pass"}, output


VOLTS, HELD = (
    bytes.fromhex("2d 31 32 33 34 20 31 31 00 00 80 8c 0d 0a"),  # -1.234 V
    bytes.fromhex("2b 31 30 35 33 20 34 22 00 00 20 00 0d 0a"),  # 105.3 ohm with HOLD
)
"""Frames status14-05 and status14-11 of tests/data/frames.json."""

PROFILE = """title = "A meter whose bytes were recorded"
driver = "status14"
verified = "capture"
source = "invented for this test"
"""


@contextlib.contextmanager
def sending(frame):
    """A meter on a pty that sends one frame three times a second; `frame` is a list of one, to be changed."""
    master, slave = os.openpty()
    tty.setraw(slave)
    stop = threading.Event()

    def work():
        while not stop.wait(0.3):
            os.write(master, frame[0])

    thread = threading.Thread(target=work)
    thread.start()
    try:
        yield os.ttyname(slave)
    finally:
        stop.set()
        thread.join()
        os.close(master)
        os.close(slave)


def test_volts_and_a_held_display_are_said_and_cost_no_verdict(tmp_path):
    """A meter turned to volts, then held: what to do is said, and no reading of either counts."""
    (tmp_path / "ours.toml").write_text(PROFILE, encoding="utf-8")
    frame = [VOLTS]
    with sending(frame) as path:
        driver = 'driver = "status14"\noptions = { profile = "./ours.toml" }'
        file = bench_file(
            tmp_path,
            meter=f"serial:{path}",
            changes=(
                ('driver = "scpi"', driver),
                ("bench-6-digit.toml", "hand-6000.toml"),
                ('four_wire_below = "10 ohm"\nintegration_plc = 1.0\n', ""),
                LEADS,
            ),
        )
        with running(file) as bench:
            bench.type("P80-0001")
            bench.until("Set the dial to ohms")
            bench.until("set it to ohms")
            frame[0] = HELD
            bench.until("The meter shows HOLD")
            time.sleep(3.0)
            code, output = bench.end()
    assert code == 0, output
    assert journal_entries(tmp_path, "verdict") == []
