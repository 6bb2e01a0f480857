"""What is imported is declared, what is declared is used, what is installed fits together. Works offline."""

from __future__ import annotations

import ast
import functools
import re
import subprocess
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

from tests.trees import statements

ROOT = Path(__file__).parents[2]
HOUSES = {"acquire", "drivers", "sim", "system", "tests"}
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]

COMES_WITH = {"pydantic_core": "pydantic", "paho": "aiomqtt", "pandas": "statsmodels"}
"""Packages that a declared one brings as part of its own interface."""

OPTIONAL = {"usb": "pyusb", "pymodbus": "pymodbus"}
"""Packages of extras that need not be installed here, and the distributions that bring them."""

TEST_KIT = "drivers/conformance"
"""Shipped for those who write a driver of their own; needs the test extra, as its page says."""

NOT_IMPORTED = {
    "pyvisa-py": "the way to instruments that pyvisa loads by name",
    "pyusb": "what that way uses for USB",
    "setuptools": "builds the package",
}
"""Declared though no line imports them, each with its reason."""


def normal(name):
    """A distribution's name as the index compares it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def declared(*extras):
    """Names of distributions that pyproject.toml asks for."""
    lines = [*PROJECT["dependencies"]]
    for extra in extras:
        lines += PROJECT["optional-dependencies"].get(extra, [])
    names = {normal(re.match(r"[A-Za-z0-9._-]+", line)[0]) for line in lines}
    return names - {"steadyohm"}


@functools.cache
def imported(*folders):
    """Top-level packages that are imported from outside, and where."""
    found = {}
    for path in sorted(path for folder in folders for path in (ROOT / folder).rglob("*.py")):
        if "drivers" in folders and path.is_relative_to(ROOT / TEST_KIT):
            continue
        for node in statements(path):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom) and node.level == 0:
                names = [node.module]
            for name in names:
                found.setdefault(name.split(".")[0], path.relative_to(ROOT))
    return {name: at for name, at in found.items() if name not in sys.stdlib_module_names | HOUSES}


@functools.cache
def brought():
    """Which distributions bring which package; to look is slow, so it is done once."""
    return packages_distributions()


def distributions(package):
    """Which distributions bring a package."""
    if package in OPTIONAL:
        return {OPTIONAL[package]}
    return {normal(name) for name in brought().get(COMES_WITH.get(package, package), [])}


def test_the_product_imports_only_what_it_declares():
    """Optional extras may be used where they are asked for; nothing comes in by way of the test tools."""
    extras = [name for name in PROJECT["optional-dependencies"] if name != "test"]
    allowed = declared(*extras)
    found = imported("acquire", "drivers", "system")
    undeclared = {p: str(at) for p, at in found.items() if not distributions(p) & allowed}
    assert not undeclared


def test_the_simulation_needs_nothing_but_numbers():
    """It must not share a library's mistakes with what it tests."""
    assert set(imported("sim")) <= {"numpy"}


def test_tests_import_only_what_is_declared():
    """What one test tool happens to bring may be gone tomorrow."""
    allowed = declared(*PROJECT["optional-dependencies"])
    undeclared = {p: at for p, at in imported("tests", TEST_KIT).items() if not distributions(p) & allowed}
    assert not undeclared


def test_everything_that_is_declared_is_used():
    """A dependency without a use is only a risk."""
    used = set().union(*(distributions(package) for package in imported("acquire", "drivers", "system")))
    extras = [name for name in PROJECT["optional-dependencies"] if name != "test"]
    assert declared(*extras) - used - set(NOT_IMPORTED) == set()


def test_what_is_installed_fits_together():
    """`pip check` reads only what is on this machine."""
    words = [sys.executable, "-m", "pip", "--disable-pip-version-check", "check"]
    said = subprocess.run(words, capture_output=True, text=True, check=False)
    if "No module named pip" in said.stderr:
        pytest.skip("this environment has no pip to ask")
    assert said.returncode == 0, said.stdout
