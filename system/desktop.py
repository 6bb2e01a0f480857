"""What starts a program without a terminal: an entry in the menu, a task at log-in; and if there is a screen.

The forms of all systems can be made on each; which one counts is decided here. Not for what is started.
"""

from __future__ import annotations

import os
import plistlib
import re
import shlex
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from xml.sax.saxutils import escape


@dataclass(frozen=True, slots=True)
class Starter:
    """Files by which a system starts something, all of them the user's own.

    Attributes:
        files: content by place; the first is the one that people see.
        link: a place that leads to the first file, by which it is switched on.
        told: program that switches it on, and the one that switches it off; empty where the files suffice.
    """

    files: Mapping[Path, bytes]
    link: Path | None = None
    told: tuple[Sequence[str], Sequence[str]] = field(default=((), ()))

    def put(self) -> Path:
        """Write everything anew; the file that people see.

        Raises:
            OSError: it cannot be written, or the system refuses it.
        """
        first = next(iter(self.files))
        for path, content in self.files.items():
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
            path.chmod(0o755 if path.suffix in (".command", ".desktop") else 0o644)
        if self.link is not None:
            self.link.parent.mkdir(parents=True, exist_ok=True)
            self.link.unlink(missing_ok=True)
            self.link.symlink_to(first)
        _tell(self.told[0])
        return first

    def take_away(self) -> bool:
        """Remove everything; whether there was something. Raises: OSError."""
        there = [path for path in (self.link, *self.files) if path is not None and os.path.lexists(path)]
        if there:
            _tell(self.told[1])
        for path in there:
            path.unlink()
        return bool(there)


def _tell(words: Sequence[str]) -> None:
    if not words:
        return
    done = subprocess.run(words, capture_output=True, check=False)  # noqa: S603  (the system's own program)
    if done.returncode:
        raise OSError(
            f"{words[0]}: {' '.join((done.stderr or done.stdout).decode(errors='replace').split())}"
        )


_WORD, _SCRIPTS = ("", "Scripts") if sys.platform == "win32" else (". ", "bin")
"""Windows has one script for each of its shells under the same name; the others are told to read it."""


def shown_where(folder: Path) -> tuple[str, Path]:
    """What a terminal is told so that it knows the programs of a Python environment: a word, and a script."""
    return _WORD, folder / _SCRIPTS / "activate"


def plain_name(text: str) -> str:
    """A name that may stand in a file's, a unit's and a label's name: letters, digits and hyphens."""
    return re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-") or "bench"


# ------------------------------------------------------------------ Linux


def linux_menu(words: Sequence[str], title: str, environment: Mapping[str, str]) -> Starter:
    """A desktop entry (freedesktop.org, Desktop Entry Specification 1.5) that opens a terminal."""
    data = Path(environment.get("XDG_DATA_HOME") or Path(environment["HOME"]) / ".local" / "share")
    lines = ["[Desktop Entry]", "Type=Application", f"Name={title}", f"Exec={_exec(words)}", "Terminal=true"]
    text = "\n".join([*lines, "Categories=Science;Electronics;", ""])
    return Starter({data / "applications" / "steadyohm.desktop": text.encode()})


def _exec(words: Sequence[str]) -> str:
    """Words of an Exec key: quoted, then the escapes of a string."""
    quoted = ('"' + re.sub(r'(["`$\\])', r"\\\1", word.replace("%", "%%")) + '"' for word in words)
    return " ".join(quoted).replace("\\", "\\\\")


def linux_login(name: str, words: Sequence[str], title: str, environment: Mapping[str, str]) -> Starter:
    """A systemd user unit, switched on by its link (systemd.unit(5)); quoting as systemd.service(5) says."""
    config = Path(environment.get("XDG_CONFIG_HOME") or Path(environment["HOME"]) / ".config")
    folder, unit = config / "systemd" / "user", f"steadyohm-{name}.service"
    quoted = (
        '"' + re.sub(r'(["\\])', r"\\\1", word.replace("%", "%%").replace("$", "$$")) + '"' for word in words
    )
    text = f"""[Unit]
Description={title.replace("%", "%%")}

[Service]
Type=notify
ExecStart={" ".join(quoted)}
Restart=on-failure
RestartSec=5

[Install]
WantedBy=default.target
"""
    return Starter({folder / unit: text.encode()}, folder / "default.target.wants" / unit)


