"""What ohms leave untested, by the sheet and by its circuit."""

from dataclasses import replace

import pytest

from acquire.records import Branch, BranchKind, Isolation, Pair, Step, StepKind, UntestedKind
from acquire.sheets import load_sheet
from acquire.steps.pairs import PairTable
from acquire.steps.untested import required, separate_groups, unproven
from tests.known_sheets import FATHOM, PLOVER, QUERN
from tests.whole_bench import CONFIGS


def ids(sheet):
    return [each.id for each in required(PairTable(sheet))]


def test_shipped_sheets_leave_what_their_rules_ask_for_and_turn_faults():
    """Each names the isolation of all its windings."""
    assert ids(load_sheet(CONFIGS / "sheets" / "plover-80.toml")) == ["isolation:1,2,3|CORE,4,5,6", "turns"]
    assert ids(load_sheet(CONFIGS / "sheets" / "quern-12.toml")) == ["isolation:U,V,W,N|CORE", "turns"]
    assert ids(load_sheet(CONFIGS / "sheets" / "plover-80-coil.toml")) == ["turns"]


def test_groups_are_what_windings_leads_and_diodes_join():
    assert separate_groups(QUERN) == (("U", "V", "W", "N"), ("core",))
    assert separate_groups(FATHOM) == (("1", "2"), ("3", "4"), ("5", "6"), ("7", "8"), ("core",))
    diode = Branch("regulator", "2", "3", 1e12, BranchKind.DIODE)
    joined = separate_groups(replace(FATHOM, branches=(*FATHOM.branches, diode)))
    assert joined[0] == ("1", "2", "3", "4"), "a diode is no isolation, whatever ohms say"


def test_a_winding_and_its_core_that_nothing_holds_apart_are_named():
    """Without a rule every pair of groups is one thing; a rule takes away the pairs that it names."""
    bare = replace(QUERN, isolations=())
    assert ids(bare) == ["isolation:U,V,W,N|core", "turns"]
    (apart,) = [each for each in required(PairTable(bare)) if each.kind is UntestedKind.CIRCUIT]
    assert apart.name == "isolation of U,V,W,N from core"
    assert len(list(unproven(FATHOM))) == 10
    some = Isolation((("1", "2"), ("core",)), 500.0, 50e6)
    assert len(list(unproven(replace(FATHOM, isolations=(some,))))) == 9


@pytest.mark.parametrize("kind", [StepKind.OPEN, StepKind.TYPED])
def test_a_step_between_two_groups_asks_for_their_isolation(kind):
    step = Step("P1 to P2", Pair("1", "3"), kind)
    left = list(unproven(replace(FATHOM, steps=(*FATHOM.steps, step))))
    assert (("1", "2"), ("3", "4")) not in left
    assert len(left) == 9


def test_windings_that_no_step_measures_are_named():
    """On this Plover neither lighting nor strap have a step."""
    assert [each for each in ids(PLOVER) if each.startswith("branch:")] == ["branch:lighting", "branch:strap"]


def test_typed_steps_are_asked_for_by_their_names():
    step = Step("surge", Pair("1", "2"), StepKind.TYPED)
    assert "step:surge" in ids(replace(FATHOM, steps=(*FATHOM.steps, step)))
