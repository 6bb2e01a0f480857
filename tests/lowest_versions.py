"""Writes the lowest versions that pyproject.toml allows, as constraints for pip. Not a test.

    python -m tests.lowest_versions > lowest.txt && pip install --constraint lowest.txt '.[all]'

CI installs exactly these and runs the demo and the unit tests with them, so that no bound is a guess.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

_BOUND = re.compile(r"(?P<name>[A-Za-z0-9_.-]+)(?:\[[^\]]*\])?>=(?P<lowest>[0-9.]+)")


def constraints(pyproject: Path) -> list[str]:
    """One line for each dependency with a lower bound, those of the extras too but for the test tools."""
    project = tomllib.loads(pyproject.read_text(encoding="utf-8"))["project"]
    extras = {**project["optional-dependencies"], "test": []}
    wanted = [*project["dependencies"], *(each for extra in extras.values() for each in extra)]
    bounds = [_BOUND.match(each) for each in wanted]
    return sorted({f"{found['name']}=={found['lowest']}" for found in bounds if found})


if __name__ == "__main__":
    print("\n".join(constraints(Path(__file__).parent.parent / "pyproject.toml")))
