"""Sockets where systems differ: taking a port, and the one by which systemd hears."""

from __future__ import annotations

import contextlib
import socket
import sys

if sys.platform == "win32":

    def take_port(listener: socket.socket) -> None:
        """Make ready to bind. SO_REUSEADDR would let two programs have the same port at once here."""
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)

    def tell_supervisor(_address: str, _message: str) -> bool:
        """Nobody here listens on a socket of files."""
        return False
else:

    def take_port(listener: socket.socket) -> None:
        """Make ready to bind: a port that was closed a moment ago is free."""
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)

    def tell_supervisor(address: str, message: str) -> bool:
        """Send one datagram to a socket of files; never waits.

        Args:
            address: its path; a leading "@" stands for an abstract socket.
            message: assignments, one a line (sd_notify(3)).

        Returns:
            Whether it was handed over.
        """
        path = "\0" + address[1:] if address.startswith("@") else address
        with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as out:
            out.settimeout(0)
            out.sendto(message.encode(), path)
            return True
        return False
