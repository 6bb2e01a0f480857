"""Makes a bench's fixture from its file: the card, its wiring, and the sheet with every pair as a step.

Not for what a fixture does (fixture, fixture_desk).
"""

from __future__ import annotations

import math

from acquire.bench.daemon import Daemon
from acquire.bench.fixture import FixtureMeter, Wiring
from acquire.bench.fixture_desk import FixtureDesk
from acquire.clock import Clock
from acquire.errors import SteadyohmError
from acquire.files.bench_tables import LowOhms
from acquire.files.fixture_table import FixtureSettings, Pairs
from acquire.files.settings import Bench
from acquire.heart.fixture_hold import FixtureHold
from acquire.records import Event, Pair, Sheet
from acquire.steps.continuity import with_continuity
from acquire.steps.full_matrix import full_matrix
from acquire.steps.pairs import PairTable
from drivers.meter import Meter
from drivers.registry import open_switch_card
from drivers.scpi.switch_card import SwitchCard

PROOF_ROOM = 2.0
"""The range for proofs holds so many times the largest resistance of a good unit: a bad joint in its way
conducts, too; workshop choice."""


MOST_PINS = 20
"""Pins of which every pair is measured: the fault dictionary keeps what each pair reads beside each other, so
its memory grows with their fourth power (0.7 GB here, 2 GB with 24, 46 GB with 48; measured)."""


class FixtureUnfit(SteadyohmError):
    """A bench file and its sheet do not go together on this fixture."""

    exit_code = 2


def sheet_for(bench: Bench, sheet: Sheet) -> Sheet:
    """The sheet as this bench measures it: with every pair as a step where a fixture does the work.

    Where its file says so, low ohms may be judged by their continuity.

    Raises:
        FixtureUnfit: a pin of the sheet has no channel, or it has too many pins for every pair.
    """
    fixture = bench.fixture
    sheet = with_low_ohms(bench, sheet)
    if fixture is None:
        return sheet
    if fixture.pairs is Pairs.ALL:
        if (pins := len(sheet.pin_names())) > MOST_PINS:
            raise FixtureUnfit(
                f"{sheet.name} has {pins} pins; every pair is measured of {MOST_PINS} at most.",
                f'Write pairs = "sheet" in [fixture] of {bench.file}, and the pairs that matter as steps.',
            )
        sheet = full_matrix(sheet)
    wanted = dict.fromkeys(pin for step in sheet.steps for pin in step.pair)
    missing = [pin for pin in wanted if pin not in fixture.high]
    if missing:
        raise FixtureUnfit(
            f"The fixture of {bench.file} has no channel for {', '.join(missing)} of {sheet.name}.",
            "Add them to high and low in [fixture].",
        )
    return sheet


def with_low_ohms(bench: Bench, sheet: Sheet) -> Sheet:
    """The sheet with what its steps have at most where the bench is content with continuity."""
    return with_continuity(sheet, bench.purpose) if bench.low_ohms is LowOhms.CONTINUITY else sheet


def fixture_lines(bench: Bench, sheet: Sheet) -> list[str]:
    """What `steadyohm check` says of the fixture."""
    fixture = bench.fixture
    if fixture is None:
        return []
    steps = sheet_for(bench, sheet).steps
    where = fixture.link or "in the meter"
    contacts = "two contacts" if fixture.separate_contacts else "one contact"
    pins, channels = len(fixture.high), len(wiring_of(fixture).all())
    return [
        f"  fixture: {len(steps)} pairs, {pins} pins with {contacts} each, {channels} channels, card {where}"
    ]


def hold_of(bench: Bench) -> FixtureHold | None:
    """What the heart is to know of the fixture; None where hands hold the probes."""
    if bench.fixture is None:
        return None
    fixture = bench.fixture
    return FixtureHold(frozenset(fixture.standard or ()), fixture.separate_contacts)


def wiring_of(fixture: FixtureSettings) -> Wiring:
    """Which channels lead to which pin."""
    return Wiring(fixture.high, fixture.low, fixture.sense_high, fixture.sense_low)


def behind_card(bench: Bench, meter: Meter, sheet: Sheet, clock: Clock) -> FixtureMeter:
    """Put the meter behind the bench's switch card.

    Raises:
        FixtureUnfit: the card sits in the meter, and this meter's driver knows no cards.
        OptionsInvalid, AddressInvalid: the card's.
    """
    fixture = bench.fixture
    if fixture is None:
        raise ValueError("this bench has no fixture")
    card = card_for(bench, meter)
    return FixtureMeter(meter, card, wiring_of(fixture), desk_for(fixture, sheet), clock)


def card_for(bench: Bench, meter: Meter) -> SwitchCard:
    """The bench's switch card, not yet opened.

    Raises:
        FixtureUnfit: there is none, or it sits in the meter, whose driver knows no cards.
        OptionsInvalid, AddressInvalid: the card's.
    """
    fixture = bench.fixture
    if fixture is None:
        raise FixtureUnfit(f"{bench.file} has no [fixture] table.", "configs/README.md shows one.")
    if fixture.link is None and not hasattr(meter, "beside"):
        raise FixtureUnfit(
            f"A {bench.meter.driver} meter has no switch card on its link.",
            "Give the card's own link in [fixture].",
        )
    card: SwitchCard = open_switch_card(
        wiring_of(fixture).all(),
        address=fixture.link or "",
        host=meter if fixture.link is None else None,
        options=fixture.card_options,
    )
    return card


def desk_for(fixture: FixtureSettings, sheet: Sheet) -> FixtureDesk:
    """What the fixture knows of its units before it sees one."""
    table = PairTable(sheet)
    nominal = {pair: table.nominal_ohm(pair) for pair in table.pairs()}
    finite = {frozenset(pair): ohm for pair, ohm in nominal.items() if math.isfinite(ohm)}
    return FixtureDesk(
        frozenset(finite),
        fixture.zero_pin or next(iter(fixture.high)),
        PROOF_ROOM * max([1.0, *finite.values()]),
        None if fixture.standard is None else Pair(*fixture.standard),
        fixture.separate_contacts,
    )


def wire_up(daemon: Daemon, meter: FixtureMeter) -> None:
    """Let the fixture see what a person would see, and order what hands would do."""
    meter.command, meter.tell = daemon.command, daemon.tell
    shown = daemon.show

    def show(event: Event) -> None:
        shown(event)
        meter.desk.see(event)

    daemon.show = show
