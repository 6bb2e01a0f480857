"""Tells systemd that the daemon is ready, alive, busy with a reload, or about to stop.

The protocol is one datagram to the socket named in $NOTIFY_SOCKET (sd_notify(3)); a few lines do it. The
socket never blocks: a receiver whose queue is full must not hold up the bench. Without systemd nothing
happens. Not for deciding whether the daemon is alive: whoever feeds the watchdog must have looked.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass

from system.sockets import tell_supervisor


@dataclass(slots=True)
class Supervisor:
    """The service manager, if there is one.

    Attributes:
        address: of its socket, empty when nobody supervises; a leading "@" stands for an abstract socket.
        watchdog_s: longest silence it accepts, seconds; None when it does not watch.
        proof: what was seen moving when the watchdog was fed last.
    """

    address: str = ""
    watchdog_s: float | None = None
    proof: tuple[int, ...] = ()

    @classmethod
    def of(cls, environment: Mapping[str, str], process: int) -> Supervisor:
        """Find out who supervises.

        Args:
            environment: with NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID, as sd_watchdog_enabled(3) tells.
            process: our own number.
        """
        address = environment.get("NOTIFY_SOCKET", "")
        if not address.startswith(("/", "@")):
            address = ""
        usec, meant = environment.get("WATCHDOG_USEC", ""), environment.get("WATCHDOG_PID", "")
        watched = bool(address) and usec.isdecimal() and int(usec) > 0 and meant in ("", str(process))
        return cls(address, int(usec) / 1e6 if watched else None)

    @property
    def feed_every_s(self) -> float | None:
        """How often to feed the watchdog: at half of its time, as sd_watchdog_enabled(3) advises."""
        return None if self.watchdog_s is None else self.watchdog_s / 2

    def ready(self, status: str = "") -> bool:
        """Everything is under way."""
        return self.say("READY=1", status)

    def reloading(self, monotonic_usec: int) -> bool:
        """Files are being read again (Type=notify-reload wants the time, CLOCK_MONOTONIC in microseconds)."""
        return self.say("RELOADING=1", monotonic_usec=monotonic_usec)

    def stopping(self, status: str = "") -> bool:
        """A clean stop has begun."""
        return self.say("STOPPING=1", status)

    def feed(self, *counts: int) -> bool:
        """Feed the watchdog, but only if everything has moved since it was fed last.

        Args:
            counts: numbers that rise while all is well, e.g. readings taken and ticks of the journal.

        Returns:
            Whether it was fed.
        """
        stuck = any(now == before for now, before in zip(counts, self.proof, strict=False))
        if self.watchdog_s is None or stuck:
            return False
        self.proof = counts
        return self.say("WATCHDOG=1")

    def say(self, what: str, status: str = "", monotonic_usec: int | None = None) -> bool:
        """Send one message; never waits and never raises.

        Args:
            what: an assignment such as "READY=1".
            status: one line for people, shown by `systemctl status`.
            monotonic_usec: time that goes with a reload.

        Returns:
            Whether it was handed over.
        """
        if not self.address:
            return False
        lines = [what]
        if status:
            lines.append("STATUS=" + " ".join(status.split()))
        if monotonic_usec is not None:
            lines.append(f"MONOTONIC_USEC={monotonic_usec}")
        return tell_supervisor(self.address, "\n".join(lines))


def from_environment() -> Supervisor:
    """The supervisor of this process."""
    return Supervisor.of(os.environ, os.getpid())
