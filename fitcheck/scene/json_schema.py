"""JSON Schema of our files, for editors: completion, help texts, and what is plainly wrong."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

DIALECT = "https://json-schema.org/draft/2020-12/schema"


class _ForEditors(GenerateJsonSchema):
    """A key that may be left out may not be left empty; names are checked as well as values."""

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        made = super().default_schema(schema)
        if made.get("default") in (None, "", 0) and made.get("default") is not False:
            made.pop("default", None)
        return made

    def dict_schema(self, schema: core_schema.DictSchema) -> JsonSchemaValue:
        made: JsonSchemaValue = {"type": "object"}
        if "keys_schema" in schema:
            made["propertyNames"] = self.generate_inner(schema["keys_schema"])
        if "values_schema" in schema:
            made["additionalProperties"] = self.generate_inner(schema["values_schema"])
        if "min_length" in schema:
            made["minProperties"] = schema["min_length"]
        return made


def generate(kind: type[BaseModel], title: str) -> dict[str, Any]:
    """The schema of one kind of file; it needs no other file and no network."""
    made = kind.model_json_schema(schema_generator=_ForEditors, mode="validation")
    _drop_titles(made)
    return {"$schema": DIALECT, "title": title, **made}


def _drop_titles(schema: Any) -> None:
    """Take out the titles made from field names: an editor would show them instead of the help."""
    if isinstance(schema, list):
        for inner in schema:
            _drop_titles(inner)
    if not isinstance(schema, dict):
        return
    if isinstance(schema.get("title"), str):
        del schema["title"]
    for key, inner in schema.items():
        if key in ("properties", "$defs"):
            for named in inner.values():
                _drop_titles(named)
        else:
            _drop_titles(inner)
