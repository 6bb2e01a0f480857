"""`steadyohm schema`: JSON Schemas of everything that is recorded and sent."""

from __future__ import annotations

from typing import Annotated

from acquire.answers.options import argument, option, say_json
from acquire.errors import InputImpossible
from acquire.outlets import schemas


def schema(
    name: Annotated[str | None, argument("One record, such as verdict; all of them if left out.")] = None,
    *,
    asyncapi: Annotated[bool, option("The AsyncAPI document of MQTT.", "--asyncapi")] = False,
) -> None:
    """Print the JSON Schemas of everything that is recorded and sent."""
    known = schemas.json_schemas()
    if asyncapi:
        known, name = schemas.asyncapi(), None
    elif name is not None and name not in known:
        raise InputImpossible(f'There is no record "{name}".', f"There are {', '.join(known)}.")
    say_json(known if name is None else known[name], indent=2)
