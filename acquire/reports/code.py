"""QR codes as plain squares, for any printer. The code itself is made by segno."""

from __future__ import annotations

from collections.abc import Iterator

BORDER = 4
"""White squares around it (ISO/IEC 18004:2015, 5.3.8: four)."""


def code_squares(text: str, error: str = "m") -> tuple[int, list[tuple[int, int, int]]]:
    """The dark squares of a QR code.

    Args:
        text: what it holds.
        error: "l", "m", "q" or "h": how much of it may be spoilt.

    Returns:
        Squares along one side, white border included, and runs of dark ones: (column, row, how many).

    Raises:
        ValueError: the text is too long for any code.
    """
    import segno  # noqa: PLC0415  (only papers need it)

    code = segno.make_qr(text, error=error, boost_error=False)
    rows = [list(row) for row in code.matrix]
    return len(rows) + 2 * BORDER, list(_runs(rows))


def _runs(rows: list[list[int]]) -> Iterator[tuple[int, int, int]]:
    for number, row in enumerate(rows):
        start = None
        for column, dark in enumerate([*row, 0]):
            if dark and start is None:
                start = column
            elif not dark and start is not None:
                yield start + BORDER, number + BORDER, column - start
                start = None


def code_path(text: str, error: str = "m") -> tuple[int, str]:
    """The side in squares, and the dark ones as an SVG path of strokes one wide."""
    side, runs = code_squares(text, error)
    return side, "".join(f"M{column} {row}.5h{length}" for column, row, length in runs)
