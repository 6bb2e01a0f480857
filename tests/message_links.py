"""A simulated bench whose meter can also be reached by the message protocols of LAN and GPIB instruments.

    python -m tests.message_links --meter-link hislip

Servers of our own from the specifications, for the product's clients to be tried against. Not a test.
"""

import sys

from sim.__main__ import main
from sim.bench import LINKS
from tests.gpib_adapter import on_gpib_adapter
from tests.hislip import on_hislip
from tests.vxi11 import on_vxi11

LINKS["hislip"] = on_hislip
LINKS["gpib-adapter"] = on_gpib_adapter
LINKS["vxi11"] = lambda session, _port, trouble: on_vxi11(session, trouble)

if __name__ == "__main__":
    sys.exit(main())
