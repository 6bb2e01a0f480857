"""The gate before verdicts: what it lets through, what it asks, what it says, what it remembers."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from acquire.bench.self_check import HOLDS_S, SelfCheck, mark_of, still_holds
from acquire.clock import HandClock
from acquire.files.bench_tables import MeterSettings
from acquire.records import Ask, Code, Notice, Prompt, Severity
from acquire.steps.setup_choice import Wanted
from drivers.reading import Kind, Quantity, Reading


@dataclass
class Bench:
    """A check with all its ways out in hand."""

    shown: list = field(default_factory=list)
    told: list = field(default_factory=list)
    through: list = field(default_factory=list)
    heard: int = 0
    at_s: float = 0.0

    def __post_init__(self):
        self.check = SelfCheck(
            "meter", "abc", 470.0, HandClock(), self.onward, lambda: Wanted(expected_ohm=55.0),
            self.shown.append, self.tell, self.hear,
        )  # fmt: skip

    async def onward(self, reading):
        self.through.append(reading)

    async def tell(self, notice):
        self.told.append(notice)

    def hear(self):
        self.heard += 1

    async def reads(self, ohm, times=3, quantity=Quantity.RESISTANCE, every_s=0.4):
        """The meter reads this; None is beyond range."""
        for _ in range(times):
            self.at_s += every_s
            kind = Kind.OVERLOAD if ohm is None else Kind.VALUE
            await self.check.take(
                Reading("m", quantity, kind, ohm, self.at_s, self.at_s, int(10 * self.at_s) + 1)
            )

    @property
    def asks(self):
        return [event.ask for event in self.shown if isinstance(event, Prompt)]

    @property
    def codes(self):
        return [notice.code for notice in self.told]


async def prove(bench):
    """The three contacts, rightly."""
    await bench.reads(0.3, 4)
    await bench.reads(None, 3)
    await bench.reads(472.0, 3)


async def test_three_contacts_then_the_probes_off_let_readings_through():
    """Nothing before; what is on the resistor at the end is no reading of a unit."""
    bench = Bench()
    assert bench.check.wanted().expected_ohm == 470.0
    await prove(bench)
    assert bench.asks == [Ask.SHORT_PROBES, Ask.LIFT, Ask.CHECK_RESISTOR, Ask.LIFT]
    assert bench.codes == ["self_check.due", Code.SELF_CHECK_PASSED]
    await bench.reads(472.0, 5)
    assert bench.through == []
    assert bench.heard > 10
    await bench.reads(None, 1)
    assert bench.check.passed
    assert bench.check.wanted().expected_ohm == 55.0
    await bench.reads(46.0, 2)
    assert [reading.value_si for reading in bench.through] == [46.0, 46.0]
    assert bench.told[-1].facts == {
        "meter": "meter",
        "mark": "abc",
        "short_ohm": 0.3,
        "open_ohm": None,
        "resistor_ohm": 472.0,
    }


async def test_the_hearts_prompt_waits_until_the_check_is_passed():
    """Then the latest is shown; other events are never kept back."""
    bench = Bench()
    await bench.reads(None, 1)
    note = Notice(Severity.INFO, Code.NOTE, 0.0, facts={"note": "y"})
    for event in (Prompt(Ask.START_UNIT), note, Prompt(Ask.TOUCH, step="first")):
        bench.check.display(event)
    assert bench.shown[-1] is note
    await prove(bench)
    await bench.reads(None, 1)
    assert bench.shown[-1].step == "first"
    bench.check.display(Prompt(Ask.TOUCH, step="second"))
    assert bench.shown[-1].step == "second"


async def test_a_wrong_resistor_is_named_once_and_never_let_through():
    """With what should be and what is, and what to try; noise does not tell it anew."""
    bench = Bench()
    await bench.reads(0.3, 4)
    await bench.reads(None, 3)
    for ohm in (47.0, 47.1, 46.9, 47.0) * 20:
        await bench.reads(ohm, 1)
    failed = [notice for notice in bench.told if notice.code == "self_check.failed"]
    assert len(failed) == 1
    assert failed[0].severity is Severity.STOP
    assert "It must read 470 Ω within 16.1 Ω, but it reads" in failed[0].facts["cause"]
    assert failed[0].facts["waiting"] is False
    await bench.reads(470.0, 3)
    assert Code.SELF_CHECK_PASSED in bench.codes


async def test_probes_that_nobody_has_moved_are_a_reminder_not_a_fault():
    """An empty bench says it once and waits for hours."""
    bench = Bench()
    await bench.reads(None, 500)
    assert bench.codes == ["self_check.due", "self_check.failed"]
    assert bench.told[-1].severity is Severity.WARNING


async def test_a_meter_on_volts_is_told_to_be_turned():
    """It cannot pass."""
    bench = Bench()
    await bench.reads(0.0, 40, Quantity.VOLTAGE_DC)
    assert "set the dial to ohms" in bench.told[-1].facts["cause"]
    assert not bench.check.passed


async def test_a_link_that_breaks_voids_the_contact_under_way():
    """Two readings before and one after are not three in a row."""
    bench = Bench()
    await bench.reads(0.3, 2)
    bench.check.lost()
    await bench.reads(0.3, 2)
    assert bench.asks == [Ask.SHORT_PROBES]
    await bench.reads(0.3, 1)
    assert bench.asks[-1] is Ask.LIFT


def settings(**changes):
    """The meter's table of a bench file."""
    given = {"driver": "status14", "link": "tcp:127.0.0.1:9", "model": "m.toml", "self_check": "470 ohm"}
    return MeterSettings.model_validate({**given, **changes}, context={"folder": "."})


@pytest.mark.parametrize(
    "change",
    [{"driver": "parity11"}, {"link": "tcp:127.0.0.1:8"}, {"options": {"counts": 4000}}, {"id": "other"}],
)
def test_another_meter_has_another_mark(change):
    """Link, driver, options, name and version count; the way of writing does not."""
    assert mark_of(settings(), "1") == mark_of(settings(), "1")
    assert mark_of(settings(), "1") != mark_of(settings(**change), "1")
    assert mark_of(settings(), "1") != mark_of(settings(), "2")


@pytest.mark.parametrize(
    ("age_s", "mark", "holds"),
    [(10.0, "abc", True), (HOLDS_S + 1, "abc", False), (10.0, "xyz", False), (-3600.0, "abc", False)],
)
def test_a_check_on_record_holds_for_a_day_and_for_its_meter(age_s, mark, holds):
    """One from the future was stamped by a clock that has been set."""
    notice = Notice(Severity.INFO, Code.SELF_CHECK_PASSED, 1e9 - age_s, facts={"mark": "abc"})
    assert still_holds(notice, mark, 1e9) is holds
    assert not still_holds(None, mark, 1e9)
