"""From an address to its channel. Each library is imported only when an address asks for it."""

from __future__ import annotations

from drivers.link.address import PLAIN_LINE, SerialLine, parse_address
from drivers.link.channel import Channel


def channel_for(address: str, usual: SerialLine = PLAIN_LINE, *, alone: bool = False) -> Channel:
    """Make the channel for an address; opens nothing, so it cannot block.

    Args:
        address: as in the bench file.
        usual: the driver's serial settings, used where the address is silent.
        alone: whether another program at the same place would spoil what is asked and answered; a stream can
            be heard by several. Only looked at where several can connect: a serial port is always ours alone.

    Raises:
        AddressInvalid: the address cannot be understood.
    """
    parsed = parse_address(address)
    if parsed.scheme == "tcp":
        from drivers.link.tcp import TcpChannel  # noqa: PLC0415 - each library only when it is asked for

        return TcpChannel(parsed, alone=alone)
    if parsed.scheme == "visa":
        from drivers.link.visa import VisaChannel  # noqa: PLC0415 - pyvisa takes 0.14 s to import

        return VisaChannel(parsed, parsed.line.filled_from(usual).filled_from(PLAIN_LINE))
    from drivers.link.serial_port import SerialChannel  # noqa: PLC0415 - as above

    return SerialChannel(parsed, parsed.line.filled_from(usual).filled_from(PLAIN_LINE))
