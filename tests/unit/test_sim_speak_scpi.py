"""What the simulated SCPI meter answers, line by line."""

from __future__ import annotations

import random
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.clock import BenchClock
from sim.meter import Meter, meter_class
from sim.probes import Ambient, ContactHabit, Probes, new_touch
from sim.scpi_grammar import Refused, exponent, long_and_short, parse_number
from sim.speak_scpi import ScpiVoice
from tests.known_units import PLOVER_80

CLEAN = ContactHabit(film_chance=0, creep_chance=0, bounces=0)


@pytest.fixture
def bench():
    """A bench at a hundred times the speed of life, with a nominal unit; gives probes, meter and voice."""
    clock = BenchClock(100.0)
    probes = Probes(Ambient(random.Random(1), 20.0))
    probes.place(PLOVER_80.nominal())
    meter = Meter(meter_class("bench-6-digit"), probes, clock, random.Random(2))
    return probes, meter, ScpiVoice(meter)


def touch(probes, *pair):
    """Bring clean probes down on a pair, or on each other."""
    probes.touch(new_touch(random.Random(3), CLEAN, pair or None, -1.0))


async def errors(voice):
    """Empty the error queue."""
    found = []
    while not (answer := await voice.answer("SYST:ERR?")).startswith("+0,"):
        found.append(int(answer.split(",")[0]))
    return found


@pytest.mark.parametrize(
    "line",
    [
        "CONF:FRES 100",
        "conf:fres 100",
        "CONFigure:FRESistance 100",
        ":CONFIGURE:SCALAR:FRES 1e2",
        "CONF:FRES 0.1 KOHM",
    ],
)
async def test_long_and_short_forms_in_any_case_mean_the_same(bench, line):
    """SCPI-99, 6.2.1: short form, long form, either case; a unit may follow a number."""
    _, _, voice = bench
    await voice.answer(line)
    assert await voice.answer("CONF?") == '"FRES +1.00000000E+02,+1.00000000E-04"'
    assert await errors(voice) == []


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("FROB", -113),
        ("CONF:RESI 100", -113),  # neither short nor long
        ("CONF:FRES 1e12", -222),
        ("CONF:FRES ten", -104),
        ("CONF:FRES 100 FURLONG", -131),
        ("CONF:FRES 100,1e-4,7", -108),
        ("SENS:FRES:NPLC", -109),
        ("SENS:FRES:NPLC 1,2", -108),
        ("SENS:FRES:NPLC 1e6", -222),
        ("SENS:FRES:OCOM MAYBE", -224),
        ('SENS:FUNC "VOLT:DC"', -224),
        ("SENS:FUNC FRES", -104),
        ('SENS:FUNC "FRES', -151),
        ("*IDN? 3", -108),
        ("%&", -102),
    ],
)
async def test_what_is_wrong_goes_to_the_error_queue_and_is_not_answered(bench, line, code):
    """SCPI-99, 21.8."""
    _, _, voice = bench
    assert await voice.answer(line) is None
    assert await errors(voice) == [code]


async def test_a_refused_range_leaves_everything_as_it_was(bench):
    """Settings and reading stay usable after -222."""
    _, _, voice = bench
    await voice.answer("CONF:FRES 100;:SENS:FRES:NPLC 1")
    await voice.answer("CONF:RES 1e12")
    assert await voice.answer("CONF?") == '"FRES +1.00000000E+02,+1.00000000E-04"'
    assert float(await voice.answer("SENS:FRES:NPLC?")) == 1.0


async def test_the_error_queue_is_first_in_first_out_and_says_when_it_overflows(bench):
    """Twenty places; the last one becomes -350."""
    _, _, voice = bench
    await voice.answer("CONF:FRES 1e12")
    for _ in range(30):
        await voice.answer("FROB")
    found = await errors(voice)
    assert (found[0], found[-1], len(found)) == (-222, -350, 20)
    await voice.answer("FROB")
    await voice.answer("*CLS")
    assert await errors(voice) == []


