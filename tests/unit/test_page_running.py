"""Settings of a running bench changed on its page: the file keeps its comments, or stays as it is."""

from __future__ import annotations

import shutil

import pytest

from acquire.errors import SteadyohmError
from acquire.files.settings import load_bench
from acquire.page.running import Running, rewritten
from tests.pure_bench import CONFIGS
from tests.whole_bench import bench_file


@pytest.fixture
def running(tmp_path):
    """A bench file whose sheet and meter file lie beside it, and how often the bench was told to read it."""
    for name in ("sheets/plover-80.toml", "sheets/quern-12.toml", "meters/bench-6-digit.toml"):
        shutil.copy(CONFIGS / name, tmp_path)
    own = [
        (f'"{CONFIGS}/sheets/plover-80.toml"', '"plover-80.toml" # what is wound'),
        (f'"{CONFIGS}/meters/bench-6-digit.toml"', '"bench-6-digit.toml"'),
    ]
    told = []
    made = Running(bench_file(tmp_path, meter="tcp:127.0.0.1:9", changes=own), lambda: told.append(1))
    return made, told


def test_what_the_file_says_is_shown_with_what_there_is_to_choose(running):
    fields = {each["name"]: each for each in running[0].state({})["fields"]}
    assert fields["sheet"]["value"] == "folder/plover-80.toml"
    assert "folder/quern-12.toml" in dict(fields["sheet"]["choices"])
    assert (fields["temperature"]["value"], fields["temperature"]["choices"]) == ("22.5 °C", None)
    assert not {"name", "batch", "file"} & set(fields)  # those of setup alone


async def test_a_change_keeps_the_comments_and_the_bench_reads_it(running):
    made, told = running
    answer = await made.change({"operator": "Ida", "sheet": "folder/quern-12.toml"})
    assert (answer["changed"], told) == (["operator", "sheet"], [1])
    bench = load_bench(made.file)
    assert (bench.operator, bench.sheet.name) == ("Ida", "quern-12.toml")
    assert "# what is wound" in made.file.read_text(encoding="utf-8")
    await made.change({"operator": ""})
    assert load_bench(made.file).operator == ""


async def test_what_makes_no_bench_changes_nothing(running):
    made, told = running
    before = made.file.read_bytes()
    for body in (
        {"purpose": "sightseeing"},
        {"sheet": "folder/../secret.toml"},
        {"temperature": "warm"},
        {"operator": 7},
        {"operator": "x" * 500},
    ):
        with pytest.raises(SteadyohmError):
            await made.change(body)
    assert made.file.read_bytes() == before
    assert not told
    assert not list(made.file.parent.glob(".*"))


def test_a_text_is_changed_where_it_stands():
    text = '[bench] # here\noperator = "A"   # who\nname = "b"\n'
    assert rewritten(text, {"operator": "B"}) == text.replace('"A"', '"B"')
