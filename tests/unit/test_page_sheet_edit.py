"""A sheet changed on the page: comments stay, faults are told, nothing half is written."""

from __future__ import annotations

import json
import shutil

import pytest

from acquire.errors import FileInvalid, SteadyohmError
from acquire.page.sheet_edit import SheetEditor, contents, rewritten
from acquire.page.shelf import Shelf
from acquire.page.stream import spelt_json
from acquire.sheets import load_sheet
from tests.pure_bench import CONFIGS

SHEETS = sorted((CONFIGS / "sheets").glob("*.toml"))


@pytest.fixture
def ask(tmp_path):
    """Asks an editor whose folder has one sheet."""
    shutil.copy(CONFIGS / "sheets" / "plover-80.toml", tmp_path / "ours.toml")
    return SheetEditor(tmp_path, Shelf(tmp_path)).answer


def through_the_page(plain):
    """As it comes back, where a whole number has lost its point."""
    return json.loads(
        spelt_json(plain),
        parse_float=lambda each: int(float(each)) if float(each).is_integer() else float(each),
    )


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_what_is_not_changed_stays_byte_for_byte(path):
    text = path.read_text(encoding="utf-8")
    assert rewritten(text, through_the_page(contents(text))) == text


async def test_a_winding_is_changed_and_every_pair_told(ask, tmp_path):
    wanted = (await ask({"file": "folder/ours.toml"}))["tables"]
    wanted["winding"][0] |= {"resistance": "210 ohm", "acceptance": "3 %"}
    seen = await ask({"file": "folder/ours.toml", "wanted": wanted, "save": "ours.toml"})
    assert seen["written"] == "ours.toml"
    first = next(each for each in seen["pairs"] if each["pair"] == ["1", "2"])
    assert first["nominal_ohm"] == pytest.approx(210.0, abs=0.1)  # with its strap
    text = (tmp_path / "ours.toml").read_text(encoding="utf-8")
    assert text.startswith("# Plover 80: ignition plate")
    assert load_sheet(tmp_path / "ours.toml").branches


async def test_windings_come_and_go_and_a_shipped_sheet_is_saved_under_a_name_of_its_own(ask, tmp_path):
    file = "shipped/quern-12.toml"
    wanted = contents((CONFIGS / "sheets" / "quern-12.toml").read_text(encoding="utf-8"))
    wanted["winding"].append(
        {"place": None, "name": "spare", "between": ["U", "V"], "resistance": "12 ohm", "acceptance": "5 %"}
    )
    seen = await ask({"file": file, "wanted": wanted, "save": "own.toml"})
    assert [each["name"] for each in seen["tables"]["winding"]][-1] == "spare"
    del wanted["winding"][-1]
    with pytest.raises(SteadyohmError, match="exists already"):
        await ask({"file": file, "wanted": wanted, "save": "ours.toml"})
    await ask({"file": "folder/own.toml", "wanted": wanted, "save": "own.toml"})
    assert "spare" not in (tmp_path / "own.toml").read_text(encoding="utf-8")


async def test_everything_that_a_sheet_can_state_is_stated(ask, tmp_path):
    """Straps, isolation, balance, turns and wire, a step's own limits: as text, and back."""
    wanted = (await ask({"file": "folder/ours.toml"}))["tables"]
    del wanted["winding"][2]["resistance"]  # of its wire from now on
    wanted["winding"][3]["turns"] = 231
    wanted["strap"][0]["upper"] = "60 mohm"
    wanted["isolation"].append(
        {"place": None, "groups": [["1", "2", "3"], ["4", "5", "6"]], "at_least": "20 Mohm"}
    )
    wanted["balance"].append(
        {"place": None, "name": "charge", "windings": ["slow charge", "fast charge"], "limit": "70 %"}
    )
    wanted["correction"].append(
        {
            "place": None,
            "name": "resin",
            "factors": [["10 °C", 0.66], ["40 °C", 1], ["60 °C", 2.3]],
            "source": "invented",
        }
    )
    wanted["step"][4] |= {"wires": 4, "slow": True}
    seen = await ask({"file": "folder/ours.toml", "wanted": wanted, "save": "ours.toml"})
    assert seen["tables"]["isolation"][1]["groups"] == [["1", "2", "3"], ["4", "5", "6"]]
    text, sheet = (tmp_path / "ours.toml").read_text(encoding="utf-8"), load_sheet(tmp_path / "ours.toml")
    assert "turns = 231" in text
    assert "wires = 4\n" in text
    assert "slow = true" in text
    assert sheet.balances[0].windings == ("slow charge", "fast charge")
    assert sheet.isolations[1].groups == (("1", "2", "3"), ("4", "5", "6"))
    trigger = next(each for each in sheet.branches if each.name == "trigger")
    assert 70.0 < trigger.reference_ohm < 95.0
    assert rewritten(text, through_the_page(contents(text))) == text


@pytest.mark.parametrize(
    ("groups", "told"),
    [
        ([["1", "99"], ["4"]], "99"),
        ([["1", "2"]], "group"),
        ([["1", "2"], ["2", "3"]], "2"),
        ("", "groups"),
        ("1, 2; 3", "groups"),
    ],
)
async def test_an_isolation_that_cannot_be_is_told_by_its_group(ask, groups, told):
    """A pin that is not there, one group alone, a pin on both sides, nothing at all."""
    wanted = (await ask({"file": "folder/ours.toml"}))["tables"]
    wanted["isolation"].append({"place": None, "groups": groups, "at_least": "5 Mohm"})
    with pytest.raises(FileInvalid) as refused:
        await ask({"file": "folder/ours.toml", "wanted": wanted})
    assert told in " ".join(map(str, refused.value.faults))


@pytest.mark.parametrize(
    "change",
    [
        {"winding": 7},
        {"winding": [{"place": 99}]},
        {"winding": [{"place": 0, "between": [None, {"a": None}]}]},
        {"connector": {"rows": "§"}},
        {"sheet": 7},
        {},
    ],
)
async def test_what_makes_no_sheet_is_told_and_not_written(ask, tmp_path, change):
    before = (tmp_path / "ours.toml").read_bytes()
    wanted = {**contents(before.decode()), **change} if change else {"sheet": {}}
    with pytest.raises(SteadyohmError):
        await ask({"file": "folder/ours.toml", "wanted": wanted, "save": "ours.toml"})
    assert (tmp_path / "ours.toml").read_bytes() == before
    assert not list(tmp_path.glob(".*"))
