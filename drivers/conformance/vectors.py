"""Reads the files of frames that the conformance kit is given.

    {"source": "where the frames are from", "frames": [
      {"name": "12.3 ohm", "hex": "2b 30 ...", "quantity": "resistance", "kind": "value", "value": 12.3,
       "flags": ["auto_range"]},
      {"name": "slipped", "hex": "30 31 ...", "refused": true}]}

`text` may stand in place of `hex`. Not for anything but that.
"""

from __future__ import annotations

from pathlib import Path

from pydantic import BaseModel, ConfigDict, model_validator

from drivers.reading import Flag, Kind, Quantity


class Vector(BaseModel):
    """One frame and what it says.

    Attributes:
        name: for the report.
        hex: its bytes, or `text`.
        text: its characters, or `hex`.
        refused: True if it is no frame; then the rest is not wanted.
        quantity: what it measures.
        kind: as in `Reading`.
        value: SI value; None unless kind is value.
        flags: its signs; None does not look at them.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str
    hex: str = ""
    text: str = ""
    refused: bool = False
    quantity: Quantity | None = None
    kind: Kind = Kind.VALUE
    value: float | None = None
    flags: frozenset[Flag] | None = None

    @model_validator(mode="after")
    def _is_whole(self) -> Vector:
        if bool(self.hex) == bool(self.text):
            raise ValueError("wants either hex or text")
        if not self.refused and self.quantity is None:
            raise ValueError("wants a quantity, or refused = true")
        if not self.refused and (self.kind is Kind.VALUE) != (self.value is not None):
            raise ValueError("wants a value if, and only if, its kind is value")
        return self

    @property
    def frame(self) -> bytes:
        """Its bytes."""
        return bytes.fromhex(self.hex) if self.hex else self.text.encode("utf-8")


class VectorFile(BaseModel):
    """A file of frames.

    Attributes:
        source: where they are from: a capture, a data sheet, by hand.
        frames: at least one.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    source: str
    frames: tuple[Vector, ...]


def load_vectors(path: Path) -> list[Vector]:
    """Load a file of frames. Raises: ValueError, OSError: it cannot be used."""
    return list(VectorFile.model_validate_json(path.read_text(encoding="utf-8")).frames)
