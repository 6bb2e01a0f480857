"""Setting up: one thing at a time, nothing outside the folder, every fault a sentence."""

from __future__ import annotations

import asyncio
from dataclasses import replace

import pytest

from acquire.clock import HandClock
from acquire.errors import FileInvalid, SteadyohmError
from acquire.files.shipped import shipped
from acquire.page.backend import About
from acquire.page.setup import SettingUp
from acquire.page.stream import Stream
from acquire.page.view import BenchView
from acquire.records import Purpose
from drivers.errors import MeterError
from drivers.find import SearchStep
from drivers.meter import Identity

REFUSED = (SteadyohmError, MeterError)
METER = SearchStep("found", 1, 1, "tcp:127.0.0.1:5025", "It answers.", driver="scpi")


@pytest.fixture
def setup(tmp_path):
    """A setting up whose search finds one meter, and whose bench file is what a test says."""

    async def search(places):
        yield SearchStep("looking", 0, 2, "somewhere", "Listening.")
        yield METER

    def text_of(wanted):
        return made.text or str(wanted)

    async def start(file):
        made.started.append(file)
        if made.refused:
            raise SteadyohmError("It cannot be opened.")
        made.stream.mode = "bench"

    stream = Stream(BenchView(About("setup", Purpose.FINAL, "", "", "s")), "setup")
    setup = SettingUp(tmp_path, stream, HandClock(), search, text_of, start)
    made = type("Made", (), {"setup": setup, "stream": stream, "text": "", "started": [], "refused": False})()
    return made


async def post(made, what, **body):
    deed = made.setup.posts()[f"/setup/{what}"]
    return await deed(body)


async def searched(made):
    assert await post(made, "search") == {"searching": True}
    await made.setup._searching


WISH = {"meter": 0, "sheet": "shipped/plover-80.toml", "model": "shipped/bench-6-digit.toml"}


async def test_a_search_tells_its_progress_and_what_it_found(setup):
    line = setup.stream.open()
    await line.take(setup.stream.whole)
    await searched(setup)
    told = (await line.take(setup.stream.whole)).decode()
    assert told.count("event: setup") == 3  # listening, found, and the end
    state = await setup.setup.state({})
    assert (state["searching"], [each["driver"] for each in state["meters"]]) == (False, ["scpi"])
    fields = {each["name"]: each for each in state["fields"]}
    assert "shipped/plover-80.toml" in dict(fields["sheet"]["choices"])
    assert (fields["purpose"]["value"], fields["file"]["value"]) == ("final", "bench.toml")


@pytest.mark.parametrize("body", [{"tcp": "x"}, {"tcp": ["a"] * 9}, {"tcp": ["no port"]}, {"tcp": [7]}])
async def test_addresses_that_are_none_are_refused(setup, body):
    with pytest.raises(REFUSED):
        await post(setup, "search", **body)


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"meter": 1},
        {"meter": -1},
        {"meter": True},
        {"driver": "scpi"},
    ],
)
async def test_a_meter_that_is_none_is_refused(setup, body):
    await searched(setup)
    with pytest.raises(REFUSED):
        await post(setup, "try", **body)


@pytest.mark.parametrize(
    "name", ["", "a", "../a.toml", "a/b.toml", ".a.toml", "a\x00.toml", "ä.toml", "a" * 80 + ".toml", 7]
)
async def test_a_bench_file_stays_in_the_folder(setup, name, tmp_path):
    await searched(setup)
    with pytest.raises(REFUSED):
        await post(setup, "write", file=name, **WISH)
    assert list(tmp_path.iterdir()) == []


async def test_a_name_that_is_taken_is_refused_even_by_a_link_that_leads_nowhere(setup, tmp_path):
    await searched(setup)
    (tmp_path / "a.toml").write_text("mine", encoding="utf-8")
    (tmp_path / "b.toml").symlink_to(tmp_path.parent / "elsewhere.toml")
    for name in ("a.toml", "b.toml"):
        with pytest.raises(SteadyohmError, match="exists already"):
            await post(setup, "write", file=name, **WISH)
    assert (tmp_path / "a.toml").read_text(encoding="utf-8") == "mine"
    assert not (tmp_path.parent / "elsewhere.toml").exists()


