"""A command as it is typed, run in this process: one of its own costs a second or two. Not a test itself."""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
from unittest import mock

import structlog

from acquire import cli


def commanded(*words):
    """Exit code, output and errors of `steadyohm` with these words."""
    out, errors, settings, code = io.StringIO(), io.StringIO(), structlog.get_config(), 0
    try:
        with (
            mock.patch("sys.argv", ["steadyohm", *map(str, words)]),
            mock.patch.dict(os.environ, TERM="dumb", COLUMNS="120"),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(errors),
        ):
            cli.main()
    except SystemExit as left:
        code = left.code
    finally:
        structlog.configure(**settings)
    return subprocess.CompletedProcess(words, code or 0, out.getvalue(), errors.getvalue())
