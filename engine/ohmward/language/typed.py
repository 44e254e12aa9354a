"""A tree of nodes typed by a model: every fault with its place and a remedy in our words."""

from dataclasses import dataclass
from typing import TypeVar, assert_never

from pydantic import BaseModel, ValidationError

from ohmward.language.nodes import At, Faults, Fields, Items, Node, Text
from ohmward.language.suggest import remedy_for

M = TypeVar("M", bound=BaseModel)
Path = tuple[int | str, ...]


def plain(node: Node) -> object:
    """The node as text, list and dict."""
    match node:
        case Text(text=text):
            return text
        case Items(items=items):
            return [plain(item) for item in items]
        case Fields(pairs=pairs):
            return {key.text: plain(value) for key, value in pairs}
        case _:
            assert_never(node)


def place_of(root: Fields, path: Path, *, key: bool = False) -> At:
    """Where the value at `path` stands; the nearest enclosing place when the path leaves the tree."""
    node: Node = root
    at = root.at
    for index, part in enumerate(path):
        last = index == len(path) - 1
        if isinstance(node, Fields):
            found = next(((k, v) for k, v in node.pairs if k.text == part), None)
            if found is None:
                continue
            at = found[0].at if (key and last) or not isinstance(found[1], Text) else found[1].at
            node = found[1]
        elif isinstance(node, Items) and isinstance(part, int) and part < len(node.items):
            node = node.items[part]
            at = node.at
    return at


def typed(root: Fields, model: type[M], faults: Faults) -> M | None:
    """The model, or None with the faults collected."""
    try:
        return model.model_validate(plain(root))
    except ValidationError as error:
        details = [(_path(d["loc"]), d) for d in error.errors(include_url=False)]
        for path, detail in details:
            # of a field that may be a text or a list, what is wrong inside the list is the fault
            if detail["type"] in _WANTED and any(
                p[: len(path)] == path and len(p) > len(path) for p, _ in details
            ):
                continue
            _Fault(root, model, faults, path).add(
                str(detail["type"]), str(detail["msg"]), detail.get("ctx", {})
            )
        return None


def _path(loc: Path) -> Path:
    """The place in the file, without the names of the kinds that a field may be."""
    words = {"constrained-str", "str"}
    return tuple(
        p for p in loc if isinstance(p, int) or p == "[key]" or not ({"[", "("} & set(p) or p in words)
    )


_LIST = ("a list", "put each on a line of its own below it, with `- ` before it")
_FIELDS = ("a mapping of fields", "put `name: value` lines below it, further in")
_WANTED = {
    "tuple_type": _LIST,
    "dict_type": ("a mapping", "put `name: value` lines below it, further in"),
    "string_type": ("text", "write one text; quote it when it holds : or #"),
    "model_type": _FIELDS,
    "model_attributes_type": _FIELDS,
}


@dataclass(frozen=True, slots=True)
class _Fault:
    """One thing that the model did not take, told in our words at its place."""

    root: Fields
    model: type[BaseModel]
    faults: Faults
    path: Path

    def add(self, kind: str, text: str, ctx: dict[str, object]) -> None:
        name = str(self.path[-1]) if self.path else "the file"
        at, key = place_of(self.root, self.path), place_of(self.root, self.path, key=True)
        add = self.faults.add
        match kind:
            case "missing":
                above = place_of(self.root, self.path[:-1], key=True)
                add(above, "missing-field", f"'{name}' is missing here", f"add `{name}:`")
            case "extra_forbidden":
                known = _fields_at(self.model, self.path[:-1])
                add(
                    key,
                    "unknown-field",
                    f"'{name}' is not a field here",
                    remedy_for(name, known, what="fields"),
                )
            case "literal_error":
                expected = str(ctx.get("expected", "")).replace(" or ", ", ")
                where = key if name == "[key]" else at
                add(where, "unknown-word", f"'{name}' cannot be this word", f"one of {expected}")
            case "too_short":
                add(key, "empty", f"'{name}' is empty", "write at least one")
            case "value_error":
                problem, _, remedy = text.removeprefix("Value error, ").partition("\n")
                add(at, "bad-value", problem, remedy or "write it in that form")
            case _:
                wanted, how = _WANTED.get(kind, ("another kind of value", "see the list of fields"))
                add(at, "wrong-kind", f"'{name}' must be {wanted}", how)


def _fields_at(model: type[BaseModel], path: Path) -> list[str]:
    """The field names of the model that stands at `path`."""
    current: type[BaseModel] | None = model
    for part in path:
        if current is None:
            return []
        field = next((f for n, f in current.model_fields.items() if (f.alias or n) == part), None)
        if field is not None:
            current = _model_in(field.annotation)
    return [f.alias or n for n, f in current.model_fields.items()] if current else []


def _model_in(annotation: object) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        found = _model_in(inner)
        if found is not None:
            return found
    return None
