"""A sheet changed on the page: comments stay, faults are told, nothing half is written."""

from __future__ import annotations

import shutil

import pytest

from acquire.page.sheet_edit import SheetEditor, contents, rewritten
from acquire.page.shelf import all_files
from acquire.sheets import load_sheet
from tests.pure_bench import CONFIGS

SHEETS = sorted((CONFIGS / "sheets").glob("*.toml"))


@pytest.fixture
def ask(tmp_path):
    """Asks an editor whose folder has one sheet."""
    shutil.copy(CONFIGS / "sheets" / "plover-80.toml", tmp_path / "ours.toml")
    return SheetEditor(tmp_path, lambda: all_files(tmp_path)).answer


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_what_is_not_changed_stays_byte_for_byte(path):
    text = path.read_text(encoding="utf-8")
    assert rewritten(text, contents(text)) == text


async def test_a_winding_is_changed_and_every_pair_told(ask, tmp_path):
    status, seen = await ask({"file": "folder/ours.toml"})
    assert status == 200
    wanted = {key: seen[key] for key in ("sheet", "connector", "pin", "winding", "step")}
    wanted["winding"][0] |= {"resistance": "210 ohm", "acceptance": "3 %"}
    status, seen = await ask({"file": "folder/ours.toml", "wanted": wanted, "save": "ours.toml"})
    assert (status, seen["written"]) == (200, "ours.toml")
    first = next(each for each in seen["pairs"] if each["pair"] == ["1", "2"])
    assert first["nominal"] == "210.0 Ω"
    text = (tmp_path / "ours.toml").read_text(encoding="utf-8")
    assert text.startswith("# Plover 80: ignition plate")
    assert load_sheet(tmp_path / "ours.toml").branches


async def test_windings_come_and_go_and_a_shipped_sheet_is_saved_under_a_name_of_its_own(ask, tmp_path):
    file = "shipped/quern-12.toml"
    wanted = contents((CONFIGS / "sheets" / "quern-12.toml").read_text(encoding="utf-8"))
    wanted["winding"].append(
        {"at": None, "name": "spare", "between": ["U", "V"], "resistance": "12 ohm", "acceptance": "5 %"}
    )
    status, seen = await ask({"file": file, "wanted": wanted, "save": "own.toml"})
    assert status == 200, seen
    assert (status, [each["name"] for each in seen["winding"]][-1]) == (200, "spare")
    del wanted["winding"][-1]
    assert (await ask({"file": file, "wanted": wanted, "save": "ours.toml"}))[0] == 422  # taken
    status, seen = await ask({"file": "folder/own.toml", "wanted": wanted, "save": "own.toml"})
    assert status == 200
    assert "spare" not in (tmp_path / "own.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "change",
    [{"winding": 7}, {"winding": [{"at": 99}]}, {"connector": {"rows": "no"}}, {}],
)
async def test_what_makes_no_sheet_is_told_and_not_written(ask, tmp_path, change):
    before = (tmp_path / "ours.toml").read_bytes()
    wanted = {**contents(before.decode()), **change} if change else {"sheet": {}}
    status, answer = await ask({"file": "folder/ours.toml", "wanted": wanted, "save": "ours.toml"})
    assert status == 422
    assert answer["error"]
    assert (tmp_path / "ours.toml").read_bytes() == before
    assert not list(tmp_path.glob(".*"))
