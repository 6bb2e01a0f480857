"""Shipped files are found beside the packages, and a missing one is said in a sentence."""

from __future__ import annotations

import sysconfig

import pytest

from acquire.errors import SteadyohmError
from acquire.files import shipped as module
from acquire.files.shipped import shipped


@pytest.mark.parametrize("parts", [("sheets",), ("sheets", "plover-80.toml"), ("meters", "hand-2000.toml")])
def test_shipped_files_are_there(parts):
    """In a source tree."""
    assert shipped(*parts).exists()


def test_an_installation_keeps_them_where_pip_puts_data(monkeypatch, tmp_path):
    """The second place is looked at when there is no source tree around."""
    monkeypatch.setattr(module, "__file__", str(tmp_path / "site" / "acquire" / "files" / "shipped.py"))
    monkeypatch.setattr(sysconfig, "get_path", lambda _name: str(tmp_path))
    file = tmp_path / "share" / "steadyohm" / "sheets" / "x.toml"
    file.parent.mkdir(parents=True)
    file.touch()
    assert shipped("sheets", "x.toml") == file


def test_a_missing_file_says_what_to_do():
    """The installation is broken."""
    with pytest.raises(SteadyohmError, match=r"sheets/nothing\.toml is missing\. Install steadyohm again\."):
        shipped("sheets", "nothing.toml")