async def test_headers_after_a_semicolon_go_on_from_where_the_last_one_was(bench):
    """SCPI-99, 6.2.4; a colon starts from the top, and a common command changes nothing."""
    _, meter, voice = bench
    await voice.answer("SENS:FRES:NPLC 1;*CLS;OCOM ON;:SENS:RES:RANG 1000")
    assert (meter.nplc, meter.offset_compensation, meter.range.nominal_ohm) == (1.0, True, 1000)
    assert await voice.answer("*OPC?;:SYST:ERR?") == '1;+0,"No error"'


async def test_configuring_switches_offset_compensation_off(bench):
    """As the instruments do: send OCOM after CONF."""
    _, _, voice = bench
    await voice.answer("SENS:FRES:OCOM ON;:CONF:FRES 100")
    assert await voice.answer("SENS:FRES:OCOM?") == "0"


async def test_probes_in_the_air_read_overload(bench):
    """9.9E37 (SCPI-99, 7.2.1.4)."""
    _, _, voice = bench
    assert await voice.answer("CONF:RES 1000;:READ?") == "+9.90000000E+37"


async def test_a_value_above_a_fixed_range_reads_overload_and_auto_range_finds_it(bench):
    """202 ohm does not fit 120 ohm."""
    probes, _, voice = bench
    touch(probes, "1", "2")
    assert float(await voice.answer("CONF:FRES 100;:READ?")) > 9e37
    assert float(await voice.answer("SENS:FRES:RANG:AUTO ON;:READ?")) == pytest.approx(202.53, rel=1e-3)
    assert (await voice.answer("CONF?")).startswith('"FRES +1.00000000E+03')


async def test_leads_are_in_a_two_wire_reading_and_not_in_a_four_wire_one(bench):
    """A pair of leads of 0.12 ohm, and some milliohms of contact."""
    probes, _, voice = bench
    touch(probes, "5", "CORE")
    four = float(await voice.answer("CONF:FRES 100;:READ?"))
    two = float(await voice.answer("CONF:RES 100;:READ?"))
    assert four == pytest.approx(0.39384, abs=0.012)
    assert 0.118 < two - four < 0.14
    touch(probes)
    assert float(await voice.answer("CONF:RES 100;:READ?")) == pytest.approx(two - four, abs=0.012)


async def test_a_reading_takes_the_time_of_its_conversion():
    """Ten power-line cycles with auto-zero: 0.4 s, here at four times the speed of life."""
    clock = BenchClock(4.0)
    probes = Probes(Ambient(random.Random(1), 20.0))
    voice = ScpiVoice(Meter(meter_class("bench-6-digit"), probes, clock, random.Random(2)))
    await voice.answer("CONF:FRES 1000")
    began_s = clock.now_s()
    await voice.answer("READ?")
    assert clock.now_s() - began_s >= 0.38  # a busy machine may take longer


@given(st.sampled_from((-1, 1)), st.floats(1e-12, 9.9e37))
def test_numbers_have_the_form_of_bench_meters(sign, size):
    """SD.DDDDDDDDESDD, and worth the value."""
    value = sign * size
    text = exponent(value)
    assert re.fullmatch(r"[+-]\d\.\d{8}E[+-]\d\d", text)
    assert float(text) == pytest.approx(value, rel=1e-8, abs=1e-99)


@given(st.text(max_size=60))
async def test_no_line_whatever_makes_the_meter_fall_over(line):
    """Anything is answered or queued as an error."""
    probes = Probes(Ambient(random.Random(1), 20.0))
    voice = ScpiVoice(Meter(meter_class("bench-6-digit"), probes, BenchClock(100), random.Random(2)))
    await voice.answer(line)


def test_optional_nodes_may_be_left_out():
    """Square brackets of the SCPI notation."""
    pattern = long_and_short("[SENSe:]FRESistance:RANGe[:UPPer]")
    for header in ("FRES:RANG", "SENS:FRES:RANG", "SENSE:FRESISTANCE:RANGE:UPPER"):
        assert pattern.fullmatch(header)
    assert not pattern.fullmatch("SENS:FRES:RAN")


def test_mohm_is_a_million_ohms():
    """SCPI reads MOHM as mega (SCPI-99, 7.2.1; milliohms are not sent with a suffix)."""
    assert parse_number("1.5 MOHM", 0, 1e9) == 1.5e6
    with pytest.raises(Refused):
        parse_number("nan", 0, 1e9)
