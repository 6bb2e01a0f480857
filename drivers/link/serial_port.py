"""Channel on a serial port through pyserial, with one worker thread per port.

Also serves `rfc2217:` (a serial port behind a network). The thread owns the port: it opens, reads, writes and
closes; the event loop only exchanges bytes with it. Not for framing.

Line levels are set before the port opens: a pseudo terminal refuses them afterwards, and an optical cable
that lives on DTR should not lose its power for a moment.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import queue
import threading
import warnings
from typing import Any

import serial

from drivers.errors import LinkLost, LinkTimeout, LinkUnavailable
from drivers.link.address import Address, SerialLine
from drivers.link.channel import Channel, in_use, not_open
from system.devices import (
    CANNOT_SET,
    REFUSED,
    SOMEBODY,
    claim,
    give_back,
    holders_of,
    is_pseudo,
    why_no_permission,
)

OPEN_S = 5.0
"""A local port opens at once, one behind a network within a second or two; workshop choice."""
BUFFER_BYTES = 1 << 18
"""What nobody reads is kept up to here; then the oldest goes, and framing finds its feet again."""
_PATIENCE_S = 0.2  # how long the thread sleeps at most before it looks for something to write
_NETWORK_PATIENCE_S = 0.02  # rfc2217 has no way to wake a reading thread


class _Worker(threading.Thread):
    """The thread that owns one port from open to close."""

    def __init__(
        self, port: serial.SerialBase, channel: SerialChannel, loop: asyncio.AbstractEventLoop
    ) -> None:
        super().__init__(name=f"serial {channel.address}", daemon=True)
        self.port = port
        self.stop = threading.Event()
        self.outgoing: queue.SimpleQueue[tuple[bytes, asyncio.Future[None]]] = queue.SimpleQueue()
        self._channel = channel
        self._loop = loop
        self.opened: asyncio.Future[None] = loop.create_future()
        self.ended: asyncio.Future[None] = loop.create_future()

    def run(self) -> None:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", DeprecationWarning)  # pyserial's rfc2217 calls setDaemon
                _open(self.port)
        except Exception as error:  # noqa: BLE001 - whatever it is, who waits must hear of it
            self._tell(_settle, self.opened, error)
        else:
            self._tell(_settle, self.opened, None)
            self._serve()
        self._tell(_settle, self.ended, None)

    def _serve(self) -> None:
        exclusive = _claim(self.port)
        try:
            while not self.stop.is_set():
                self._send_waiting()
                data = self.port.read(1)
                if data:
                    data += self.port.read(self.port.in_waiting)
                    self._tell(self._channel._arrived, self, data)  # noqa: SLF001 - the other half of this pair
        except (OSError, TypeError) as error:  # TypeError: pyserial closes under a read of its own
            self._tell(self._channel._broke, self, error)  # noqa: SLF001 - as above
        finally:
            if exclusive:
                with contextlib.suppress(TypeError):  # closed already
                    give_back(self.port.fileno())
            with contextlib.suppress(OSError):
                self.port.close()

    def _send_waiting(self) -> None:
        with contextlib.suppress(queue.Empty):
            while True:
                data, done = self.outgoing.get_nowait()
                try:
                    self.port.write(data)
                except serial.SerialTimeoutException as error:
                    self._tell(_settle, done, error)
                else:
                    self._tell(_settle, done, None)

    def wake(self) -> None:
        """Make a sleeping read return, where the port knows how."""
        cancel = getattr(self.port, "cancel_read", None)
        if cancel is not None and self.port.is_open:
            with contextlib.suppress(OSError, TypeError, AttributeError):  # it may be closing this instant
                cancel()

    def _tell(self, call: Any, *arguments: Any) -> None:
        with contextlib.suppress(RuntimeError):  # the loop ended before us
            self._loop.call_soon_threadsafe(call, *arguments)


def _open(port: serial.SerialBase) -> None:
    """Open a port; one that cannot carry 7 bits carries 8.

    A pseudo terminal, and many a bridge, keeps to 8 bits without parity; the system calls that an invalid
    argument as soon as nothing else of the settings changes. The eighth bit then is the meter's parity or its
    stop bit, which the decoders of 7-bit protocols mask or check.
    """
    try:
        port.open()
    except (serial.SerialException, *CANNOT_SET) as error:
        if isinstance(error, serial.SerialException) and "configure" not in str(error):
            raise
        if port.bytesize != serial.SEVENBITS:
            raise
        port.bytesize, port.parity = serial.EIGHTBITS, serial.PARITY_NONE
        port.open()


def _settle(future: asyncio.Future[None], error: BaseException | None) -> None:
    if future.done():
        return
    if error is None:
        future.set_result(None)
    else:
        future.set_exception(error)


def _claim(port: serial.SerialBase) -> bool:
    """Keep programs that know no file locks out, too; a pseudo terminal would stay locked after a crash."""
    name = str(port.port)
    if "://" in name or is_pseudo(name) or not hasattr(port, "fileno"):
        return False
    return claim(port.fileno())


class SerialChannel(Channel):
    """Bytes over one serial port; see `Channel` for what each method promises."""

    def __init__(self, address: Address, line: SerialLine) -> None:
        self.address = address.text
        self._network = address.scheme == "rfc2217"
        self._path = f"rfc2217://{address.target}:{address.port}" if self._network else address.target
        self._line = line
        self._worker: _Worker | None = None
        self._buffer = bytearray()
        self._news = asyncio.Event()
        self._error: BaseException | None = None

    async def open(self) -> None:
        """Open the port. Raises: LinkUnavailable."""
        await self.close()
        self._buffer.clear()
        self._news = asyncio.Event()
        self._error = None
        if not self._network:
            self._refuse_if_held()
        worker = _Worker(self._make_port(), self, asyncio.get_running_loop())
        self._worker = worker
        worker.start()
        try:
            async with asyncio.timeout(OPEN_S):
                await asyncio.shield(worker.opened)
        except TimeoutError as error:
            await self.close()
            raise LinkUnavailable(f"the port did not open within {OPEN_S:g} s", port=self.address) from error
        except Exception as error:  # what the worker met; never swallowed
            await self.close()
            raise self._why_not(error) from error

    def _make_port(self) -> serial.SerialBase:
        line = self._line
        port = serial.serial_for_url(self._path, do_not_open=True)
        port.baudrate = line.baud
        port.bytesize = line.bits
        port.parity = line.parity
        port.stopbits = line.stop_bits
        port.timeout = _NETWORK_PATIENCE_S if self._network else _PATIENCE_S
        port.write_timeout = None if self._network else 2.0  # rfc2217 knows no write timeout
        port.dtr, port.rts = line.dtr, line.rts
        if not self._network:
            port.exclusive = True
        return port

    def _refuse_if_held(self) -> None:
        """A second reader would steal bytes silently, so a port that someone holds is refused."""
        if is_pseudo(self._path):
            return
        holders = holders_of(os.path.realpath(self._path))
        if holders:
            raise in_use(holders, self.address)

    def _why_not(self, error: BaseException) -> LinkUnavailable:
        text = str(error)
        number = getattr(error, "errno", None)
        refused = (
            "Permission denied",
            "PermissionError(13",
        )  # the second of pyserial on Windows, without errno
        if isinstance(error, PermissionError) or number == 13 or any(each in text for each in refused):
            return LinkUnavailable(REFUSED, port=self.address, hint=why_no_permission(self._path))
        if number == 2 or "No such file" in text or "FileNotFoundError(2" in text:
            return LinkUnavailable(
                "there is no such port", port=self.address, hint="Is its cable plugged in?"
            )
        if "exclusively lock" in text or number in {11, 16}:
            return in_use(holders_of(os.path.realpath(self._path)) or [SOMEBODY], self.address)
        return LinkUnavailable(f"it cannot be opened ({text})", port=self.address)

    def _arrived(self, worker: _Worker, data: bytes) -> None:
        if worker is not self._worker:
            return  # a straggler from before the port was opened anew
        self._buffer += data
        if len(self._buffer) > BUFFER_BYTES:
            del self._buffer[: len(self._buffer) - BUFFER_BYTES]
        self._news.set()

    def _broke(self, worker: _Worker, error: BaseException) -> None:
        if worker is not self._worker:
            return
        self._error = error
        self._news.set()

    async def read_some(self, deadline_s: float) -> bytes:
        """Give what has arrived. Raises: LinkTimeout, LinkLost."""
        if self._worker is None:
            raise not_open(self.address)
        if not self._buffer and self._error is None:
            self._news.clear()
            try:
                async with asyncio.timeout(deadline_s):
                    await self._news.wait()
            except TimeoutError as error:
                raise LinkTimeout(f"silent for {deadline_s:g} s", port=self.address) from error
        if self._buffer:
            data = bytes(self._buffer)
            self._buffer.clear()
            return data
        raise LinkLost(f"the port went away ({self._error})", port=self.address)

    async def write(self, data: bytes, deadline_s: float) -> None:
        """Send all of `data`. Raises: LinkTimeout, LinkLost."""
        worker = self._worker
        if worker is None:
            raise not_open(self.address)
        if self._error is not None:
            raise LinkLost(f"the port went away ({self._error})", port=self.address)
        sent: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        worker.outgoing.put((data, sent))
        worker.wake()
        broken = asyncio.ensure_future(asyncio.shield(worker.ended))
        try:
            done, _ = await asyncio.wait(
                {sent, broken}, timeout=deadline_s, return_when=asyncio.FIRST_COMPLETED
            )
        finally:
            broken.cancel()
        if sent in done and sent.exception() is None:
            return
        if sent not in done and broken in done:
            raise LinkLost(f"the port went away ({self._error})", port=self.address)
        sent.cancel()
        raise LinkTimeout(f"took nothing for {deadline_s:g} s", port=self.address)

    async def close(self) -> None:
        """Close; harmless when closed already."""
        worker, self._worker = self._worker, None
        if worker is None:
            return
        worker.stop.set()
        worker.wake()
        if worker.opened.done() and not worker.opened.cancelled():
            worker.opened.exception()  # seen; nobody else will ask
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(OPEN_S):
                await asyncio.shield(worker.ended)
        if worker.ended.done():
            worker.join(0.2)
