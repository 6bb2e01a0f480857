"""Channel on a raw TCP socket, for instruments that listen on a port and for serial servers.

Not for HiSLIP or VXI-11 (see `drivers.link.visa`). A peer that closes is seen at once (end of file), one that
vanishes without a word within about ten seconds (keepalive, user timeout).
"""

from __future__ import annotations

import asyncio
import contextlib
import socket

from drivers.errors import LinkLost, LinkTimeout, LinkUnavailable
from drivers.link.address import Address
from drivers.link.channel import Channel, in_use, not_open
from system.devices import connected_to

CONNECT_S = 3.0
"""A meter on a workshop's network answers in milliseconds; workshop choice."""
CHUNK_BYTES = 4096
_KEEPALIVE = (("TCP_KEEPIDLE", 3), ("TCP_KEEPINTVL", 2), ("TCP_KEEPCNT", 3), ("TCP_USER_TIMEOUT", 10_000))


class TcpChannel(Channel):
    """Bytes over one TCP connection; see `Channel` for what each method promises."""

    def __init__(self, address: Address, *, alone: bool = False) -> None:
        self.address = address.text
        self._alone = alone
        self._host, self._port = address.target, address.port
        self._reader: asyncio.StreamReader | None = None
        self._writer: asyncio.StreamWriter | None = None

    async def open(self) -> None:
        """Connect. Raises: LinkUnavailable."""
        await self.close()
        try:
            async with asyncio.timeout(CONNECT_S):
                if self._alone:
                    await self._refuse_if_held()
                self._reader, self._writer = await asyncio.open_connection(self._host, self._port)
        except TimeoutError as error:
            raise LinkUnavailable(f"no answer within {CONNECT_S:g} s", port=self.address) from error
        except socket.gaierror as error:
            raise LinkUnavailable(f"the name {self._host!r} is not known", port=self.address) from error
        except ConnectionRefusedError as error:
            raise LinkUnavailable("nothing listens there", port=self.address) from error
        except OSError as error:
            reason = error.strerror or str(error)
            raise LinkUnavailable(f"it cannot be reached ({reason})", port=self.address) from error
        self._tune(self._writer.get_extra_info("socket"))

    async def _refuse_if_held(self) -> None:
        """Two programs would take each other's answers, so a meter that another one here reads is refused."""
        found = await asyncio.get_running_loop().getaddrinfo(
            self._host, self._port, type=socket.SOCK_STREAM, proto=socket.IPPROTO_TCP
        )
        holders = connected_to({str(each[4][0]) for each in found}, self._port)
        if holders:
            raise in_use(holders, self.address)

    @staticmethod
    def _tune(sock: socket.socket) -> None:
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for name, value in _KEEPALIVE:
            option = getattr(socket, name, None)  # not every system has every one
            if option is not None:
                sock.setsockopt(socket.IPPROTO_TCP, option, value)

    async def read_some(self, deadline_s: float) -> bytes:
        """Give what has arrived. Raises: LinkTimeout, LinkLost."""
        if self._reader is None:
            raise not_open(self.address)
        try:
            async with asyncio.timeout(deadline_s):
                data = await self._reader.read(CHUNK_BYTES)
        except TimeoutError as error:
            if error.errno is not None:  # the kernel's own ETIMEDOUT: the peer is gone
                raise LinkLost("the peer no longer answers", port=self.address) from error
            raise LinkTimeout(f"silent for {deadline_s:g} s", port=self.address) from error
        except OSError as error:
            raise LinkLost(f"the connection broke ({error.strerror or error})", port=self.address) from error
        if not data:
            raise LinkLost("the peer closed the connection", port=self.address)
        return data

    async def write(self, data: bytes, deadline_s: float) -> None:
        """Send all of `data`. Raises: LinkTimeout, LinkLost."""
        if self._writer is None:
            raise not_open(self.address)
        try:
            self._writer.write(data)
            async with asyncio.timeout(deadline_s):
                await self._writer.drain()
        except TimeoutError as error:
            raise LinkTimeout(f"took nothing for {deadline_s:g} s", port=self.address) from error
        except OSError as error:
            raise LinkLost(f"the connection broke ({error.strerror or error})", port=self.address) from error

    async def close(self) -> None:
        """Close; harmless when closed already."""
        writer, self._reader, self._writer = self._writer, None, None
        if writer is None:
            return
        writer.close()
        with contextlib.suppress(OSError, TimeoutError):
            async with asyncio.timeout(0.5):
                await writer.wait_closed()
        if not writer.transport.is_closing():
            writer.transport.abort()
