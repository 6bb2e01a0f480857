"""The SCPI bench meter against a scripted instrument on a real socket."""

from __future__ import annotations

import asyncio
import os
import select
import threading
import time
import tty

import pytest

from drivers.errors import FrameGarbled, LinkLost, LinkTimeout, LinkUnavailable, MeterRefused
from drivers.meter import Meter, Setup
from drivers.reading import Flag, Kind, Origin, Quantity
from drivers.scpi import dialogue
from drivers.scpi.bench_meter import BenchMeter
from drivers.scpi.dialect import BenchMeterOptions
from tests.benchmarks.drivers_peers import IDN, Instrument


def clock():
    return time.monotonic(), time.time()


def meter_at(instrument, **options):
    usual = {"reply_timeout_s": 0.3, "quiet_s": 0.05}
    return BenchMeter(
        meter_id="bench",
        address=instrument.address,
        clock=clock,
        options=BenchMeterOptions(**{**usual, **options}),
    )


async def take(meter, count):
    taken = []
    stream = meter.readings()
    async for reading in stream:
        taken.append(reading)
        if len(taken) == count:
            break
    await stream.aclose()
    return taken


async def test_ohms_arrive_with_the_range_that_the_meter_says_it_holds():
    async with Instrument() as instrument, meter_at(instrument) as meter:
        assert isinstance(meter, Meter)
        assert (await meter.identity()).model == "PW45"
        held = await meter.configure(Setup(Quantity.RESISTANCE, expected_si=22.0))
        assert (held.range_full_scale_si, held.resolution_si) == (100.0, 1e-4)
        assert held.origin is Origin.READ_BACK
        readings = await take(meter, 5)
    assert [r.value_si for r in readings] == [20.61] * 5
    assert [r.conversion for r in readings] == [1, 2, 3, 4, 5]
    assert {r.quantity for r in readings} == {Quantity.RESISTANCE}
    assert readings[0].raw == b"+2.06100000E+01"


@pytest.mark.parametrize("answer", ["+2.0E+02,+0", "204,4", "+2.0E+02;", "ready"])
async def test_an_answer_that_cannot_be_read_is_shown_with_its_reason_and_the_cure(answer, monkeypatch):
    """After three in a row; it is neither cut to a number nor asked for without end."""
    async with Instrument() as instrument, meter_at(instrument) as meter:
        await meter.configure(Setup(Quantity.RESISTANCE, expected_si=200.0))

        async def told():
            return [answer]

        monkeypatch.setattr(instrument, "_read", told)
        with pytest.raises(FrameGarbled) as caught:
            await asyncio.wait_for(take(meter, 1), 20)
        assert repr(answer) in str(caught.value)
        assert "[meter.options]" in str(caught.value)
        assert instrument.log.count("READ?") == 3


async def test_four_wire_with_compensation_is_set_after_the_function():
    async with Instrument() as instrument, meter_at(instrument) as meter:
        held = await meter.configure(
            Setup(Quantity.RESISTANCE_4W, expected_si=1.0, integration_plc=10, offset_compensation=True)
        )
        assert held.offset_compensation
        log = instrument.log
        assert log.index("CONF:FRES 1") < log.index("SENS:FRES:NPLC 10") < log.index("SENS:FRES:OCOM ON")
        reading = await anext(meter.readings())
        assert Flag.OFFSET_COMPENSATED in reading.flags


async def test_an_unknown_compensation_command_is_said_not_hidden():
    async with Instrument() as instrument, meter_at(instrument) as meter:
        instrument.function = "DIOD"
        held = await meter.configure(Setup(Quantity.CONTINUITY, offset_compensation=True))
        assert held.offset_compensation is False


async def test_a_refused_command_names_itself_and_the_meters_own_words():
    async with Instrument() as instrument, meter_at(instrument) as meter:
        with pytest.raises(MeterRefused, match=r"-222 Data out of range to 'CONF:RES 1E\+09'"):
            await meter.configure(Setup(Quantity.RESISTANCE, expected_si=1e9))


async def test_a_late_answer_is_never_taken_for_that_of_a_later_question():
    async with Instrument() as instrument, meter_at(instrument) as meter:
        await meter.configure(Setup(Quantity.RESISTANCE, expected_si=100))
        instrument.values["RES"] = 77.7
        instrument.late_s = [
            0.45
        ]  # longer than the reply timeout: the answer comes while the link is drained
        stream = meter.readings()
        pending = asyncio.create_task(anext(stream))
        await asyncio.sleep(0.1)
        instrument.values["RES"] = 20.61
        reading = await pending
        await stream.aclose()
    assert reading.value_si == 20.61
    assert "*OPC?" in instrument.log[instrument.log.index("READ?") :]


