"""The table of what a bench can judge: shipped sheets on the generic meters."""

from __future__ import annotations

import json

import pytest

from acquire.answers.budget import budget_facts, budget_lines
from acquire.answers.check import check_files
from acquire.errors import InputImpossible
from tests.whole_bench import CONFIGS, bench_file


def reports_for(folder, sheet, model, *, four_wire=True):
    """A bench with this sheet and meter, as check would have read it; 1 kelvin, leads to be zeroed."""
    changes = [("bench-6-digit.toml", f"{model}.toml"), ('uncertainty = "1.5 K"', 'uncertainty = "1 K"')]
    if not four_wire:
        changes.append(('four_wire_below = "10 ohm"\n', ""))
    file = bench_file(folder, meter="tcp:127.0.0.1:5025", sheet=f"{sheet}.toml", changes=changes)
    return check_files([file])


def steps_of(folder, sheet, model, **how):
    """The table's rows by step."""
    return {step["step"]: step for step in budget_facts(reports_for(folder, sheet, model, **how))["steps"]}


def test_a_hand_meter_cannot_judge_the_stator_and_is_told_what_would(tmp_path):
    """Half an ohm on a display of tenths; a good meter is named by what it must know."""
    reports = reports_for(tmp_path, "quern-12", "hand-2000")
    facts = budget_facts(reports)["steps"]
    assert len(facts) == 6
    assert not any(step["can_judge"] for step in facts)
    text = "\n".join(budget_lines(reports))
    assert text.count("CANNOT JUDGE") == 6
    assert "one that knows 0.8914 Ω to 0.012 Ω or better, with four wires" in text
    assert "0.0 Ω" not in text.split("(200 Ω range)")[1]


@pytest.mark.parametrize(
    ("sheet", "model", "step", "ratio", "four_wire"),
    [
        ("quern-12", "hand-2000", "U to V", 0.06, True),
        ("quern-12", "bench-6-digit", "U to V", 5.7, True),
        ("plover-80", "hand-2000", "lighting", 0.1, True),
        ("fathom-7", "bench-6-digit", "P1", 15.0, True),
        ("fathom-7", "bench-6-digit", "S1", 9.0, True),
        ("fathom-7", "bench-6-digit", "S1", 2.4, False),
    ],
)
def test_tolerance_over_uncertainty_is_what_the_trade_reckons(tmp_path, sheet, model, step, ratio, four_wire):
    """Computed apart for the same meters and units with 1 kelvin (a fact of the trade, computed); the terms
    for contact and drift differ, so a quarter either way is allowed."""
    found = steps_of(tmp_path, sheet, model, four_wire=four_wire)[step]["ratio"]
    assert found == pytest.approx(ratio, rel=0.25, abs=0.02)


def test_four_wires_are_what_helps_a_bench_meter_on_two(tmp_path):
    """The sheet insists on four wires, so the shipped stator is judged; the transformer is not, by two."""
    steps = steps_of(tmp_path, "plover-80", "bench-50000", four_wire=False)
    assert not steps["lighting"]["can_judge"]
    assert steps["lighting"]["would_help"] == "the 50 Ω range, 4-wire"
    assert steps_of(tmp_path, "plover-80", "bench-50000")["lighting"]["can_judge"]


def test_the_facts_for_programs_are_plain_json(tmp_path):
    """Infinite degrees of freedom are null."""
    facts = budget_facts(reports_for(tmp_path, "plover-80", "bench-6-digit"))
    text = json.dumps(facts, allow_nan=False)
    assert json.loads(text)["steps"][0]["terms"][0]["name"] == "winding temperature"


def test_a_bench_file_is_needed():
    """A sheet alone has no meter."""
    with pytest.raises(InputImpossible, match="bench file"):
        budget_lines(check_files([CONFIGS / "sheets" / "quern-12.toml"]))


def test_a_strap_has_an_upper_limit_for_its_tolerance(tmp_path):
    """And the table says so."""
    reports = reports_for(tmp_path, "plover-80", "bench-6-digit")
    (line,) = (line for line in budget_lines(reports) if line.startswith("earth strap  "))
    assert "at most 0.0500 Ω" in line
    assert [step["step"] for step in budget_facts(reports)["steps"] if step["upper_only"]] == ["earth strap"]