async def test_a_file_that_makes_no_bench_is_taken_back_with_its_faults(setup, tmp_path):
    await searched(setup)
    setup.text = "[bench]\n"
    with pytest.raises(FileInvalid) as refused:
        await post(setup, "write", file="a.toml", **WISH)
    assert len(refused.value.faults) > 2
    assert list(tmp_path.iterdir()) == []


async def test_only_a_bench_file_of_the_folder_is_started(setup, tmp_path):
    (tmp_path / "b.toml").write_text('[bench]\nname = "left"\n[meter]\n', encoding="utf-8")
    (tmp_path / "sheet.toml").write_text("[sheet]\n", encoding="utf-8")
    outside = tmp_path.parent / "outside.toml"
    outside.write_text('[bench]\nname = "x"\n[meter]\n', encoding="utf-8")
    (tmp_path / "link.toml").symlink_to(outside)
    for name in ("sheet.toml", "link.toml", "../outside.toml", "/etc/passwd", ""):
        with pytest.raises(REFUSED):
            await post(setup, "start", file=name)
    assert setup.started == []
    setup.refused = True
    with pytest.raises(SteadyohmError, match="It cannot be opened"):
        await post(setup, "start", file="b.toml")
    setup.refused = False
    assert await post(setup, "start", file="b.toml") == {"started": True}
    assert [path.name for path in setup.started] == ["b.toml", "b.toml"]


async def test_a_link_that_is_not_there_says_so_on_the_page(setup):
    setup.setup.meters = [replace(METER, address="tcp:127.0.0.1:9")]
    await post(setup, "try", meter=0)
    await asyncio.wait_for(setup.setup._trying, 5.0)
    link = setup.stream.view.state()["link"]
    assert link["ok"] is False
    assert "127.0.0.1:9" in link["text"]


STATUS14 = bytes.fromhex("2b 30 31 32 33 20 34 21 00 00 20 00 0d 0a")
"""Frame status14-01 of tests/data/frames.json: 12.3 ohm on a display of 6000 counts."""


@pytest.mark.parametrize(
    ("driver", "heard", "model", "proposed"),
    [
        ("status14", STATUS14, "", "shipped/hand-6000.toml"),
        ("parity11", b"", "", "shipped/hand-2000.toml"),
        ("scpi", b"", "WREN 9", "folder/ours.toml"),
        ("scpi", b"", "", "shipped/bench-50000.toml"),
    ],
)
async def test_a_meter_file_is_proposed_by_name_or_display(setup, tmp_path, driver, heard, model, proposed):
    """Never the first of the alphabet: one that bears the meter's name, else one of as many counts."""
    text = shipped("meters", "bench-50000.toml").read_text(encoding="utf-8")
    (tmp_path / "ours.toml").write_text(text.replace('"bench-50000"', '"wren-9"'), encoding="utf-8")
    identity = Identity(model=model)
    made = SearchStep("found", 1, 1, "tcp:127.0.0.1:1", "", driver=driver, identity=identity, heard=heard)
    setup.setup.meters = [made]
    assert (await setup.setup.state({}))["meters"][0]["model"] == proposed


async def test_a_meter_file_is_proposed_by_the_ranges_that_the_meter_names(setup):
    made = SearchStep("found", 1, 1, "tcp:127.0.0.1:1", "", driver="scpi")
    setup.setup.meters = [made]
    setup.setup._ranges[made.address] = frozenset({100.0, 1e3, 1e5})
    assert (await setup.setup.state({}))["meters"][0]["model"] == "shipped/bench-6-digit.toml"
    assert (await setup.setup.state({}))["typed_model"] == "shipped/hand-2000.toml"
