"""What `check` says about sheets whose circuit does not do what it seems to."""

from dataclasses import replace

from acquire.answers.sheet_checks import sheet_remarks
from acquire.records import Isolation, Pair, Purpose, Step, StepKind
from tests.known_sheets import FATHOM, PLOVER, PLOVER_OPEN, QUERN, winding


def serious(sheet, **more):
    """What is serious, as (key, sentence)."""
    found = sheet_remarks(sheet, Purpose.FINAL, **more)
    return [(remark.key, remark.what) for remark in found if remark.serious]


def remarks(sheet):
    """Sentences that are only worth knowing."""
    return [remark.what for remark in sheet_remarks(sheet, Purpose.FINAL) if not remark.serious]


def test_windings_that_nothing_reaches():
    """On the Plover neither lighting nor strap have a step."""
    found = serious(PLOVER)
    assert [what for _, what in found if what.startswith("No step sees")] == [
        "No step sees the lighting: a unit passes even if it is broken.",
        "No step sees the strap: a unit passes even if it is broken.",
    ]


def test_remedy_names_the_pair_that_sees_best():
    """5 to core for the lighting winding."""
    found = [r for r in sheet_remarks(PLOVER, Purpose.FINAL) if r.name == "lighting"]
    assert found[0].remedy == "Add a step on 5–core."


def test_small_winding_behind_a_large_one_is_hardly_seen():
    """Only the diagonal is measured: 5 % of 46 ohm drown in the spread of 202."""
    diagonal = replace(PLOVER, steps=(Step("diagonal", Pair("1", "3")),))
    assert any("fast charge is only seen through larger windings" in what for what in remarks(diagonal))


def test_a_complete_sheet_has_nothing_serious():
    """All windings of the Fathom are measured one by one, and one rule holds them all apart."""
    apart = Isolation((("1", "2"), ("3", "4"), ("5", "6"), ("7", "8"), ("core",)), 500.0, 50e6)
    assert serious(replace(FATHOM, isolations=(apart,))) == []


def test_windings_that_nothing_holds_apart_are_told():
    """Five groups without a rule are ten pairs; an open step between two of them leaves nine."""
    (told,) = [each for each in sheet_remarks(FATHOM, Purpose.FINAL) if each.key == "connector"]
    assert told.serious
    assert "1,2 from 3,4" in told.what
    assert "(and 7 more)" in told.what
    step = Step("P1 to P2", Pair("1", "3"), StepKind.OPEN, open_above_ohm=1e6)
    (told,) = [
        each
        for each in sheet_remarks(replace(FATHOM, steps=(*FATHOM.steps, step)), Purpose.FINAL)
        if each.key == "connector"
    ]
    assert "1,2 from 3,4" not in told.what
    assert "(and 6 more)" in told.what


def test_steps_that_cannot_be():
    """A resistance where nothing conducts, an open where something does, and no limits."""
    bare = winding("bare", "1'", "2'", 202.5201, 0.06, 2400)
    odd = replace(
        PLOVER,
        branches=tuple(
            replace(bare, name=b.name, acceptance=None, serviceable=None) if b.name == "slow charge" else b
            for b in PLOVER.branches
        ),
        steps=(
            Step("to core", Pair("1", "core")),
            Step("diagonal", Pair("1", "3"), kind=StepKind.OPEN),
            Step("slow", Pair("1", "2")),
        ),
    )
    found = dict(serious(odd))
    assert found["step[0]"] == "Nothing joins 1–core, so it never gives a resistance."
    assert found["step[1]"] == "1–3 is to be open, but it reads slow charge and fast charge."
    assert found["step[2]"] == "Step slow has no limits, so nothing is judged."


def test_pairs_that_pass_for_each_other_are_listed():
    """Line pairs of a star cannot be told apart; nor S1 from S2. Each group is told once."""
    unnoticed = "a wrong probe among them goes unnoticed."
    assert f"U–V, U–W and V–W read alike, about 0.8914 Ω: {unnoticed}" in remarks(QUERN)
    assert remarks(FATHOM) == [f"5–6 and 7–8 read alike, about 1.647 Ω: {unnoticed}"]


def test_open_step_with_and_without_a_bracket():
    """The strap proves the clip on the Plover; the Fathom has no pin on its core."""
    assert not any("key or pedal" in what for what in remarks(PLOVER_OPEN))
    isolated = Step("P1 to core", Pair("1", "core"), kind=StepKind.OPEN, open_above_ohm=1e6)
    assert "That 1–core is open can only be confirmed by key or pedal." in remarks(
        replace(FATHOM, steps=(*FATHOM.steps, isolated))
    )


def test_a_meter_too_poor_for_a_step_is_named():
    """Half an ohm of uncertainty is nothing to 243 ohm and too much for 1.65."""
    found = dict(serious(FATHOM, expanded=lambda _step, _ohm: 0.5))
    assert list(found) == ["connector", "step[2]", "step[3]"]
    assert found["step[2]"] == (
        "The meter knows 1.647 Ω to 0.5 Ω only, and the tolerance is 0.066 Ω: it cannot judge this step."
    )
