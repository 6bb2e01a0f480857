"""Who holds a serial port, and who may open it, as far as the system tells. Linux only; elsewhere silent."""

from __future__ import annotations

import contextlib
import grp
import os
from pathlib import Path


def holders_of(device: str) -> list[str]:
    """Name the processes, other than this one, that have `device` open.

    Args:
        device: real path, links resolved.

    Returns:
        For each e.g. `minicom (process 4711)`; empty where there is none or the system does not tell (one
        sees only one's own processes unless root).
    """
    own = str(os.getpid())
    return [
        f"{_name_of(process)} (process {process.name})"
        for process in Path("/proc").glob("[0-9]*")
        if process.name != own and _has_open(process, device)
    ]


def _has_open(process: Path, device: str) -> bool:
    with contextlib.suppress(OSError):
        for entry in (process / "fd").iterdir():
            with contextlib.suppress(OSError):
                if os.readlink(entry) == device:  # noqa: PTH115 - a Path would be made for nothing, often
                    return True
    return False


def _name_of(process: Path) -> str:
    with contextlib.suppress(OSError):
        return (process / "comm").read_text(encoding="utf-8", errors="replace").strip() or "a program"
    return "a program"


def why_no_permission(device: str) -> str:
    """One sentence on how to get permission to open `device`."""
    try:
        owner = os.stat(device)  # noqa: PTH116 - the path is a device, not a file of ours
        group = grp.getgrgid(owner.st_gid).gr_name
    except (OSError, KeyError):
        return "Ask whoever looks after this machine for permission to use it."
    if owner.st_mode & 0o060 != 0o060:
        return f"Only its owner may use {device}; ask whoever looks after this machine."
    return (
        f"Join its group: `sudo usermod -aG {group} $USER`, then log out and in again "
        f"(the group {group!r} owns {device})."
    )
