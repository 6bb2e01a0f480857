"""Sans-I/O: from a scanner's lines to codes. Not for links or time.

Sources: symbology identifiers from ISO/IEC 15424 (a `]`, a letter, a modifier); GS1 element strings separated
by GS (1Dh) from the GS1 General Specifications. The line's own symbol check is done by the scanner.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_SYMBOLOGY = re.compile(r"\](?P<letter>[A-Za-z])(?P<modifier>[0-9A-Za-z])")
GROUP_SEPARATOR = "\x1d"
LONGEST = 512
"""No label of a workshop is longer; a longer line is two codes glued together or noise."""


@dataclass(frozen=True, slots=True)
class Code:
    """One code as read.

    Attributes:
        text: the code without the symbology identifier.
        symbology: the identifier, e.g. `]C1`; empty if the scanner sends none.
    """

    text: str
    symbology: str = ""


def parse_code(line: bytes, pattern: re.Pattern[str] | None = None) -> Code | None:
    """Parse one line of a scanner, without its end.

    Args:
        line: what came.
        pattern: what a code of this job looks like as a whole; None takes any.

    Returns:
        None for an empty read.

    Raises:
        ValueError: unreadable characters, too long, or not of the job's pattern (two codes glued together).
    """
    try:
        text = line.strip(b"\x02\x03\r\n").decode("utf-8").strip(" ")
    except UnicodeDecodeError as error:
        raise ValueError(f"{line!r} is not text") from error
    match = _SYMBOLOGY.match(text)
    symbology = match[0] if match else ""
    text = text[len(symbology) :]
    if not text:
        return None
    if len(text) > LONGEST:
        raise ValueError(f"a code of {len(text)} characters is too long")
    if any(not (char.isprintable() or char == GROUP_SEPARATOR) for char in text):
        raise ValueError(f"{text!r} has unprintable characters")
    if pattern is not None and pattern.fullmatch(text) is None:
        raise ValueError(f"{text!r} does not look like a code of this job")
    return Code(text, symbology)
