"""`python -m acquire` is `steadyohm`."""

import sys

INTERRUPTED = 130
"""Exit code of a program that Ctrl-C ended, as shells know it."""


def start() -> None:
    """Load the commands and run one; Ctrl-C while they load ends it without a traceback."""
    try:
        from acquire.cli import main  # noqa: PLC0415  (so that it happens inside)

        main()
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)


if __name__ == "__main__":
    start()