async def test_a_cancelled_question_leaves_no_answer_for_the_next_setup():
    async with Instrument() as instrument, meter_at(instrument) as meter:
        await meter.configure(Setup(Quantity.RESISTANCE, expected_si=100))
        instrument.late_s = [0.2]
        stream = meter.readings()
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.05):
                await anext(stream)
        await meter.configure(Setup(Quantity.RESISTANCE_4W, expected_si=1))
        (reading,) = await take(meter, 1)
    assert (reading.quantity, reading.value_si) == (Quantity.RESISTANCE_4W, 0.4123)


async def test_configuring_while_readings_flow_yields_none_of_the_former_setup():
    async with Instrument() as instrument, meter_at(instrument) as meter:
        await meter.configure(Setup(Quantity.RESISTANCE, expected_si=100))
        configured = asyncio.Event()
        seen_after = []

        async def consume():
            async for reading in meter.readings():
                if configured.is_set():
                    seen_after.append(reading)
                if len(seen_after) == 10:
                    return

        consumer = asyncio.create_task(consume())
        await asyncio.sleep(0.05)
        await meter.configure(Setup(Quantity.RESISTANCE_4W, expected_si=1))
        configured.set()
        await consumer
    assert {(r.quantity, r.value_si) for r in seen_after} == {(Quantity.RESISTANCE_4W, 0.4123)}


async def test_silence_ends_in_a_timeout_and_not_in_a_wait_for_ever():
    async with Instrument() as instrument, meter_at(instrument, silent_after=2) as meter:
        await meter.configure(Setup(Quantity.RESISTANCE, expected_si=100))
        instrument.late_s = [0.5, 0.5, 0.5]
        with pytest.raises(LinkTimeout):
            await take(meter, 3)


async def test_a_peer_that_goes_is_lost_at_once_and_the_same_object_can_be_entered_again():
    async with Instrument() as instrument:
        meter = meter_at(instrument)
        async with meter:
            await meter.configure(Setup(Quantity.RESISTANCE, expected_si=100))
            instrument.drop_after = 3
            started_cpu_s = time.process_time()
            with pytest.raises(LinkLost):
                await take(meter, 10)
            assert time.process_time() - started_cpu_s < 0.2
        instrument.function = "VOLT"  # it was off and on meanwhile
        async with meter:
            readings = await take(meter, 2)
    assert [(r.quantity, r.value_si, r.conversion) for r in readings] == [
        (Quantity.RESISTANCE, 20.61, 1),
        (Quantity.RESISTANCE, 20.61, 2),
    ]


async def test_a_setup_refused_after_a_replug_does_not_keep_the_meter_out():
    async with Instrument() as instrument:
        meter = meter_at(instrument)
        async with meter:
            await meter.configure(Setup(Quantity.RESISTANCE, expected_si=100))
        instrument.refused = {"CONF:RES 100"}
        async with meter:
            (reading,) = await take(meter, 1)
            assert reading.range_full_scale_si is None, "nobody has set anything"
            with pytest.raises(MeterRefused, match="-221"):
                await meter.configure(Setup(Quantity.RESISTANCE, expected_si=100))
            await meter.configure(Setup(Quantity.RESISTANCE_4W, expected_si=1))


async def test_nothing_listening_is_said_so():
    instrument = Instrument()
    async with instrument:
        pass
    with pytest.raises(LinkUnavailable, match="nothing listens there"):
        async with meter_at(instrument):
            pass


async def test_overload_is_a_reading_and_keeps_its_sign():
    async with Instrument() as instrument, meter_at(instrument) as meter:
        instrument.values["RES"] = 9.9e37
        await meter.configure(Setup(Quantity.RESISTANCE, expected_si=100))
        (over,) = await take(meter, 1)
        instrument.values["RES"] = -9.9e37
        (under,) = await take(meter, 1)
    assert (over.kind, under.kind) == (Kind.OVERLOAD, Kind.NEGATIVE_OVERLOAD)


async def test_somebody_turning_the_meter_to_volts_is_noticed_before_a_volt_counts_as_an_ohm():
    async with Instrument() as instrument, meter_at(instrument) as meter:
        await meter.configure(Setup(Quantity.RESISTANCE, expected_si=100))
        seen = []
        stream = meter.readings()
        seen += [await anext(stream) for _ in range(3)]
        instrument.function = "VOLT"
        with pytest.raises(MeterRefused, match="turned it from RES to VOLT"):
            await anext(stream)
        assert {r.value_si for r in seen} == {20.61}


