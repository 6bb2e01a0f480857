"""Logging set-up: readable lines on a terminal, one JSON object a line otherwise, always to standard error.

Logs are for people; the journal is the record. Event names are short dotted constants in lower case. Values
whose key says that they are secret never reach a line.
"""

from __future__ import annotations

import logging
import re
import sys
from collections.abc import Mapping, MutableMapping
from typing import Any

SECRET_WORDS = ("password", "secret", "token", "credential")


_PASSWORD = re.compile(r"""(://[^/@\s:"']*:)[^@\n"']*(?=@)|(\bpassword\s*=\s*)\S+""", re.IGNORECASE)


def masked(text: str) -> str:
    """A text for people without the passwords that stand in addresses in it."""
    return _PASSWORD.sub(lambda found: f"{found[1] or found[2]}(hidden)", text)


def redact(_: Any, __: str, event: MutableMapping[str, Any]) -> MutableMapping[str, Any]:
    """Replace every value whose key names a secret. A structlog processor, hence its three arguments."""
    for key, value in event.items():
        event[key] = _without_secrets(key, value)
    return event


def _without_secrets(key: Any, value: Any) -> Any:
    """A value without the secrets in it, however deep in tables and lists they are."""
    if any(word in str(key).lower() for word in SECRET_WORDS):
        return "(hidden)"
    if isinstance(value, Mapping):
        return {inner: _without_secrets(inner, held) for inner, held in value.items()}
    if type(value) in (list, tuple):
        return type(value)(_without_secrets("", held) for held in value)
    return masked(value) if isinstance(value, str) else value


def _for_people(dev: Any) -> Any:
    """Plain tracebacks: a rich one holds up the loop for seconds, and shows what variables hold."""
    return dev.ConsoleRenderer(exception_formatter=dev.plain_traceback)


def set_up(*, level: str = "info", json_lines: bool | None = None) -> None:
    """Configure structlog for the whole process.

    Args:
        level: lowest level shown: debug, info, warning or error.
        json_lines: True for JSON lines, False for people, None to decide by whether stderr is a terminal.
    """
    import structlog  # noqa: PLC0415  (0.12 s; commands that print and leave do not need it)

    as_json = not sys.stderr.isatty() if json_lines is None else json_lines
    last = structlog.processors.JSONRenderer() if as_json else _for_people(structlog.dev)
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            redact,
            structlog.processors.format_exc_info if as_json else structlog.processors.StackInfoRenderer(),
            last,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(getattr(logging, level.upper())),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=False,
    )
    # The MQTT client warns once per publish beyond ten in flight; the journal's cursor already tells that.
    logging.getLogger("mqtt").setLevel(logging.ERROR)
