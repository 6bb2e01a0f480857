"""The three invented unit types as compiled sheets, for tests that need no sheet file. Not a test itself."""

from acquire.records import (
    Balance,
    Branch,
    BranchKind,
    Corrected,
    Isolation,
    Pair,
    Pin,
    Settled,
    Sheet,
    Step,
    StepKind,
)
from drivers.reading import Quantity


def winding(name, a, b, ohm, tolerance, turns, **more):
    """A winding with acceptance limits; serviceable ones are twice as wide, the spread a third as wide."""
    return Branch(
        name,
        a,
        b,
        ohm,
        acceptance=tolerance,
        serviceable=2 * tolerance,
        spread=tolerance / 3,
        turns=turns,
        **more,
    )


def lead(pin, ohm):
    """The lead of a pin, from its contact to the inner node."""
    return Branch(f"lead {pin}", pin, f"{pin}'", ohm, kind=BranchKind.LEAD, spread=0.1)


def steps(*pairs):
    """Resistance steps named after what they measure."""
    return tuple(Step(name, Pair(a, b)) for name, a, b in pairs)


PLOVER = Sheet(
    name="Plover 80",
    about="orchard-sprayer ignition plate, invented",
    content_hash="plover",
    reference_celsius=20.0,
    pins=tuple(Pin(name, row=(int(name) - 1) // 3, column=(int(name) - 1) % 3) for name in "123456"),
    core="core",
    branches=(
        lead("1", 0.0234),
        lead("2", 0.0234),
        lead("3", 0.0234),
        lead("4", 0.0234),
        lead("5", 0.0117),
        winding("slow charge", "1'", "2'", 202.5201, 0.06, 2400),
        winding("fast charge", "2'", "3'", 46.1205, 0.05, 1020),
        winding("trigger", "4'", "core", 83.1499, 0.07, 1150),
        winding("lighting", "5'", "core", 0.3822, 0.05, 230),
        Branch("strap", "6", "core", 0.0133, kind=BranchKind.STRAP, upper_ohm=0.05, spread=0.3),
    ),
    steps=(
        *steps(
            ("slow charge", "1", "2"),
            ("fast charge", "2", "3"),
            ("both charge windings", "1", "3"),
            ("trigger", "4", "core"),
        ),
    ),
    isolations=(Isolation((("1", "2", "3"), ("core",)), 500.0, 50e6, 5e6),),
)

PLOVER_OPEN = Sheet(
    **{
        **{name: getattr(PLOVER, name) for name in PLOVER.__slots__},
        "steps": (
            *PLOVER.steps,
            Step("strap", Pair("6", "core")),
            Step("charge to core", Pair("1", "core"), kind=StepKind.OPEN, open_above_ohm=1e6),
        ),
    }
)

QUERN = Sheet(
    name="Quern 12",
    about="stream-turbine alternator, star with neutral, invented",
    content_hash="quern",
    reference_celsius=20.0,
    pins=(Pin("U"), Pin("V"), Pin("W"), Pin("N")),
    core="core",
    branches=(
        lead("U", 0.00532),
        lead("V", 0.00532),
        lead("W", 0.00532),
        lead("N", 0.00532),
        winding("phase U", "U'", "N'", 0.4404, 0.04, 152),
        winding("phase V", "V'", "N'", 0.4404, 0.04, 152),
        winding("phase W", "W'", "N'", 0.4404, 0.04, 152),
    ),
    steps=steps(
        ("U to V", "U", "V"),
        ("V to W", "V", "W"),
        ("W to U", "U", "W"),
        ("V to neutral", "V", "N"),
    ),
    balances=(Balance("phases", ("phase U", "phase V", "phase W"), 0.02),),
)

FATHOM = Sheet(
    name="Fathom 7",
    about="sump-float control transformer, invented",
    content_hash="fathom",
    reference_celsius=20.0,
    pins=tuple(Pin(name) for name in "12345678"),
    core="core",
    branches=(
        *(lead(pin, 0.0039) for pin in "12345678"),
        winding("P1", "1'", "2'", 243.0785, 0.06, 1880),
        winding("P2", "3'", "4'", 266.107, 0.06, 1880),
        winding("S1", "5'", "6'", 1.6397, 0.04, 165),
        winding("S2", "7'", "8'", 1.6397, 0.04, 165),
    ),
    steps=steps(("P1", "1", "2"), ("P2", "3", "4"), ("S1", "5", "6"), ("S2", "7", "8")),
    balances=(Balance("secondaries", ("S1", "S2"), 0.01),),
    bifilar=(("S1", "S2"),),
)


def corrected(ohm, u_ohm=None):
    """A value at the reference temperature with its uncertainty (0.1 % unless given), and nothing else."""
    u_ohm = abs(ohm) * 1e-3 if u_ohm is None else u_ohm
    settled = Settled(
        "bench", Quantity.RESISTANCE, ohm, 0.0, 9.0, 0.0, 0.0, 0.0, 10, None, None, 0.0, 1.0, 1.0
    )
    return Corrected(settled, ohm, 0.0, ohm, ohm, 20.0, 20.0, "copper", (), u_ohm, 2.0, 2 * u_ohm)


TAPPED = """[sheet]
name = "Tapped"
[connector]
rows = [["1", "2", "3"]]
[[winding]]
name = "low"
between = ["1", "2"]
resistance = "40 ohm"
acceptance = "5 %"
[[winding]]
name = "high"
between = ["2", "3"]
resistance = "200 ohm"
acceptance = "6 %"
serviceable = "15 %"
"""
"""A sheet file, for tests of what is read from one."""
