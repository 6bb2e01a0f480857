"""Entries in the menu and tasks at log-in: each form says by its own rules what is started."""

import plistlib
import re
import shlex
import shutil
import subprocess
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from system import desktop

WORDS = ("/opt/a b/python", "-m", "acquire", "run", '/home/o/lot 50% "x" $HOME \\ `y` & <z>/bench.toml')
TASK = "{http://schemas.microsoft.com/windows/2004/02/mit/task}"


def environment(folder):
    """Of somebody whose folders are all in one."""
    return {"HOME": str(folder), "APPDATA": str(folder / "Roaming"), "LOCALAPPDATA": str(folder / "Local"),
            "USERDOMAIN": "SHOP", "USERNAME": "O & P"}  # fmt: skip


def unquoted_exec(value):
    """Words of an Exec key, read by the two rules of the specification: string escapes, then quotes."""
    text = re.sub(r"\\(.)", lambda found: {"s": " ", "n": "\n", "\\": "\\"}[found[1]], value)
    words = re.findall(r'"((?:[^"\\]|\\.)*)"', text)
    return tuple(re.sub(r"\\(.)", r"\1", word).replace("%%", "%") for word in words)


@given(st.lists(st.text(st.characters(min_codepoint=32, exclude_categories=["C"]), min_size=1), min_size=1))
def test_a_desktop_entry_starts_exactly_these_words(words):
    starter = desktop.linux_menu(words, "steadyohm", {"HOME": "/home/o"})
    ((path, content),) = starter.files.items()
    assert path == Path("/home/o/.local/share/applications/steadyohm.desktop")
    entry = dict(line.split("=", 1) for line in content.decode().split("\n")[1:-1])
    assert unquoted_exec(entry["Exec"]) == tuple(words)


def test_a_user_unit_starts_exactly_these_words_and_its_link_switches_it_on(tmp_path):
    """By systemd's own reading where it is installed."""
    starter = desktop.linux_login("lot", WORDS, "steadyohm lot", environment(tmp_path))
    file = starter.put()
    assert starter.link.resolve() == file
    text = file.read_text(encoding="utf-8")
    assert '"/home/o/lot 50%% \\"x\\" $$HOME \\\\ `y` & <z>/bench.toml"' in text
    assert "Type=notify" in text
    if analyze := shutil.which("systemd-analyze"):
        file.write_text(text.replace("/opt/a b/python", "/bin/true"), encoding="utf-8")
        done = subprocess.run(
            [analyze, "verify", "--user", file], capture_output=True, text=True, check=False
        )
        assert file.name not in done.stderr, done.stderr
    assert starter.take_away()
    assert not starter.take_away()
    assert not file.exists()


def test_a_launch_agent_and_a_script_for_the_finder_start_exactly_these_words(tmp_path):
    starter = desktop.mac_login("lot", WORDS, "steadyohm lot", environment(tmp_path))
    agent = plistlib.loads(starter.put().read_bytes())
    assert tuple(agent["ProgramArguments"]) == WORDS
    assert agent["RunAtLoad"] is True
    script = desktop.mac_menu(WORDS, "steadyohm", environment(tmp_path)).put()
    assert script.stat().st_mode & 0o111 == 0o111
    assert (
        tuple(shlex.split(script.read_text(encoding="utf-8").splitlines()[1].removeprefix("exec "))) == WORDS
    )


def test_a_task_and_an_entry_in_the_start_menu_start_exactly_these_words(tmp_path):
    """XML that any parser reads; the scheduler is told to take it, and to forget it."""
    starter = desktop.windows_login("lot", WORDS, "steadyohm lot", environment(tmp_path))
    ((path, content),) = starter.files.items()
    task = ET.fromstring(content.decode("utf-16").partition("?>")[2])  # noqa: S314  (our own)
    assert task.find(f".//{TASK}Command").text == WORDS[0]
    assert task.find(f".//{TASK}Arguments").text == subprocess.list2cmdline(WORDS[1:])
    assert task.find(f".//{TASK}LogonTrigger/{TASK}UserId").text == "SHOP\\O & P"
    assert starter.told[0][-2:] == ("/XML", str(path))
    assert starter.told[1][:2] == ("schtasks", "/Delete")
    link = desktop.windows_menu(WORDS, "steadyohm", environment(tmp_path)).put()
    url = link.read_text(encoding="utf-8").split("URL=")[1].strip()
    script = tmp_path / "Local" / "steadyohm" / "setup.cmd"
    assert url == script.as_uri()
    assert subprocess.list2cmdline(WORDS).replace("%", "%%") in script.read_text(encoding="utf-8")


def test_what_a_system_refuses_is_an_error_with_its_words(tmp_path):
    starter = desktop.Starter(
        {tmp_path / "a": b""}, None, (("sh", "-c", "echo no such task >&2; exit 1"), ())
    )
    with pytest.raises(OSError, match="no such task"):
        starter.put()


def test_names_are_letters_digits_and_hyphens():
    assert [desktop.plain_name(name) for name in ("Bench 1", "con", "Ω", "a/../b")] == [
        "Bench-1", "con", "bench", "a-b",
    ]  # fmt: skip
