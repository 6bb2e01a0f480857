"""Papers and photos asked for on the page: what is refused, what is kept, what is shown again."""

from __future__ import annotations

import base64
import hashlib

import pytest

from acquire.page.behind import Unknown
from acquire.page.papers import Papers

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
    status, answer = await made.keep_photo({"serial": "A1", "jpeg": base64.b64encode(JPEG).decode()})
    assert (status, answer["address"]) == (200, f"/photo?name={digest}.jpg")
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
    status, answer = await made.keep_photo(body)
    assert (status, answer["error"][-1], noted) == (422, ".", [])
    assert not (tmp_path / "photos").exists()


async def test_only_papers_and_photos_can_be_opened(papers):
    made, _ = papers
    for words in ({"name": "../journal.db"}, {"name": "0" * 64}, {}):
        with pytest.raises(Unknown):
            await made.photo(words)
        with pytest.raises(Unknown):
            await made.paper(words)
    assert (await made.issue({"kind": "banknote", "serial": "A1"}))[0] == 422
