"""Files that somebody asked for: whole or not at all, never over a record, devices stay devices."""

import os
import sqlite3
import threading

import pytest

from acquire.errors import InputImpossible
from acquire.files.new_file import new_file


def put(path, content=b"new"):
    with new_file(path) as file:
        file.write(content)


def test_what_was_there_stays_until_the_new_one_is_whole(tmp_path):
    file = tmp_path / "out.csv"
    file.write_bytes(b"old")

    def broken_off():
        with new_file(file) as half:
            half.write(b"half")
            assert file.read_bytes() == b"old"
            raise KeyError

    with pytest.raises(KeyError):
        broken_off()
    assert [each.name for each in tmp_path.iterdir()] == ["out.csv"]
    put(file)
    assert file.read_bytes() == b"new"


@pytest.mark.parametrize("name", ["journal.db", "autumn.sqlite", "journal.db-wal", "journal.lock"])
def test_nothing_is_written_over_a_record(tmp_path, name):
    file = tmp_path / name
    if name.endswith(("db", "sqlite")):
        with sqlite3.connect(file) as record:
            record.execute("CREATE TABLE entry (id)")
        record.close()
    else:
        file.touch()
    before = file.read_bytes()
    (tmp_path / "link").symlink_to(file)
    for path in (file, tmp_path / "link"):
        with pytest.raises(InputImpossible, match="is a record"):
            put(path)
    assert file.read_bytes() == before


def test_a_folder_that_is_not_there_is_said_and_not_made(tmp_path):
    with pytest.raises(InputImpossible, match=f"there is no folder {tmp_path / 'none'}"):
        put(tmp_path / "none" / "c.html")
    assert list(tmp_path.iterdir()) == []


def test_a_pipe_is_written_into_and_a_link_stays_a_link(tmp_path):
    pipe, heard = tmp_path / "pipe", []
    os.mkfifo(pipe)
    reader = threading.Thread(target=lambda: heard.append(pipe.read_bytes()))
    reader.start()
    put(pipe)
    reader.join(5.0)
    assert heard == [b"new"]
    assert pipe.is_fifo()
    (tmp_path / "link").symlink_to(tmp_path / "far.csv")
    put(tmp_path / "link")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "far.csv").read_bytes() == b"new"


def test_names_that_cannot_be_are_told_in_a_sentence(tmp_path):
    (tmp_path / "round").symlink_to(tmp_path / "round")
    for path in (tmp_path, tmp_path / ("x" * 300), tmp_path / "no" / "where", tmp_path / "round"):
        with pytest.raises(InputImpossible, match=r"(cannot be written: .+|is a folder)\. Name a"):
            put(path)
    assert [each.name for each in tmp_path.iterdir()] == ["round"]
