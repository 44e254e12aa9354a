"""Canonical bytes by RFC 8785 over a closed value domain.

Text, booleans, null, whole numbers within ±(2^53 - 1), lists, mappings with ASCII keys. Decimals are
carried as text. Outside this domain the bytes would differ from RFC 8785, so it is refused.
"""

import json
import re
from functools import lru_cache
from typing import Any

Value = None | bool | int | str | list["Value"] | dict[str, "Value"]
LARGEST = 2**53 - 1
DEEPEST = 64
PLAIN_TEXT = r'[^"\\\x00-\x1f]*'  # what stands between quotes as it is, without an escape
SHORT = 65536  # bytes up to which a usual form is looked for
_PARTS = {dict, list, tuple}
_PLAIN = _PARTS | {str, int, bool, type(None)}
_ENCODE = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode


class NotCanonicalError(ValueError):
    """The value or the bytes are outside the closed domain, or not in canonical form."""


def canonical(value: Any) -> bytes:  # noqa: ANN401  checked here
    """The canonical bytes. Raises NotCanonicalError for anything outside the domain."""
    if not _plain(value):
        _check(value, 0)  # says what it is
    try:
        return _ENCODE(value).encode()
    except UnicodeEncodeError:
        raise NotCanonicalError("the text holds a lone surrogate") from None


def _plain(value: Any) -> bool:  # noqa: ANN401
    """Whether it is inside the domain, made of nothing but the plain types. Level by level; what stands twice on a
    level is looked at once."""
    level = [value]
    for _ in range(DEEPEST + 1):
        kinds = set(map(type, level))
        if not kinds <= _PLAIN or (int in kinds and not all(map(_fits, level))):
            return False
        parts = {id(part): part for part in level if type(part) in _PARTS}.values() if kinds & _PARTS else ()
        level = []
        for part in parts:
            if type(part) is dict:
                if not all(type(key) is str and key.isascii() for key in part):
                    return False
                level += part.values()
            else:
                level += part
        if not level:
            return True
    return False


def _fits(value: Any) -> bool:  # noqa: ANN401
    return type(value) is not int or -LARGEST <= value <= LARGEST


def _check(value: Any, depth: int) -> None:  # noqa: ANN401
    if depth > DEEPEST:
        raise NotCanonicalError(f"more than {DEEPEST} levels")
    match value:
        case None | bool():
            pass
        case int():
            if not -LARGEST <= value <= LARGEST:
                raise NotCanonicalError(f"{value} does not fit into 53 bits")
        case str():
            pass  # a lone surrogate is found when the bytes are made
        case list() | tuple() | dict():
            _check_parts(value, depth)
        case _:
            raise NotCanonicalError(f"a {type(value).__name__} has no canonical form here")


def _check_parts(value: Any, depth: int) -> None:  # noqa: ANN401
    for key in value if isinstance(value, dict) else ():
        if not isinstance(key, str) or not key.isascii():
            raise NotCanonicalError(f"the key {key!r} is not ASCII text")
    for item in value.values() if isinstance(value, dict) else value:
        _check(item, depth + 1)


def read_canonical(data: bytes, *, most: int = 8 * 1024 * 1024) -> Any:  # noqa: ANN401
    """The value of canonical bytes; anything that does not come back to the same bytes is refused."""
    if len(data) > most:
        raise NotCanonicalError(f"{len(data)} bytes; at most {most} are read")
    try:
        value = _DECODE(data.decode("utf-8"))
        back = _ENCODE(value).encode()
    except NotCanonicalError:
        raise
    except (ValueError, RecursionError) as error:
        raise NotCanonicalError(f"not JSON: {error}") from None
    if back != data:
        raise NotCanonicalError("the bytes are not in canonical form")
    may_be_wrong = not data.isascii() or data.count(b"{") + data.count(b"[") > DEEPEST
    if may_be_wrong and not _plain(value):  # keys that are not ASCII, or too many levels: nothing else is left to find
        _check(value, 0)  # says what it is
    return value


def read_fields(data: bytes, *, form: str, names: frozenset[str], whole: frozenset[str]) -> dict[str, Any]:
    """The fields of a canonical mapping of one format: exactly these, texts but for those that are whole numbers.

    Raises NotCanonicalError.
    """
    usual = _usual_form(form, names, whole)
    try:
        found = usual.fullmatch(data.decode("utf-8")) if len(data) < SHORT else None
    except UnicodeDecodeError:
        found = None
    if found is not None:
        fields: dict[str, Any] = found.groupdict()
        fields.update({n: int(fields[n]) for n in whole})
        return fields
    return read_any_fields(data, form=form, names=names, whole=whole)


@lru_cache(maxsize=32)
def _usual_form(form: str, names: frozenset[str], whole: frozenset[str]) -> re.Pattern[str]:
    """Such a mapping as most are: no text with an escape, no number below 0. Its canonical form is then exactly this."""
    parts = {n: rf'"(?P<{n}>{PLAIN_TEXT})"' if n not in whole else rf"(?P<{n}>0|[1-9][0-9]{{0,14}})" for n in names}
    parts["format"] = f'"{re.escape(form)}"'
    return re.compile("{" + ",".join(rf'"{n}":{parts[n]}' for n in sorted(parts)) + "}")


def read_any_fields(
    data: bytes, *, form: str, names: frozenset[str], whole: frozenset[str]
) -> dict[str, Any]:
    """The same for mappings of every form, more slowly."""
    plain = read_canonical(data)
    if not isinstance(plain, dict) or plain.pop("format", None) != form or plain.keys() != names:
        raise NotCanonicalError(f"not of the format {form}")
    if not all(type(v) is (int if n in whole else str) for n, v in plain.items()):
        raise NotCanonicalError("a field is of the wrong kind")
    return plain


def _int(text: str) -> int:
    if len(text) > 17 or not -LARGEST <= int(text) <= LARGEST:
        raise NotCanonicalError(f"{text[:20]} does not fit into 53 bits")
    return int(text)


def _no_float(text: str) -> None:
    raise NotCanonicalError(f"the number {text} is not a whole number; decimals are carried as text")


_DECODE = json.JSONDecoder(parse_int=_int, parse_float=_no_float, parse_constant=_no_float).decode
