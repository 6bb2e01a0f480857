"""The `[shop]` table of a bench file: whose heading stands on certificates, labels and reports.

configs/README.md explains each key to users. Not for drawing anything (acquire.reports), and not for looking
into the logo's file: that is done when a paper is made.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, ValidationInfo, field_validator

from acquire.files.bench_tables import FilePath
from acquire.files.toml_file import Table, Text
from acquire.quantity import Metre

LOGO_ENDINGS = (".svg", ".png")


class ShopSettings(Table):
    """`[shop]`: the heading of papers. Without this table they carry the bench's name only.

    Attributes:
        name: of the shop.
        address: its lines.
        logo: an SVG or PNG file in the bench file's folder or below it.
        authorised: who answers for certificates; a line for a signature stands above the name.
        paper: size of certificates and reports.
        label_width, label_height: of the label for a unit, metres.
    """

    name: Annotated[Text, Field(min_length=1, max_length=80, examples=['"Otterbeck Rewinds"'])]
    address: Annotated[
        tuple[Annotated[Text, Field(max_length=80)], ...],
        Field(max_length=6, examples=['["3 Mill Lane", "Otterbeck"]']),
    ] = ()
    logo: FilePath | None = None
    authorised: Annotated[Text, Field(max_length=80)] = ""
    paper: Literal["A4", "Letter"] = "A4"
    label_width: Metre = 0.050
    label_height: Metre = 0.025

    @field_validator("logo", mode="after")
    @classmethod
    def _is_beside_the_file(cls, logo: FilePath | None, info: ValidationInfo) -> FilePath | None:
        """A paper shows nothing from elsewhere on the machine, wherever a link or a ".." leads."""
        if logo is None:
            return None
        if logo.suffix.lower() not in LOGO_ENDINGS:
            raise ValueError("a logo is an SVG or PNG file")
        folder = (info.context or {}).get("folder")
        if folder is not None and not logo.is_relative_to(folder.resolve()):
            raise ValueError("the logo must lie in the folder of the bench file or below it")
        return logo

    @field_validator("label_width", "label_height", mode="after")
    @classmethod
    def _can_be_stuck_on(cls, side: float) -> float:
        if not 0.010 <= side <= 0.200:
            raise ValueError("a label measures between 10 mm and 200 mm")
        return side
