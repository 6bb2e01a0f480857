"""The rig itself against figures from outside: what it says of circuits, ranges and cooling."""

from __future__ import annotations

import math
import re
import socket

import pytest

from tests.adversary.campaign import SHEETS
from tests.adversary.circuits import Sheet, Unit, Warmth
from tests.adversary.instrument import OVER, Instrument, Probes


def asked(instrument, *lines):
    """Answers of the meter to these lines."""
    host, port = instrument.address.removeprefix("tcp:").split(":")
    with socket.create_connection((host, int(port)), 5.0) as link, link.makefile("rw", newline="\n") as text:
        answers = []
        for line in lines:
            text.write(line + "\n")
            text.flush()
            if "?" in line:
                answers.append(text.readline().strip())
        return answers


def test_the_meter_reads_within_its_accuracy_and_says_overload_by_the_standard():
    """SCPI-1999: 9.9E37 beyond range; two wires read the leads, four do not; -113 for nonsense."""
    probes = Probes(lead_ohm=0.2, resistance_ohm=lambda pair: 50.0 if pair == ("1", "2") else 130.0)
    with Instrument(probes) as meter:
        assert asked(meter, "CONF:RES 50", "READ?") == [OVER]
        probes.down(("1", "2"), 0.005)
        two, four = asked(meter, "CONF:RES 50", "READ?", "CONF:FRES 50", "READ?")
        assert float(two) == pytest.approx(50.205, abs=0.02)
        assert float(four) == pytest.approx(50.0, abs=0.02)
        probes.down(("1", "3"))
        assert asked(meter, "CONF:RES 100", "READ?") == [OVER]
        assert asked(meter, "NONSENSE", "SYST:ERR?", "SYST:ERR?")[0].startswith("-113")
        assert asked(meter, "*CLS", "SYST:ERR?", "*OPC?") == ['+0,"No error"', "1"]


def test_thermal_voltages_count_unless_they_are_compensated():
    """10 microvolt at 1 milliampere are 10 milliohms (Ohm's law)."""
    probes = Probes(resistance_ohm=lambda _pair: 1.0, emf_volt=1e-5)
    with Instrument(probes) as meter:
        probes.down(("1", "2"))
        plain, compensated = asked(meter, "CONF:FRES 1", "READ?", "SENS:FRES:OCOM ON", "READ?")
        assert float(plain) - float(compensated) == pytest.approx(0.010, abs=0.004)


def test_star_and_delta_are_solved_as_handbooks_have_it():
    """Delta of three r reads 2r/3; star of three r reads 2r (Kennelly 1899)."""
    delta, star = Sheet.read(SHEETS["tarn"]), Sheet.read(SHEETS["skerry"])
    assert delta.nominal_ohm(("U", "V")) == pytest.approx(18.6 * 2 / 3)
    assert star.nominal_ohm(("U", "V")) == pytest.approx(18.8)
    assert star.between(("U", "V"), {"phase U": math.inf}) == math.inf
    assert delta.between(("U", "V"), {"phase UV": math.inf}) == pytest.approx(2 * 18.6)


def test_a_joint_can_be_told_only_where_pairs_close():
    """Tap, common and neutral close a relation; ends, delta and star without neutral do not."""
    told = {name: set(Sheet.read(file).joint_reach()) for name, file in SHEETS.items()}
    assert told == {
        "plover": {"2"}, "quern": {"N"}, "fathom": set(), "tarn": set(), "skerry": set(), "corrie": {"C"},
        "linnet": {"2"},
    }  # fmt: skip


def test_copper_is_as_warm_as_it_is_and_cools_by_two_exponentials():
    """IEC 60034-1 (from memory): (234.5 + t) / (234.5 + 20) of its resistance at 20 degrees."""
    sheet = Sheet.read(SHEETS["linnet"])
    unit = Unit(sheet, "A", {}, {"1": 2.0}, 20.0, Warmth(10.0, 0.5, 100.0, 1000.0, since_s=0.0))
    assert unit.resistance_ohm(("1", "2"), 0.0) == pytest.approx(318 * 264.5 / 254.5 + 2.0)
    left = 5 * math.exp(-1) + 5 * math.exp(-0.1)
    assert unit.resistance_ohm(("1", "2"), 100.0) == pytest.approx(318 * (254.5 + left) / 254.5 + 2.0)


def test_the_rig_shares_nothing_with_what_it_tries():
    """No import of acquire, drivers or sim in this folder."""
    folder = SHEETS["tarn"].parents[1]
    for file in folder.glob("*.py"):
        assert not re.search(
            r"^\s*(?:from|import) (?:acquire|drivers|sim)\b", file.read_text("utf-8"), re.MULTILINE
        ), file
