"""The channel: bytes to and from one instrument, every wait with a limit in seconds.

Not for framing (see `drivers.link.framing`) nor for reconnecting: a channel that is lost stays lost until it
is closed and opened again by its owner. One owner per channel: two readers would steal each other's bytes.
"""

from __future__ import annotations

from typing import Protocol

from drivers.errors import LinkLost, LinkTimeout, LinkUnavailable

DRAIN_LIMIT_BYTES = 1 << 20
"""A peer that sends without pause is given up on after this much; workshop choice."""


class Channel(Protocol):
    """Bytes in order, both ways. The same object can be opened again after `close`.

    Attributes:
        address: as the bench file gives it; goes into every error.
    """

    address: str

    async def open(self) -> None:
        """Open. Raises: LinkUnavailable."""
        ...

    async def read_some(self, deadline_s: float) -> bytes:
        """Give what has arrived, at least one byte.

        A cancelled call loses no byte: the next call gets it.

        Args:
            deadline_s: seconds to wait at most, > 0.

        Raises:
            LinkTimeout: nothing arrived in time.
            LinkLost: the peer is gone.
        """
        ...

    async def write(self, data: bytes, deadline_s: float) -> None:
        """Send all of `data`. Raises: LinkTimeout, LinkLost."""
        ...

    async def drain(self, quiet_s: float) -> bytes:
        """Throw away what comes in until nothing has come for `quiet_s`; give what was thrown away.

        With `quiet_s` 0 only what has already arrived is thrown away.

        Raises:
            LinkLost: the peer went away meanwhile.
            LinkTimeout: more than `DRAIN_LIMIT_BYTES` came without a pause.
        """
        thrown = bytearray()
        while len(thrown) < DRAIN_LIMIT_BYTES:
            try:
                thrown += await self.read_some(max(quiet_s, 0.001))
            except LinkTimeout:
                return bytes(thrown)
        raise LinkTimeout(
            "the meter sends without a pause and does not fall quiet", port=self.address, raw=bytes(thrown)
        )

    async def close(self) -> None:
        """Close; harmless when closed already. Never raises."""
        ...


def in_use(holders: list[str], address: str) -> LinkUnavailable:
    """The error for a place that other programs hold, by their names."""
    what = f"it is in use by {' and '.join(holders)}"
    return LinkUnavailable(what, port=address, hint="Close that program first.")


def not_open(address: str) -> LinkLost:
    """The error for using a channel that is closed."""
    return LinkLost("the link is closed", port=address)
