"""`python -m acquire` is `steadyohm`."""

import sys
from importlib.util import find_spec
from pathlib import Path

INTERRUPTED = 130
"""Exit code of a program that Ctrl-C ended, as shells know it."""

BESIDE = ("drivers", "sim", "system")
"""Our other packages. Their names are common words: another distribution may have brought one of them."""


def strangers() -> list[str]:
    """Which of them do not lie beside this one, with where they were found."""
    here = Path(__file__).resolve().parents[1]
    found = {name: find_spec(name) for name in BESIDE}
    return [
        f"{name} ({spec.origin if spec else 'nowhere'})"
        for name, spec in found.items()
        if spec is None or spec.origin is None or Path(spec.origin).resolve().parents[1] != here
    ]


def start() -> None:
    """Load the commands and run one; Ctrl-C while they load ends it without a traceback."""
    if foreign := strangers():
        what = f"These packages are not steadyohm's own: {', '.join(foreign)}."
        sys.exit(f"{what} Install steadyohm in an environment of its own.")
    try:
        from acquire.cli import main  # noqa: PLC0415  (so that it happens inside)

        main()
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)


if __name__ == "__main__":
    start()
