"""A command of the program called as the function that it is."""

from __future__ import annotations

import io
from contextlib import redirect_stdout


def printed(command, *given, **options):
    """The lines that a command prints; its errors come as they are."""
    with redirect_stdout(io.StringIO()) as out:
        command(*given, **options)
    return out.getvalue().splitlines()
