"""Reference libraries, imported when first used: each worker collects all tests, and runs few. Not a test."""

from __future__ import annotations

import importlib


class _Later:
    """A module, or a name in one, as soon as something is asked of it."""

    def __init__(self, module, name=""):
        self._named = module, name

    def _there(self):
        module, name = self._named
        found = importlib.import_module(module)
        return getattr(found, name) if name else found

    def __getattr__(self, name):
        if name.startswith(("_", "pytest")):  # pytest looks at every name of a test file
            raise AttributeError(name)
        return getattr(self._there(), name)

    def __call__(self, *values, **more):
        return self._there()(*values, **more)


nx, pd = _Later("networkx"), _Later("pandas")
stats, integrate, special = (_Later(f"scipy.{name}") for name in ("stats", "integrate", "special"))
quad = _Later("scipy.integrate", "quad")
multivariate_normal, norm, truncnorm = (
    _Later("scipy.stats", name) for name in ("multivariate_normal", "norm", "truncnorm")
)
