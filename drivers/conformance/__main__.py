"""`python -m drivers.conformance NAME FRAMES.json`: runs the kit with pytest and gives its exit code."""

from __future__ import annotations

import argparse
import sys

import pytest


def main() -> int:
    """Read the command line and run the kit."""
    parser = argparse.ArgumentParser(prog="python -m drivers.conformance", description=__doc__)
    parser.add_argument("driver", help="name of the driver to prove")
    parser.add_argument("frames", help="JSON file of frames and what they say")
    parser.add_argument("--options", default="{}", help="the driver's options as JSON")
    given = parser.parse_args()
    arguments = ["-p", "drivers.conformance.plugin", "--pyargs", "drivers.conformance", "-q"]
    arguments += ["-p", "no:cacheprovider", "-c", "/dev/null", "--rootdir", "."]
    arguments += ["--driver", given.driver, "--vectors", given.frames, "--driver-options", given.options]
    return int(pytest.main(arguments))


if __name__ == "__main__":
    sys.exit(main())
