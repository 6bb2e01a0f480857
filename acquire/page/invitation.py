"""How people come to the page: its address in words, and as a QR code where a tablet must bring the token.

The token is told to a terminal only: what a service prints ends in a log that others may read.
"""

from __future__ import annotations

import io
from pathlib import Path


def invitation(address: str, token: str | None, token_file: Path, *, to_terminal: bool) -> str:
    """What is printed at the start.

    Args:
        address: of the page, without the token.
        token: to be shown once by every browser; None where none is needed.
        token_file: where it is kept.
        to_terminal: whether a person reads this.
    """
    if token is None:
        return f"The bench page: {address}"
    if not to_terminal:
        return f"The bench page: {address} with ?token= and the token of {token_file}"
    whole = f"{address}?token={token}"
    return f"The bench page, for this machine and others in the network:\n\n{qr_code(whole)}\n  {whole}\n"


def qr_code(text: str) -> str:
    """A QR code (ISO/IEC 18004) in half blocks, with the quiet zone that readers need."""
    import segno  # noqa: PLC0415  (only a page for the network has a code)

    drawn = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(drawn, compact=True)
    return drawn.getvalue()
