"""Options and fixtures of the conformance kit, as a plugin of pytest. Not loaded unless asked for."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from drivers.conformance.vectors import Vector, load_vectors
from drivers.decode import decoder_of
from drivers.frame import FrameProtocol


def pytest_addoption(parser: pytest.Parser) -> None:
    """Declare what the kit is told on the command line."""
    group = parser.getgroup("steadyohm conformance")
    group.addoption("--driver", help="name of the driver to prove")
    group.addoption("--vectors", help="JSON file of frames and what they say")
    group.addoption("--driver-options", default="{}", help="the driver's options as JSON")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """One test per vector."""
    if "vector" in metafunc.fixturenames:
        path = metafunc.config.getoption("--vectors")
        vectors = load_vectors(Path(path)) if path else []
        metafunc.parametrize("vector", vectors, ids=lambda vector: vector.name)


@pytest.fixture(scope="session")
def driver(pytestconfig: pytest.Config) -> str:
    """Name of the driver under test."""
    name = pytestconfig.getoption("--driver")
    if not name:
        pytest.exit("Name the driver to prove with --driver NAME.", returncode=2)
    return str(name)


@pytest.fixture(scope="session")
def options(pytestconfig: pytest.Config) -> dict[str, Any]:
    """The driver's options."""
    given: dict[str, Any] = json.loads(pytestconfig.getoption("--driver-options"))
    return given


@pytest.fixture(scope="session")
def protocol(driver: str, options: dict[str, Any]) -> FrameProtocol:
    """The driver's sans-I/O half."""
    return decoder_of(driver, options)


@pytest.fixture(scope="session")
def good_vectors(pytestconfig: pytest.Config) -> list[Vector]:
    """The vectors that are frames with a reading."""
    path = pytestconfig.getoption("--vectors")
    if not path:
        pytest.exit("Name the file of frames with --vectors FILE.json.", returncode=2)
    good = [vector for vector in load_vectors(Path(path)) if not vector.refused]
    if not good:
        pytest.exit(f"{path} holds no good frame.", returncode=2)
    return good
