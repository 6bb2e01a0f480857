"""Free-running instruments' lines and frames, encoded here and nowhere else.

Not for anything polled by SCPI (see `speak_scpi`).
"""

from __future__ import annotations


def temperature_line(celsius: float) -> bytes:
    """A thermometer's plain text line: 23.41 C, carriage return, line feed."""
    return f"{celsius:.2f} C\r\n".encode("ascii")
