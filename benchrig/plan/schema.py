"""The JSON Schema of plan files, for editors: from the same models that read them."""

from __future__ import annotations

import inspect
from typing import Any

import msgspec

from benchrig.plan.limit_sets import LimitSetFile
from benchrig.plan.model import PlanFile
from benchrig.plan.step_kinds import usable_kinds
from benchrig.values.limit import ReadingLimit

_REFERENCE = {"type": "string", "pattern": r"\$\{"}


def plan_schema_text() -> str:
    """The schema as JSON text."""
    return msgspec.json.format(msgspec.json.encode(plan_schema()), indent=2).decode()


def plan_schema() -> dict[str, Any]:
    """Every step kind with its keys, limits, given values and the top of the file; those of other packages too, as far as
    they can be used. A reference may stand for any single value."""
    kinds, _ = usable_kinds()
    schemas, components = msgspec.json.schema_components(
        [PlanFile, *kinds], schema_hook=_own, ref_template="#/$defs/{name}"
    )
    for name, component in components.items():
        components[name] = _with_references(_strict(component))
    names = [schema["$ref"].rpartition("/")[2] for schema in schemas[1:]]
    for name, kind in zip(names, kinds, strict=True):
        components[name]["description"] = inspect.getdoc(kind) or ""
    components["Use"] = {
        "type": "object",
        "description": "Include the steps of a file, with its parameters.",
        "properties": {
            "use": {"type": "string"},
            "with": {"type": "object"},
            "name": {"type": "string"},
            **{key: components[names[0]]["properties"][key] for key in ("only_if", "only_after", "proves")},
        },
        "required": ["use"],
        "additionalProperties": False,
    }
    components["Steps"] = {"type": "array", "items": {"anyOf": [*schemas[1:], {"$ref": "#/$defs/Use"}]}}
    top = components["PlanFile"]
    top["properties"] |= {key: {"$ref": "#/$defs/Steps"} for key in ("steps", "finally")}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "benchrig test plan",
        "$ref": "#/$defs/PlanFile",
        "$defs": components,
    }


def limits_schema_text() -> str:
    """That of limit sets, as JSON text."""
    return msgspec.json.format(msgspec.json.encode(limits_schema()), indent=2).decode()


def limits_schema() -> dict[str, Any]:
    """The head, and limits by step and reading. A limit has the keys of the plan that are other ones: none is required."""
    (_, _), components = msgspec.json.schema_components(
        [LimitSetFile, ReadingLimit], schema_hook=_own, ref_template="#/$defs/{name}"
    )
    components = {name: _with_references(_strict(component)) for name, component in components.items()}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "benchrig limit set",
        "$ref": "#/$defs/LimitSetFile",
        "$defs": components,
    }


def _own(kind: type) -> dict[str, Any]:
    """The schema of benchrig's own scalar classes."""
    schema: dict[str, Any] | None = getattr(kind, "source_schema", None)
    if schema is None:
        raise NotImplementedError(f"{kind.__name__} has no source_schema")
    return schema


def _strict(schema: dict[str, Any]) -> dict[str, Any]:
    """Unknown keys are mistakes; defaults of own classes say nothing to an editor."""
    if schema.get("type") == "object" and "properties" in schema:
        schema["additionalProperties"] = False
        for part in schema["properties"].values():
            part.pop("default", None)
    return schema


def _with_references(schema: Any) -> Any:
    """Let `${name}` stand where a number, a truth value, text of a certain form, a list or a limit is due."""
    if isinstance(schema, list):
        return [_with_references(part) for part in schema]
    if not isinstance(schema, dict):
        return schema
    if schema.get("type") in ("integer", "number", "boolean") or schema.keys() & {"enum", "pattern"}:
        return {"anyOf": [schema, _REFERENCE]}
    inside = {key: _with_references(part) for key, part in schema.items()}
    whole = schema.get("type") == "array" or str(schema.get("$ref", "")).endswith("Limit")
    return {"anyOf": [inside, _REFERENCE]} if whole else inside
