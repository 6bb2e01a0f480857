"""Serial ports, connections and event devices: who holds one, who may open one, and keeping it to oneself.

As far as the system tells; where it does not, silent. Not for bytes.
"""

from __future__ import annotations

import contextlib
import os
import sys
from ipaddress import ip_address
from pathlib import Path

EXAMPLE = {"win32": "COM3", "darwin": "/dev/cu.usbserial-10"}.get(sys.platform, "/dev/ttyUSB0")
"""How a serial port is called here."""


SOMEBODY = "another program (the system does not tell which)"
_ESTABLISHED = "01"  # linux/include/net/tcp_states.h


def holders_of(device: str) -> list[str]:
    """Name the processes, other than this one, that have `device` open.

    Args:
        device: real path, links resolved.

    Returns:
        For each e.g. `minicom (process 4711)`; empty where there is none or the system does not tell (Linux
        shows only one's own processes unless one is root, others nothing).
    """
    own = str(os.getpid())
    return [
        f"{_name_of(process)} (process {process.name})"
        for process in Path("/proc").glob("[0-9]*")
        if process.name != own and _has_open(process, device)
    ]


def connected_to(hosts: set[str], port: int) -> list[str]:
    """Name the processes, other than this one, that hold a TCP connection to a place.

    Args:
        hosts: the place's addresses, in digits.
        port: its TCP port.

    Returns:
        As `holders_of`, and `SOMEBODY` for another user's; empty where the system tells nothing.
    """
    wanted, found = {f"{_in_hex(host)}:{port:04X}" for host in hosts}, []
    for table in ("/proc/net/tcp", "/proc/net/tcp6"):
        with contextlib.suppress(OSError):
            for line in Path(table).read_text(encoding="ascii").splitlines()[1:]:
                _, _, remote, state, *_, inode = line.split()[:10]
                device = f"socket:[{inode}]"
                if remote in wanted and state == _ESTABLISHED and not _has_open(Path("/proc/self"), device):
                    found += holders_of(device) or [SOMEBODY]
    return found


def _in_hex(host: str) -> str:
    """An address as the kernel's tables print it: words of 32 bits, each as it lies in memory."""
    parsed = ip_address(host.partition("%")[0])
    words = range(0, len(parsed.packed), 4)
    return "".join(f"{int.from_bytes(parsed.packed[at : at + 4], sys.byteorder):08X}" for at in words)


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


def names_by_id() -> dict[str, str]:
    """Names of serial ports that survive replugging, by the device that they lead to; Linux has such."""
    folder = Path("/dev/serial/by-id")
    if not folder.is_dir():
        return {}
    return {str(link.resolve()): str(link) for link in folder.iterdir()}


if sys.platform == "win32":
    REFUSED = "it is in use by another program, or you may not open it"
    """What it means that the system refuses to open a port."""

    CANNOT_SET: tuple[type[Exception], ...] = ()
    """What opening a port raises where it cannot be set as wanted, beside pyserial's own errors."""

    def is_pseudo(_path: str) -> bool:
        """Whether a port is a pseudo terminal."""
        return False

    def why_no_permission(device: str) -> str:
        """One sentence on how to get permission to open `device`: Windows says no to a port in use."""
        return f"Close the program that has {device} open; only one can."

    def claim(_number: int) -> bool:
        """Keep other programs out of an open port: it is so from the start."""
        return False

    def give_back(_number: int) -> None:
        """Let other programs in again."""

    def open_grabbed(_path: str) -> int:
        """Open the event device of a keyboard, so that no window gets its keys.

        Raises:
            OSError: it cannot be had.
        """
        raise OSError("only Linux keeps a keyboard from the windows: set the scanner to serial mode")
else:
    import fcntl
    import grp
    import termios

    REFUSED = "you may not open this port"
    CANNOT_SET = (termios.error,)
    _EVIOCGRAB = 0x40044590  # linux/input.h: _IOW('E', 0x90, int)

    def is_pseudo(path: str) -> bool:
        """Whether a port is a pseudo terminal, whose other end may hold it open for good reason."""
        return os.path.realpath(path).startswith(("/dev/pts/", "/dev/ttys"))

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

    def claim(number: int) -> bool:
        """Keep programs that know no file locks out of an open port, too; whether that went."""
        with contextlib.suppress(OSError):
            fcntl.ioctl(number, termios.TIOCEXCL)
            return True
        return False

    def give_back(number: int) -> None:
        """Let other programs in again."""
        with contextlib.suppress(OSError):
            fcntl.ioctl(number, termios.TIOCNXCL)

    def open_grabbed(path: str) -> int:
        """Open the event device of a keyboard, so that no window gets its keys.

        Raises:
            OSError: it cannot be had.
        """
        number = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
        try:
            fcntl.ioctl(number, _EVIOCGRAB, 1)
        except OSError:
            os.close(number)
            raise
        return number