async def test_a_function_turned_without_a_jump_is_found_before_a_verdict_rests_on_it():
    """Two-wire and four-wire ohms of a winding are near each other: no jump tells them apart."""
    async with Instrument() as instrument, meter_at(instrument) as meter:
        await meter.configure(Setup(Quantity.RESISTANCE, expected_si=100))
        stream = meter.readings()
        await anext(stream)
        await meter.confirm()
        asked = instrument.log.count("CONF?")
        await meter.confirm()  # just asked
        assert instrument.log.count("CONF?") == asked
        instrument.function, instrument.values["FRES"] = "FRES", 20.5
        await asyncio.sleep(0.3)
        with pytest.raises(MeterRefused, match="turned it from RES to FRES"):
            await meter.confirm()
        again = await anext(stream)
        assert (again.quantity, instrument.function) == (Quantity.RESISTANCE, "RES")


async def test_a_range_turned_by_another_is_found_before_a_verdict_rests_on_it():
    """The reading hardly moves; its accuracy would be taken from the wrong range."""
    async with Instrument() as instrument, meter_at(instrument) as meter:
        await meter.configure(Setup(Quantity.RESISTANCE, expected_si=100))
        await take(meter, 1)
        instrument.range = 1e4
        with pytest.raises(MeterRefused, match=r"turned its range from 100 to 10000"):
            await meter.confirm()


async def test_two_programs_on_one_meter_are_told_to_the_first_as_well(monkeypatch):
    """Same function, same range: nothing but the mark that each leaves in the meter tells them apart."""
    async with Instrument() as instrument, meter_at(instrument) as first:
        await first.configure(Setup(Quantity.RESISTANCE, expected_si=100))
        await take(first, 1)
        monkeypatch.setattr(dialogue, "_MARK", 256 - dialogue._MARK if dialogue._MARK != 128 else 1)
        async with meter_at(instrument) as second:  # as of a bench on another computer
            await second.configure(Setup(Quantity.RESISTANCE, expected_si=100))
        monkeypatch.undo()
        with pytest.raises(MeterRefused, match="another program drives this meter, too"):
            await first.confirm()


async def test_a_meter_without_the_register_for_marks_is_used_all_the_same():
    async with Instrument() as instrument:
        instrument.event_enable = None
        async with meter_at(instrument) as meter:
            await meter.configure(Setup(Quantity.RESISTANCE, expected_si=100))
            await meter.confirm()
            assert instrument.log.count("*ESE?") == 1


async def test_a_meter_without_conf_query_is_used_and_its_range_stays_unknown():
    async with Instrument() as instrument:
        instrument.knows_conf_query = False
        async with meter_at(instrument) as meter:
            held = await meter.configure(Setup(Quantity.RESISTANCE, expected_si=100))
            (reading,) = await take(meter, 1)
    assert (held.range_full_scale_si, held.origin) == (None, Origin.UNKNOWN)
    assert reading.value_si == 20.61


async def test_what_a_multimeter_cannot_measure_is_refused_in_one_sentence():
    async with Instrument() as instrument, meter_at(instrument) as meter:
        with pytest.raises(MeterRefused, match="does not measure inductance"):
            await meter.configure(Setup(Quantity.INDUCTANCE))


async def test_a_serial_meter_that_hangs_is_cleared_with_ctrl_c():
    """Over RS-232 there is no connection to drop: Ctrl-C is the device clear of makers' manuals."""
    master, slave = os.openpty()
    tty.setraw(slave)
    stop = threading.Event()

    def play():
        hanging, buffer = True, b""
        answers = {b"*IDN?": IDN, b"*OPC?": "1", b"SYST:ERR?": '0,"No error"', b"READ?": "+2.0E+01"}
        answers[b"CONF?"] = '"RES +1.0E+02,+1.0E-04"'
        while not stop.is_set():
            if not select.select([master], [], [], 0.02)[0]:
                continue
            buffer += os.read(master, 256)
            if b"\x03" in buffer:
                hanging, buffer = False, buffer.rpartition(b"\x03")[2]
            *lines, buffer = buffer.split(b"\n")
            for line in lines:
                if not hanging and line in answers:
                    os.write(master, answers[line].encode() + b"\r\n")

    playing = asyncio.create_task(asyncio.to_thread(play))
    options = BenchMeterOptions(reply_timeout_s=0.3, quiet_s=0.02)
    meter = BenchMeter(meter_id="s", address=f"serial:{os.ttyname(slave)}", clock=clock, options=options)
    try:
        async with meter:
            await meter.configure(Setup(Quantity.RESISTANCE, 100.0))
            (reading,) = await take(meter, 1)
    finally:
        stop.set()
        await playing
        os.close(master)
        os.close(slave)
    assert reading.value_si == 20.0
