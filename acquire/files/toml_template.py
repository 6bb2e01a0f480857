"""Writes a TOML file from a template of jinja2. Not for reading one (toml_file)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any


def toml_from(template: Path, **facts: Any) -> str:
    """The text of a file.

    Args:
        template: what it looks like; the filter `toml` writes a value as TOML wants it.
        facts: what stands in it.
    """
    import jinja2  # noqa: PLC0415  (a bench that writes no file need not pay for it)

    files = jinja2.Environment(  # noqa: S701  (no page: text is quoted as TOML wants it)
        loader=jinja2.FileSystemLoader(template.parent),
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        keep_trailing_newline=True,
    )
    files.filters["toml"] = _toml
    return files.get_template(template.name).render(facts)


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return str(value) if isinstance(value, int | float) else json.dumps(str(value), ensure_ascii=False)