# ------------------------------------------------------------------ macOS


def mac_menu(words: Sequence[str], title: str, environment: Mapping[str, str]) -> Starter:
    """A script that the Finder opens in a terminal."""
    text = f"#!/bin/sh\nexec {shlex.join(words)}\n"
    return Starter({Path(environment["HOME"]) / "Applications" / f"{title}.command": text.encode()})


def mac_login(name: str, words: Sequence[str], _title: str, environment: Mapping[str, str]) -> Starter:
    """A launch agent (launchd.plist(5)), started anew when it fails."""
    library, label = Path(environment["HOME"]) / "Library", f"local.steadyohm.{name}"
    agent = {
        "Label": label,
        "ProgramArguments": list(words),
        "RunAtLoad": True,
        "KeepAlive": {"SuccessfulExit": False},
        "StandardErrorPath": str(library / "Logs" / f"steadyohm-{name}.log"),
    }
    return Starter({library / "LaunchAgents" / f"{label}.plist": plistlib.dumps(agent)})


# ------------------------------------------------------------------ Windows


def windows_menu(words: Sequence[str], title: str, environment: Mapping[str, str]) -> Starter:
    """A link in the Start menu to a script, both plain text."""
    script = Path(environment["LOCALAPPDATA"]) / "steadyohm" / "setup.cmd"
    line = subprocess.list2cmdline(words).replace("%", "%%")
    commands = f"@echo off\r\nchcp 65001 >nul\r\n{line}\r\nif errorlevel 1 pause\r\n"
    menu = Path(environment["APPDATA"]) / "Microsoft" / "Windows" / "Start Menu" / "Programs"
    link = f"[InternetShortcut]\r\nURL={_file_url(script)}\r\n"
    return Starter({menu / f"{title}.url": link.encode(), script: commands.encode()})


def _file_url(path: Path) -> str:
    return path.absolute().as_uri()


def windows_login(name: str, words: Sequence[str], title: str, environment: Mapping[str, str]) -> Starter:
    """A task of the Task Scheduler (its XML schema 1.2, from memory): at log-in, as long as it takes."""
    file = Path(environment["LOCALAPPDATA"]) / "steadyohm" / f"{name}.xml"
    user = escape(f"{environment.get('USERDOMAIN', '.')}\\{environment.get('USERNAME', '')}")
    text = f"""<?xml version="1.0" encoding="UTF-16"?>
<Task version="1.2" xmlns="http://schemas.microsoft.com/windows/2004/02/mit/task">
  <RegistrationInfo><Description>{escape(title)}</Description></RegistrationInfo>
  <Triggers><LogonTrigger><UserId>{user}</UserId></LogonTrigger></Triggers>
  <Principals><Principal id="Author">
    <UserId>{user}</UserId><LogonType>InteractiveToken</LogonType>
  </Principal></Principals>
  <Settings>
    <DisallowStartIfOnBatteries>false</DisallowStartIfOnBatteries>
    <StopIfGoingOnBatteries>false</StopIfGoingOnBatteries>
    <ExecutionTimeLimit>PT0S</ExecutionTimeLimit>
    <RestartOnFailure><Interval>PT1M</Interval><Count>10</Count></RestartOnFailure>
  </Settings>
  <Actions Context="Author"><Exec><Command>{escape(words[0])}</Command>
    <Arguments>{escape(subprocess.list2cmdline(words[1:]))}</Arguments></Exec></Actions>
</Task>
"""
    task = f"steadyohm\\{name}"
    on = ("schtasks", "/Create", "/F", "/TN", task, "/XML", str(file))
    return Starter(
        {file: text.replace("\n", "\r\n").encode("utf-16")},
        None,
        (on, ("schtasks", "/Delete", "/F", "/TN", task)),
    )


# ------------------------------------------------------------------ here

menu, at_login = {
    "win32": (windows_menu, windows_login),
    "darwin": (mac_menu, mac_login),
}.get(sys.platform, (linux_menu, linux_login))

if sys.platform in ("win32", "darwin"):

    def has_screen(_environment: Mapping[str, str]) -> bool:
        """Whether a browser would show."""
        return True
else:

    def has_screen(environment: Mapping[str, str]) -> bool:
        """Whether a browser would show, in a window of its own."""
        return bool(environment.get("DISPLAY") or environment.get("WAYLAND_DISPLAY"))
