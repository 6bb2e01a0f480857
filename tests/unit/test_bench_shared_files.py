"""A bench that works by shared files: it takes new ones by itself or says that it works by old ones."""

import shutil
from pathlib import Path

import pytest

from acquire.bench import shared_files
from acquire.bench.shared_files import fetch_before
from acquire.files.shared import write_list
from tests.served_bench import WIDER, bench, rewrite
from tests.whole_bench import CONFIGS


@pytest.fixture
def share(tmp_path):
    """A shared folder with the sheet of the bench."""
    folder = tmp_path / "share"
    (folder / "sheets").mkdir(parents=True)
    shutil.copy(CONFIGS / "sheets/plover-80.toml", folder / "sheets")
    write_list(folder)
    (tmp_path / "files/sheets").mkdir(parents=True)
    shutil.copy(CONFIGS / "sheets/plover-80.toml", tmp_path / "files/sheets")
    return folder


def changes(share, more=""):
    """What the bench file has in place of its own sheet."""
    return [
        ('sheet = "plover-80.toml"', 'sheet = "files/sheets/plover-80.toml"'),
        ("[journal]", f'[files]\nfrom = "{share}"\n{more}\n[journal]'),
    ]


def widen(share):
    """A new sheet is put into the shared folder."""
    rewrite(share, "sheets/plover-80.toml", WIDER)
    write_list(share)


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Looks often."""
    monkeypatch.setattr(shared_files.Watch.__init__, "__defaults__", (0.05, None))


async def test_a_bench_says_that_it_works_by_an_old_sheet_and_takes_the_new_one_when_asked(tmp_path, share):
    """Once, with both hashes; after it was asked it has nothing to say."""
    async with bench(tmp_path, changes=changes(share)) as still:
        widen(share)
        await still.until(lambda b: b.notices("files.old"))
        old = still.daemon.pipeline.place.sheet.content_hash
        assert still.notices("files.old")[0].facts["sheet"][:2] == ("Plover 80", old)
        still.again.set()
        await still.until(lambda b: b.notices("files.taken"))
        assert still.daemon.pipeline.place.sheet.content_hash != old
        assert len(still.notices("files.old")) == 1
    assert not still.notices("files.away")


async def test_a_bench_takes_new_files_by_itself_where_it_may(tmp_path, share):
    """Between two units."""
    async with bench(tmp_path, changes=changes(share, "automatic = true")) as still:
        old = still.daemon.pipeline.place.sheet.content_hash
        widen(share)
        await still.until(lambda b: b.notices("files.taken"))
        assert still.daemon.pipeline.place.sheet.content_hash != old


async def test_a_bench_goes_on_with_its_copies_when_the_share_is_away(tmp_path, share):
    """And says so once."""
    async with bench(tmp_path, changes=changes(share)) as still:
        (share / "SHA256SUMS").write_text("nonsense")
        await still.until(lambda b: b.notices("files.away"))
        (share / "sheets/more.toml").write_text("# a new one\n")
        write_list(share)
        (share / "sheets/more.toml").write_text("# half")
        await still.until(lambda b: b.notices("files.not_fetched"))
        assert still.notices("files.not_fetched")[0].facts["others"] == 0


def test_files_come_before_the_bench_file_is_read(tmp_path, share):
    """A bench that is set up anew has no copies yet; one with other faults is left to whoever reads it."""
    shutil.rmtree(tmp_path / "files")
    file = tmp_path / "bench.toml"
    file.write_text(f'[files]\nfrom = "{share}"\n')
    fetch_before(file)
    assert (tmp_path / "files/sheets/plover-80.toml").exists()
    for text in ("nonsense", "[files]\nfrom = 3\n", "[bench]\n"):
        file.write_text(text)
        fetch_before(file)
    fetch_before(Path(tmp_path, "nothing.toml"))
