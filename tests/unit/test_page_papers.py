"""Papers and photos asked for on the page: what is refused, what is kept, what is shown again."""

from __future__ import annotations

import asyncio
import base64
import hashlib
import json

import pytest

from acquire.page.backend import Unfit, Unknown
from acquire.page.papers import Papers, study_in
from acquire.page.stream import spelt_json
from acquire.records import Outcome, Purpose
from tests.known_records import NOON_S
from tests.known_visits import DAY_S, SERIAL, journal_with, shop_day, visit

JPEG = b"\xff\xd8\xff\xe0 invented"


@pytest.fixture
def papers(tmp_path):
    noted = []

    async def note(*told):
        noted.append(told)

    return Papers(tmp_path, tmp_path / "bench.toml", note), noted


async def test_a_photo_is_kept_under_its_hash_and_shown_as_it_was(papers, tmp_path):
    made, noted = papers
    digest = hashlib.sha256(JPEG).hexdigest()
    answer = await made.keep_photo({"serial": "A1", "jpeg": base64.b64encode(JPEG).decode()})
    assert answer["address"] == f"/photo?name={digest}.jpg"
    assert noted == [("A1", digest)]
    assert await made.photo({"name": f"{digest}.jpg"}) == (JPEG, "image/jpeg")
    (tmp_path / "photos" / f"{digest}.jpg").write_bytes(JPEG + b"!")
    with pytest.raises(Unknown, match="was changed"):
        await made.photo({"name": f"{digest}.jpg"})


@pytest.mark.parametrize(
    "body",
    [
        {"serial": "A1", "jpeg": "no base64 §"},
        {"serial": "A1", "jpeg": base64.b64encode(b"<svg>").decode()},
        {"serial": "", "jpeg": base64.b64encode(JPEG).decode()},
        {"jpeg": 7},
    ],
)
async def test_what_is_no_photo_of_a_unit_is_refused_and_nothing_kept(papers, tmp_path, body):
    made, noted = papers
    with pytest.raises(Unfit):
        await made.keep_photo(body)
    assert not noted
    assert not (tmp_path / "photos").exists()


async def test_only_papers_and_photos_can_be_opened(papers):
    made, _ = papers
    for words in ({"name": "../journal.db"}, {"name": "0" * 64}, {}):
        with pytest.raises(Unknown):
            await made.photo(words)
        with pytest.raises(Unknown):
            await made.paper(words)
    with pytest.raises(Unfit):
        await made.issue({"kind": "banknote", "serial": "A1"})


@pytest.fixture(scope="module")
def journal(tmp_path_factory):
    """Eight units of one batch."""
    records = []
    for number in range(8):
        factors = {"fast charge": 1.0 + 0.003 * ((number * 5) % 8 - 4)}
        records += visit(f"PL80-{number:04d}", utc_s=NOON_S + 600.0 * number, factors=factors)
    return journal_with(tmp_path_factory.mktemp("journal"), records)


async def test_the_report_of_a_batch_is_the_one_that_a_terminal_prints(journal):
    """As blocks with their kinds, drawings among them; without a name, the names there are."""
    papers = Papers(journal, journal, None)
    told = json.loads(spelt_json(await papers.batch({"name": "lot 7"})))
    blocks = told["document"]["blocks"]
    assert (told["names"], told["document"]["title"]) == (["lot 7"], "Batch lot 7")
    assert blocks[0]["kind"] == "result"
    assert (blocks[0]["mark"], blocks[0]["word"]) == ("pass", "8 of 8 passed at first")
    assert any(block["kind"] == "picture" and block["svg"].startswith("<svg") for block in blocks)
    assert len([block for block in blocks if block["kind"] == "table"][-1]["rows"]) == 8
    assert (await papers.batch({}))["document"] is None
    for name in ('"; drop table entry; --', "--html", "\0"):
        with pytest.raises(Unknown):
            await papers.batch({"name": name})


@pytest.fixture
def came_back(tmp_path):
    """A unit, and the same two days later with a shorter winding."""
    how = {"purpose": Purpose.RETURNED, "factors": {"fast charge": 0.9}, "outcome": Outcome.FAIL}
    return journal_with(tmp_path, [*shop_day(), *visit(utc_s=NOON_S + 2 * DAY_S, **how)])


async def test_a_unit_that_came_back_is_told_then_and_now(came_back):
    papers = Papers(came_back, came_back, None)
    told = json.loads(spelt_json(await papers.returned({"serial": SERIAL})))["document"]
    [pairs] = [block for block in told["blocks"] if block["kind"] == "table"]
    rows = {row[0]: row[4:] for row in pairs["rows"]}
    assert [column["head"] for column in pairs["columns"]][2:5] == ["Then", "Now", "Change"]
    assert rows["fast charge"][0].startswith("-10.00 ±")
    assert (rows["fast charge"][1], rows["trigger"][1]) == ("changed", "no change proven")
    with pytest.raises(Unknown):
        await papers.returned({"serial": "nobody"})


async def test_a_report_that_nobody_waits_for_any_more_is_ended(journal):
    task = asyncio.create_task(Papers(journal, journal, None).batch({"name": "lot 7"}))
    await asyncio.sleep(0.1)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    assert task.cancelled()


async def test_only_records_of_studies_are_offered(tmp_path):
    """The simulation's truth, or orders, may lie beside them."""
    (tmp_path / "truth.jsonl").write_text('{"hands": "touch"}\n', encoding="utf-8")
    (tmp_path / "torn.jsonl").write_text('{"study": ', encoding="utf-8")
    (tmp_path / "study-1.jsonl").write_text('{"study": 1, "subject": {}}\n', encoding="utf-8")
    assert (await study_in(tmp_path, {}))["names"] == ["study-1.jsonl"]
    with pytest.raises(Unknown):
        await study_in(tmp_path, {"name": "truth.jsonl"})
