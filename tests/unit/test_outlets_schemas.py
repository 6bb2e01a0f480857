"""The public contract: JSON Schemas and the AsyncAPI document, checked against their own standards."""

import gzip
import json
from pathlib import Path

import jsonschema
import pytest

from acquire.outlets import schemas
from acquire.outlets.topics import TOPIC_OF_KIND

ASYNCAPI = Path(__file__).parent.parent / "data" / "asyncapi-3.0.0.schema.json.gz"


@pytest.mark.parametrize("name", list(schemas.json_schemas()))
def test_every_schema_is_one(name):
    """Draft 2020-12, complete in itself."""
    schema = schemas.json_schemas()[name]

    jsonschema.Draft202012Validator.check_schema(schema)
    assert '"$ref"' not in json.dumps(schema)
    assert schema["$id"].startswith("urn:steadyohm:2:")


def test_descriptions_are_sentences_and_no_title_is_made_up():
    """What is said of an attribute stands at the attribute."""

    def parts(part):
        yield part
        for value in part.values() if isinstance(part, dict) else part if isinstance(part, list) else ():
            yield from parts(value)

    all_schemas = schemas.json_schemas()
    for schema in all_schemas.values():
        found = [part for part in parts(schema) if isinstance(part, dict)]
        assert not [part for part in found if isinstance(part.get("title"), str)]
        told = [part["description"] for part in found if isinstance(part.get("description"), str)]
        assert not [text for text in told if "\n" in text or "Attributes:" in text]
    assert "given up" in all_schemas["unit_result"]["description"]
    assert all_schemas["unit_result"]["properties"]["wait_s"]["description"].startswith("how long to wait")
    assert all_schemas["verdict"]["properties"]["lead_ohm"]["description"] == "subtracted for the leads"


def test_the_asyncapi_document_keeps_the_standards_schema():
    """AsyncAPI 3.0.0's own JSON Schema (see tests/data/asyncapi-3.0.0.source.txt)."""
    standard = json.loads(gzip.decompress(ASYNCAPI.read_bytes()))
    check = jsonschema.Draft7Validator(standard)
    document = schemas.asyncapi()

    check.validate(document)
    assert not check.is_valid({**document, "channels": {"x": {"address": 7}}}), "the check has teeth"


def test_every_reference_of_the_document_leads_somewhere():
    """A typing mistake in a name would not be seen by the schema."""
    document = schemas.asyncapi()

    def references(part):
        if isinstance(part, dict):
            if "$ref" in part:
                yield part["$ref"]
            for value in part.values():
                yield from references(value)
        elif isinstance(part, list):
            for value in part:
                yield from references(value)

    found = list(references(document))
    assert len(found) > 10
    for reference in found:
        place = document
        for key in reference.removeprefix("#/").split("/"):
            place = place[key]


def test_every_topic_has_its_channel():
    """Kinds of entries go where the document says."""
    for kind, last in TOPIC_OF_KIND.items():
        assert any(last == schemas.last_of(n) and kind in schemas.messages_of(n) for n in schemas.CHANNELS)


def test_the_document_is_plain_json():
    """Nothing of Python in it."""
    assert json.loads(json.dumps(schemas.asyncapi(), allow_nan=False)) == schemas.asyncapi()
