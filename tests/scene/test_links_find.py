"""Looking for meters on real ptys and sockets."""

from __future__ import annotations

import contextlib
import os
import select
import threading
import time
import tty

import pytest

from drivers import find
from drivers.find import find_meters, list_serial_ports, recognise
from tests.benchmarks.drivers_peers import IDN, Instrument

OHM = bytes.fromhex("2b 30 31 32 33 20 34 21 00 00 20 00 0d 0a")


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    monkeypatch.setattr(find, "LISTEN_S", 0.15)
    monkeypatch.setattr(find, "ANSWER_S", 0.15)
    monkeypatch.setattr(find, "RESTART_S", 0.3)


@contextlib.contextmanager
def talking_pty(*, streams=b"", answers=None):
    """A pty whose far end sends or answers until the block ends."""
    master, slave = os.openpty()
    tty.setraw(slave)
    stop = threading.Event()

    def play():
        while not stop.is_set():
            ready = select.select([master], [], [], 0.03)[0]
            asked = os.read(master, 256) if ready else b""
            for question, answer in (answers or {}).items():
                if question in asked:
                    os.write(master, answer)
            if streams:
                os.write(master, streams)

    thread = threading.Thread(target=play)
    thread.start()
    try:
        yield os.ttyname(slave)
    finally:
        stop.set()
        thread.join()
        os.close(master)
        os.close(slave)


def even(text):
    """Bytes as 7 bits with even parity put them on a line of 8."""
    return bytes(byte | (byte.bit_count() % 2) << 7 for byte in text)


@contextlib.contextmanager
def restarting_board(*, streams=b"", answers=None):
    """A pty whose far end restarts when the near one is opened, as a board on DTR, and is deaf meanwhile."""
    master, slave = os.openpty()
    tty.setraw(slave)
    path = os.ttyname(slave)
    os.close(slave)
    stop = threading.Event()

    def play():
        opened_s = None
        watch = select.poll()
        watch.register(master, select.POLLIN)
        while not stop.wait(0.02):
            state = dict(watch.poll(0)).get(master, 0)
            if state & select.POLLHUP:
                opened_s = None
                continue
            opened_s = opened_s or time.monotonic()
            asked = os.read(master, 256) if state & select.POLLIN else b""
            if time.monotonic() - opened_s < 0.1:
                continue
            for question, answer in (answers or {}).items():
                if question in asked:
                    os.write(master, answer)
            if streams:
                os.write(master, streams)

    thread = threading.Thread(target=play)
    thread.start()
    try:
        yield path
    finally:
        stop.set()
        thread.join()
        os.close(master)


async def results(**places):
    findings = [finding async for finding in find_meters(**{"serial_ports": [], **places})]
    totals = [finding.done / finding.total for finding in findings if finding.total]
    assert totals == sorted(totals), "progress never goes back"
    assert totals[-1] == 1.0
    return [finding for finding in findings if finding.state != "looking"]


async def test_a_hand_meter_that_sends_by_itself_is_known_by_its_frames():
    with talking_pty(streams=OHM) as path:
        (finding,) = await results(serial_ports=[path])
    assert (finding.state, finding.driver) == ("found", "status14")
    assert finding.address == f"serial:{path}?baud=2400&dtr=on&rts=off"


async def test_a_scpi_meter_is_asked_who_it_is():
    with talking_pty(answers={b"*IDN?\n": IDN.encode() + b"\r\n"}) as path:
        (finding,) = await results(serial_ports=[path])
    assert (finding.state, finding.driver, finding.identity.model) == ("found", "scpi", "PW45")


@pytest.mark.parametrize(
    ("question", "answer", "driver"),
    [
        (b"QM\r", b"0\r+1.0E+1,OHM,NORMAL,NONE\r", "two_line"),
        (b"D", b"OH  12.34 Ohm\r", "ascii14"),
        (bytes.fromhex("01 03 00 00 00 01 84 0a"), bytes.fromhex("01 83 02 c0 f1"), "modbus"),
    ],
)
async def test_a_meter_that_waits_to_be_asked_is_known_by_its_answer(question, answer, driver):
    with talking_pty(answers={question: answer}) as path:
        (finding,) = await results(serial_ports=[path])
    assert (finding.state, finding.driver) == ("found", driver)


async def test_meters_on_the_network_are_looked_at_where_they_are_given():
    async with Instrument() as instrument:
        findings = await results(tcp=[f"127.0.0.1:{instrument.port}", "127.0.0.1:1"])
    assert [(f.state, f.driver) for f in findings] == [("found", "scpi"), ("unavailable", "")]
    assert "nothing listens" in findings[1].text


async def test_silence_chatter_and_missing_ports_are_told_apart():
    with talking_pty() as silent, talking_pty(streams=b"hello there\n") as chatter:
        findings = await results(serial_ports=[silent, chatter, "/dev/ttyNOTHERE"], ask=False)
    assert [f.state for f in findings] == ["silent", "unknown", "unavailable"]
    assert findings[1].heard.startswith(b"hello")


def test_a_stream_with_half_of_it_rubbish_is_not_recognised():
    assert recognise(OHM * 2) == "status14"
    assert recognise(OHM * 2 + b"\xff" * 40) == ""
    assert recognise(b"23.41 C\r\n23.42 C\r\n") == "lines"


def test_ports_are_listed_without_failing_where_there_are_none():
    assert all(port.path.startswith("/dev/") for port in list_serial_ports())


async def test_a_line_that_only_echoes_is_no_meter():
    echoed = {question.text: question.text for question in find._QUESTIONS}
    with talking_pty(answers=echoed) as path:
        (finding,) = await results(serial_ports=[path])
    assert finding.state == "unknown"


@pytest.mark.parametrize(
    ("says", "driver"),
    [({"answers": {b"*IDN?\n": IDN.encode() + b"\r\n"}}, "scpi"), ({"streams": b"20.61 ohm\r\n"}, "lines")],
)
async def test_a_board_that_restarts_when_its_port_is_opened_is_waited_for(says, driver, monkeypatch):
    monkeypatch.setattr(find, "LISTEN_S", 1.0)  # a crowded machine gives its board less of each second
    monkeypatch.setattr(find, "RESTART_S", 1.5)
    with restarting_board(**says) as path:
        (finding,) = await results(serial_ports=[path])
    assert (finding.state, finding.driver) == ("found", driver)


@pytest.mark.parametrize(
    ("says", "driver"),
    [
        ({"answers": {b"*IDN?\n": even(IDN.encode() + b"\r\n")}}, "scpi"),
        ({"streams": even(b"20.61 ohm\r\n")}, "lines"),
    ],
)
async def test_seven_bits_with_even_parity_are_told_from_eight(says, driver):
    """The address that is proposed says so; a port that cannot carry 7 bits shows the parity as an eighth."""
    with talking_pty(**says) as path:
        (finding,) = await results(serial_ports=[path])
    assert (finding.state, finding.driver) == ("found", driver)
    assert finding.address.endswith("&bits=7&parity=E")
    assert finding.heard.isascii()
