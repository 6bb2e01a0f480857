"""Questions and answers with one SCPI instrument, kept in step. Not for what the answers mean to a bench.

The link is *dirty* from the moment a question is sent until its answer is complete. A question that ends any
other way (timeout, cancellation, rubbish) leaves it dirty, and then no answer can be trusted to belong to its
question: measured with a late answer, every later one was off by one, silently.
"""

from __future__ import annotations

import asyncio
import secrets

from drivers.errors import LinkLost, LinkTimeout, LinkUnavailable, MeterRefused
from drivers.link.address import parse_address
from drivers.link.framing import LineFramer
from drivers.link.opening import channel_for
from drivers.scpi import language
from drivers.scpi.dialect import BenchMeterOptions

_ATTEMPTS = 3
_DEVICE_CLEAR = (
    b"\x03\n"  # Ctrl-C, as makers' manuals give it for RS-232; the line feed ends it where unknown
)
_MARK = 1 + secrets.randbelow(255)
"""What this program leaves in a meter's event enable register, so that another that drives it is noticed.
The register does nothing by itself, nor does *RST change it (IEEE 488.2, 10.10; from memory)."""
_TIDY_S = 1.0  # answers to *IDN?, *OPC?, SYST:ERR? need no conversion; workshop choice


class Dialogue:
    """One link to one instrument.

    Attributes:
        address: as the bench file gives it.
        dirty: whether an answer may still be on its way to a question of the past.
        identity_text: the answer to `*IDN?`, empty if it was never asked.
    """

    def __init__(self, address: str, options: BenchMeterOptions) -> None:
        self.address = address
        self.dirty = True
        self.identity_text = ""
        self._options = options
        self._channel = channel_for(address, alone=True)
        self._serial = parse_address(address).scheme in {"serial", "rfc2217"}
        self._framer = LineFramer()
        self._lines: list[str] = []
        self._absent: set[str] = set()
        self._opened_before = False
        self._marked = False

    async def open(self) -> None:
        """Open the link and prove it aligned. Raises: LinkUnavailable, LinkLost, LinkTimeout."""
        self.identity_text = ""
        self._opened_before = False
        self._absent.clear()
        await self._channel.open()
        self.mark_dirty()
        await self.align_if_dirty()
        if self._serial and self._options.remote_command:
            await self.command(self._options.remote_command, needed=False)
        for text in self._options.start_commands:
            await self.command(text, needed=False)
        self._marked = False
        if not self._serial and self._options.identify and await self._mark() is not None:
            await self.command(f"*ESE {_MARK}", needed=False)
            self._marked = await self._mark() == _MARK

    async def _mark(self) -> int | None:
        """What stands in the meter's event enable register; None where it does not tell."""
        try:
            answer = await self.optional("*ESE?")
            return None if answer is None else int(answer)
        except (LinkTimeout, ValueError):
            self._absent.add("*ESE?")
            return None

    async def another_drives(self) -> bool:
        """Whether another program has left its mark in the meter since this one did."""
        return self._marked and await self._mark() not in (_MARK, 0, None)

    async def close(self) -> None:
        """Close the link."""
        self.mark_dirty()
        await self._channel.close()

    def mark_dirty(self) -> None:
        """Note that answers and questions may be out of step."""
        self.dirty = True

    async def ask(self, query: str, deadline_s: float) -> str:
        """Ask and give the answer line.

        Raises:
            LinkTimeout: no answer in time; the link is dirty now.
            LinkLost: the link broke.
        """
        self._lines.clear()
        await self._send(query)
        line = await self._line(deadline_s)
        self.dirty = bool(self._lines)  # more lines than answers: out of step
        return line

    async def _send(self, text: str) -> None:
        self.dirty = True  # until its answer, or that of SYST:ERR? behind it, is in
        await self._channel.write(
            (text + self._options.line_end).encode("ascii", "replace"), self._options.reply_timeout_s
        )

    async def _line(self, deadline_s: float) -> str:
        loop = asyncio.get_running_loop()
        until_s = loop.time() + deadline_s
        while not self._lines:
            data = await self._channel.read_some(max(until_s - loop.time(), 0.001))
            self._lines += [line.decode("ascii", "replace").strip() for line in self._framer.feed(data)]
        return self._lines.pop(0)

    async def command(self, text: str, *, needed: bool = True) -> bool:
        """Send a command and read the error queue after it.

        Args:
            text: the command, without a question mark.
            needed: False if a meter that does not know the command is good enough; then not tried again.

        Returns:
            Whether it was taken.

        Raises:
            MeterRefused: it was needed and the meter reported an error.
        """
        header = text.split(" ", 1)[0]
        if header in self._absent:
            return False
        await self._send(text)
        errors = await self.read_errors()
        if not errors:
            return True
        if needed:
            raise self._refusal(errors, f"to {text!r}")
        self._absent.add(header)
        return False

    async def read_errors(self) -> list[language.QueuedError]:
        """Empty the error queue; give what was in it."""
        errors: list[language.QueuedError] = []
        if not self._options.error_query:
            self.dirty = False  # a command is all that was sent, and it has no answer
            return errors
        for _ in range(language.ERROR_QUEUE_READS):
            answer = await self.ask(self._options.error_query, self._options.reply_timeout_s)
            try:
                error = language.parse_error(answer)
            except ValueError as problem:
                self.mark_dirty()
                raise LinkTimeout(
                    f"answered {answer!r} when asked for its errors", port=self.address
                ) from problem
            if error.code == 0:
                return errors
            errors.append(error)
        return errors

    async def drop_old_errors(self) -> None:
        """Empty the queue, so that what comes next is known to be new."""
        await self.read_errors()

    async def raise_queued_error(self) -> None:
        """Raise what is in the error queue, if anything. Raises: MeterRefused."""
        errors = await self.read_errors()
        if errors:
            raise self._refusal(errors, "while it measured")

    def _refusal(self, errors: list[language.QueuedError], where: str) -> MeterRefused:
        listed = "; ".join(f"{error.code} {error.text}".strip() for error in errors)
        return MeterRefused(f"the meter reported {listed} {where}", port=self.address)

    async def optional(self, query: str) -> str | None:
        """Ask what not every meter knows; None where this one does not.

        Raises:
            LinkTimeout: it did not answer, and did not report that it does not know the question either.
        """
        if not query or query in self._absent:
            return None
        try:
            return await self.ask(query, min(_TIDY_S, self._options.reply_timeout_s))
        except LinkTimeout:
            await self.align_if_dirty()
        errors = await self.read_errors()
        if self._options.error_query and not any(e.code == language.UNDEFINED_HEADER for e in errors):
            raise LinkTimeout(f"did not answer {query}", port=self.address)
        self._absent.add(query)  # it is not slow, it does not know the question
        return None

    async def configuration(self) -> language.Configuration | None:
        """Ask what is set; None where the meter cannot tell."""
        answer = await self.optional(self._options.function_query)
        if answer is None:
            return None
        try:
            return language.parse_configuration(answer)
        except ValueError as error:
            self.mark_dirty()
            raise LinkTimeout(f"answered {answer!r} when asked what is set", port=self.address) from error

    async def align_if_dirty(self) -> None:
        """Drain the link and prove that the next answer belongs to the next question.

        Raises:
            LinkTimeout: it could not be proven, not even after opening the link anew.
            LinkLost: the link broke.
        """
        askable = self._options.identify or bool(self._options.proof_query)
        for attempt in range(_ATTEMPTS):
            if not self.dirty:
                return
            if attempt > 0 or (self._opened_before and not askable):
                await self._reopen()
                if self._serial:  # opening a port anew clears nothing in the meter; this is its device clear
                    await self._channel.write(_DEVICE_CLEAR, self._options.reply_timeout_s)
            self._opened_before = True
            self._framer.reset()
            self._lines.clear()
            await self._channel.drain(self._options.quiet_s)
            self.dirty = not await self._proven()
        if self.dirty:
            raise LinkTimeout("questions and answers cannot be brought in step", port=self.address)

    async def _reopen(self) -> None:
        await self._channel.close()
        try:
            await self._channel.open()
        except LinkUnavailable as error:
            raise LinkLost(error.what, port=self.address) from error

    async def _proven(self) -> bool:
        """Ask `*IDN?`, skip what is not its answer, then `*OPC?`, which must be answered with 1 at once.

        A late reading comes before the identity and is skipped; a late identity comes where 1 is due and is
        noticed. Nothing a meter measures looks like an identity.
        """
        deadline_s = self._options.reply_timeout_s
        query, answer = self._options.proof_query, self._options.proof_answer
        if not self._options.identify and not query:
            return True  # nothing can be asked: a link that is new and quiet must do
        try:
            if self._options.identify:
                await self._send("*IDN?")
                line = await self._line(deadline_s)
                while not self._is_identity(line):
                    line = await self._line(deadline_s)
                self.identity_text = line
            if not query:
                return not self._lines
            await self._send(query)
            return (await self._line(deadline_s)).lstrip("+") == answer and not self._lines
        except LinkTimeout:
            return False

    def _is_identity(self, line: str) -> bool:
        if self.identity_text:
            return line == self.identity_text
        return not language.is_number(line) and not line.startswith(("-", "+", '"')) and len(line) > 3
