"""JSON Schema of every kind of file, from the models: what an editor needs to complete and to explain.

The files' scalars are text until a field types them, so that a schema says `string` where YAML sees a number
or a truth value; both are allowed there.
"""

from typing import Any

from pydantic import BaseModel

from ohmward.language.models import Gate, Group, Procedure, Rule

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_SCALAR = ["string", "number", "boolean"]


def schemas() -> dict[str, dict[str, Any]]:
    """Kind of file to schema: procedure, gate, group, rule."""
    return {name: schema_of(model) for name, model in _KINDS.items()}


_KINDS: dict[str, type[BaseModel]] = {"procedure": Procedure, "gate": Gate, "group": Group, "rule": Rule}


def schema_of(model: type[BaseModel]) -> dict[str, Any]:
    """One model as a schema in which every scalar may be written plain."""
    made: dict[str, Any] = model.model_json_schema(by_alias=True)
    _loosen(made)
    return {"$schema": DIALECT, **made}


def _loosen(node: Any) -> None:  # noqa: ANN401  a schema's tree
    """Walks the whole tree and writes it as the files are written."""
    if isinstance(node, list):
        for item in node:
            _loosen(item)
    if isinstance(node, dict):
        _without_null(node)
        for value in list(node.values()):
            _loosen(value)
        _plain(node)


def _without_null(node: dict[str, Any]) -> None:
    """A field that is left out is left out: null is never written."""
    kept = [part for part in node.get("anyOf", ()) if part != {"type": "null"}]
    if len(kept) == 1:
        del node["anyOf"]
        node |= {k: v for k, v in kept[0].items() if k not in node}
    elif kept:
        node["anyOf"] = kept
    if "default" in node and node["default"] is None:
        del node["default"]


def _plain(node: dict[str, Any]) -> None:
    """Scalars are written without quotes; lists of exposures may be `none`."""
    if node.get("type") in {"string", "integer"} and not {"enum", "const"} & set(node):
        node["type"] = _SCALAR
    for name in ("hands", "probes"):
        known = node.get(name)
        if isinstance(known, dict) and known.get("type") == "array":
            listed = {k: known.pop(k) for k in ("type", "items") if k in known}
            known["anyOf"] = [{"const": "none"}, listed]
