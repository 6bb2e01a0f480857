"""Files that many benches share: whole, by hash, from the list; a share that is away or lies harms nobody."""

import contextlib
import shutil
import subprocess
import threading
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from acquire.cli import app
from acquire.errors import InputImpossible
from acquire.files.shared import LIST, SharedSettings, bounded, fetch, offered, write_list
from tests.waiting import crowding
from tests.whole_bench import CONFIGS


@pytest.fixture
def share(tmp_path):
    """A shared folder with a list."""
    folder = tmp_path / "share"
    for name in ("sheets/plover-80.toml", "meters/hand-2000.toml", "wire/spools.toml"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(CONFIGS / name, folder / name)
    (folder / ".git").mkdir()
    (folder / ".git" / "secret.toml").write_text("x = 1")
    write_list(folder)
    return folder


def settings(share, **more):
    """As a bench file has it."""
    return SharedSettings.model_validate(
        {"from": str(share), "into": str(share.parent / "here"), **more}, context={"folder": share.parent}
    )


def test_files_are_copied_once_and_again_when_they_change(share):
    """Into the same places, byte for byte; hidden folders stay out."""
    first = fetch(settings(share))
    assert sorted(first.taken) == ["meters/hand-2000.toml", "sheets/plover-80.toml", "wire/spools.toml"]
    here = share.parent / "here"
    assert (here / "sheets/plover-80.toml").read_bytes() == (share / "sheets/plover-80.toml").read_bytes()
    assert fetch(settings(share)).taken == []
    (share / "wire/spools.toml").write_text("# other\n")
    write_list(share)
    assert fetch(settings(share)).taken == ["wire/spools.toml"]
    assert not list(here.rglob(".*"))


def test_the_list_is_one_that_other_programs_read(share):
    """`sha256sum --check`, coreutils."""
    done = subprocess.run(
        ["sha256sum", "--check", "--strict", LIST], cwd=share, capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert set(offered(share)) == {"meters/hand-2000.toml", "sheets/plover-80.toml", "wire/spools.toml"}


def test_without_a_list_every_file_counts(share):
    """A checked-out git tree as it is."""
    (share / LIST).unlink()
    assert set(offered(share)) == {"meters/hand-2000.toml", "sheets/plover-80.toml", "wire/spools.toml"}


def test_a_file_that_differs_from_the_list_is_left_and_told(share):
    """Half copied, or changed by somebody who did not write the list."""
    fetch(settings(share))
    (share / "sheets/plover-80.toml").write_text("# a new one\n")
    write_list(share)
    (share / "sheets/plover-80.toml").write_text("# a n")
    found = fetch(settings(share))
    assert found.taken == []
    assert "differs" in found.refused["sheets/plover-80.toml"]
    here = share.parent / "here" / "sheets/plover-80.toml"
    assert here.read_bytes() == (CONFIGS / "sheets/plover-80.toml").read_bytes()


def test_a_share_that_is_away_keeps_nobody(share):
    """Nor one that never answers, as a dead mount does."""
    fetch(settings(share))
    shutil.rmtree(share)
    share.mkdir()
    (share / LIST).touch()
    gone = threading.Event()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("acquire.files.shared.PATIENCE_S", 0.2)
        patch.setattr("acquire.files.shared.read_file", lambda *_: gone.wait(30.0))
        began_s = time.monotonic()
        assert "does not answer" in fetch(settings(share)).away
        assert time.monotonic() - began_s < 2.0 * crowding()
        gone.set()
    (share / LIST).unlink()
    share.rmdir()
    assert fetch(settings(share)).away == "" or not fetch(settings(share)).taken
    assert (share.parent / "here" / "sheets/plover-80.toml").exists()


@pytest.mark.parametrize(
    "name",
    [
        "../outside.toml",
        "/etc/outside.toml",
        "a/../../b.toml",
        ".hidden/x.toml",
        "x.py",
        "a\\b.toml",
        "./a.toml",
    ],
)
def test_a_list_cannot_name_what_lies_elsewhere(share, name):
    """Whoever writes it writes into the folder of copies and nowhere else."""
    (share / LIST).write_text(f"{'0' * 64}  {name}\n")
    with pytest.raises(InputImpossible, match="not a hash and name"):
        offered(share)
    assert "not a hash and name" in fetch(settings(share)).away


@given(st.text(max_size=80))
def test_any_list_is_answered(tmp_path_factory, text):
    """With names inside the folder, or a sentence."""
    folder = tmp_path_factory.mktemp("share")
    (folder / LIST).write_bytes(text.encode("utf-8", "replace"))
    with contextlib.suppress(InputImpossible):
        assert all(".." not in name for name in offered(folder))


def test_too_large_a_file_is_refused(share):
    """It was put there by mistake."""
    (share / "sheets/big.toml").write_bytes(b"#" * 1_100_000)
    with pytest.raises(InputImpossible, match=r"big\.toml is larger than 1 MB"):
        write_list(share)
    (share / LIST).unlink()
    assert fetch(settings(share)).refused == {"sheets/big.toml": "it cannot be read (it is larger than 1 MB)"}


def test_files_without_an_end_fill_no_memory(share):
    """As the list, or among the copies."""
    here = share.parent / "here"
    assert fetch(settings(share)).refused == {}
    (here / "wire/spools.toml").unlink()
    (here / "wire/spools.toml").symlink_to("/dev/zero")
    assert fetch(settings(share)).taken == ["wire/spools.toml"], "whatever lay there is replaced"
    assert not (here / "wire/spools.toml").is_symlink()

    (share / LIST).unlink()
    (share / LIST).symlink_to("/dev/zero")
    assert "a device" in fetch(settings(share)).away
    (share / LIST).unlink()
    (share / LIST).write_bytes(b"#" * 2_000_001)
    assert "larger than 2 MB" in fetch(settings(share)).away


def test_the_command_writes_the_list(share, tmp_path):
    """And says so; a folder without files is bad input."""
    said = CliRunner().invoke(app, ["index", str(share)])
    assert said.exit_code == 0
    assert "lists 3 files" in said.output
    for folder in (tmp_path / "nowhere", tmp_path / "empty"):
        if folder.name == "empty":
            folder.mkdir()
        with pytest.raises(InputImpossible):
            write_list(folder)


def test_work_that_fails_says_so_through_the_thread():
    """Not by silence."""
    with pytest.raises(ZeroDivisionError):
        bounded(lambda: 1 // 0, 1.0)
