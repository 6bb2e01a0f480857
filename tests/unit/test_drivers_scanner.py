"""Barcode scanners: codes, doubles, glued reads, and the keyboard mode."""

from __future__ import annotations

import asyncio
import json
import os
import re
import struct
import time
import tty
from pathlib import Path

import pytest

from drivers.errors import AddressInvalid, LinkLost, LinkUnavailable, MeterError
from drivers.link.framing import LineFramer
from drivers.registry import open_device
from drivers.scanner.scanner import KeyText, Scanner, ScannerOptions, parse_code

FRAMES = json.loads((Path(__file__).parent.parent / "data" / "frames.json").read_text(encoding="utf-8"))[
    "frames"
]
VECTORS = [frame for frame in FRAMES if frame["protocol"] == "barcode"]
PATTERN = r"ST-\d{4}-\d{5}|\d{15,}[A-Z]\d+\x1d\w+|STEP:\S+"


def clock():
    return time.monotonic(), time.time()


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["id"])
def test_codes_are_read_and_glued_ones_refused(vector):
    lines = LineFramer(b"\r\n\x03").feed(vector["text"].encode())
    if not lines:
        assert vector["code"] is None
        return
    if vector.get("error"):
        with pytest.raises(ValueError, match="does not look like"):
            parse_code(lines[0], re.compile(PATTERN))
        return
    assert parse_code(lines[0], re.compile(PATTERN)) == vector["code"]


async def test_a_scanner_on_a_line_gives_each_scan_once():
    master, slave = os.openpty()
    tty.setraw(slave)
    scanner = Scanner(
        scanner_id="s",
        address=f"serial:{os.ttyname(slave)}",
        clock=clock,
        options=ScannerOptions(pattern=PATTERN),
    )
    async with scanner:
        os.write(master, b"ST-2026-00417\rST-2026-00417\r\n]C1ST-2026-00418\rST-2026-00417ST-2026-00418\r\r")
        stream = scanner.scans()
        scans = [await asyncio.wait_for(anext(stream), 2) for _ in range(3)]
        os.close(slave)
        os.close(master)
        with pytest.raises(LinkLost):
            await asyncio.wait_for(anext(stream), 2)
    assert [scan.code for scan in scans[:2]] == ["ST-2026-00417", "ST-2026-00418"]
    assert not scans[2].code
    assert "does not look like a code of this job" in scans[2].refused


def key(code, value):
    return struct.pack("@llHHi", 0, 0, 1, code, value) + struct.pack("@llHHi", 0, 0, 0, 0, 0)


def test_keys_become_text_with_shift_and_enter():
    """Key numbers from input-event-codes.h: LEFTSHIFT 42, S 31, T 20, MINUS 12, 4 5, ENTER 28."""
    typed = KeyText()
    data = (
        key(42, 1) + key(31, 1) + key(31, 0) + key(20, 1) + key(20, 0) + key(42, 0)
        + key(12, 1) + key(12, 0) + key(5, 1) + key(5, 2) + key(5, 0) + key(28, 1)
    )  # fmt: skip
    text = b"".join(typed.feed(data[at : at + 7]) for at in range(0, len(data), 7))
    assert text == b"ST-4\n"


async def test_a_keyboard_that_is_none_is_refused_in_one_sentence(tmp_path):
    with pytest.raises(AddressInvalid, match="by-id"):
        Scanner(scanner_id="s", address="keyboard:", clock=clock)
    plain = tmp_path / "file"
    plain.touch()
    with pytest.raises(LinkUnavailable, match="cannot be opened"):
        async with Scanner(scanner_id="s", address=f"keyboard:{plain}", clock=clock):
            pass


def test_a_scanner_is_made_from_a_bench_file_and_its_faults_are_sentences():
    made = open_device(
        "scanner", scanner_id="s", address="tcp:127.0.0.1:1", clock=clock, options={"pattern": PATTERN}
    )
    assert isinstance(made, Scanner)
    with pytest.raises(MeterError, match="not a regular expression"):
        open_device(
            "scanner", scanner_id="s", address="tcp:127.0.0.1:1", clock=clock, options={"pattern": "("}
        )
