"""Stored JSON as frozen dataclasses: written whole, and read back strictly.

What is stored holds codes and figures; sentences are made from them when they are shown. A reader that meets a key it
does not know, misses one, or finds another type refuses the value and says where, instead of guessing.
"""

from __future__ import annotations

import types
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from functools import cache
from typing import Any, ClassVar, Literal, Self, TypeVar, Union, cast, get_args, get_origin, get_type_hints

T = TypeVar("T")
Read = Callable[[Any], Any]


class StoredError(ValueError):
    """A stored value that this version cannot read; `path` leads to the place, as in `tables.3.mean`."""

    def __init__(self, why: str, *path: object) -> None:
        super().__init__(why)
        self.why = why
        self.path = path

    def __str__(self) -> str:
        place = ".".join(map(str, self.path))
        return f"{place}: {self.why}" if place else self.why

    def within(self, step: object) -> StoredError:
        """Return the same error, seen from one step further out."""
        return StoredError(self.why, step, *self.path)


class Stored:
    """A dataclass that is stored as a JSON document of its own, with the number of its format.

    Another number means another shape: raise `FORMAT` whenever fields change.
    """

    FORMAT: ClassVar[int] = 1

    def to_json(self) -> dict[str, Any]:
        """Return the document to store."""
        return {"format": self.FORMAT, **to_json(self)}

    @classmethod
    def from_json(cls, document: Any) -> Self:
        """Read a stored document.

        Raises StoredError for another format, a key that is unknown or missing, and a value of another type.
        """
        if not isinstance(document, Mapping):
            raise StoredError(f"{_kind(document)} where {cls.__name__} is stored")
        number = document.get("format")
        if number != cls.FORMAT or isinstance(number, bool):
            raise StoredError(
                f"{cls.__name__} is stored in format {number}, and this version of Fairbox reads format {cls.FORMAT}; "
                "start the version that wrote it, or calculate it again"
            )
        return read(cls, {key: value for key, value in document.items() if key != "format"})


def to_json(value: Any) -> Any:
    """Return dataclasses and named tuples as objects and other tuples as lists, all the way down."""
    if not isinstance(value, type) and (names := _field_names(value)) is not None:
        return {name: to_json(getattr(value, name)) for name in names}
    if isinstance(value, Mapping):
        return {key: to_json(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [to_json(part) for part in value]
    return value


def read(kind: type[T], value: Any) -> T:
    """Return a value parsed from JSON as `kind`: a dataclass, or a type made of those its fields may have.

    Fields may be str, int, float, bool, None, a literal, `X | None`, a tuple (of one kind, or fixed), a mapping from
    str, a named tuple, or another dataclass. Raises StoredError.
    """
    result: T = _reader(cast(Hashable, kind))(value)
    return result


@cache
def _reader(kind: Any) -> Read:
    origin, arguments = get_origin(kind), get_args(kind)
    if kind in (str, int, float, bool):
        return _plain(kind)
    if kind is type(None):
        return _one_of((None,))
    if origin is Literal:
        return _one_of(arguments)
    if origin in (Union, types.UnionType):
        return _optional(arguments)
    if origin is tuple:
        return _sequence(_reader(arguments[0])) if arguments[-1] is ... else _fixed(tuple(map(_reader, arguments)))
    if origin in (dict, Mapping):
        return _mapping(_reader(arguments[1]))
    names = _field_names(kind)
    if names is not None:
        return _record(kind, names)
    raise TypeError(f"{kind} is no kind of value that is stored")


def _plain(kind: type) -> Read:
    def read_plain(value: Any) -> Any:
        if type(value) is kind:
            return value
        if kind is float and type(value) is int:
            return float(value)
        raise StoredError(f"{_kind(value)} where {_NAMES[kind]} is stored")

    return read_plain


def _one_of(allowed: tuple[Any, ...]) -> Read:
    def read_one(value: Any) -> Any:
        if any(value == each and type(value) is type(each) for each in allowed):
            return value
        raise StoredError(f"{value!r} where one of {', '.join(map(repr, allowed))} is stored")

    return read_one


def _optional(kinds: tuple[Any, ...]) -> Read:
    """`X | None`: other unions would leave open which one is meant."""
    inner = [kind for kind in kinds if kind is not type(None)]
    if len(inner) != 1:
        raise TypeError(f"{kinds} leaves open what is stored")
    read_inner = _reader(inner[0])
    return lambda value: None if value is None else read_inner(value)


def _sequence(read_part: Read) -> Read:
    def read_sequence(value: Any) -> tuple[Any, ...]:
        return tuple(_at(place, read_part, part) for place, part in enumerate(_list(value)))

    return read_sequence


def _fixed(readers: tuple[Read, ...]) -> Read:
    def read_fixed(value: Any) -> tuple[Any, ...]:
        parts = _list(value)
        if len(parts) != len(readers):
            raise StoredError(f"{len(parts)} values where {len(readers)} are stored")
        return tuple(_at(place, reader, part) for place, (reader, part) in enumerate(zip(readers, parts, strict=True)))

    return read_fixed


def _list(value: Any) -> Sequence[Any]:
    if not isinstance(value, list | tuple):
        raise StoredError(f"{_kind(value)} where a list is stored")
    return value


def _mapping(read_part: Read) -> Read:
    def read_mapping(value: Any) -> dict[str, Any]:
        if not isinstance(value, Mapping):
            raise StoredError(f"{_kind(value)} where an object is stored")
        return {key: _at(key, read_part, part) for key, part in value.items()}

    return read_mapping


def _field_names(record: Any) -> tuple[str, ...] | None:
    """Return the names of a dataclass's or named tuple's fields; None for what is neither."""
    if is_dataclass(record):
        return tuple(field.name for field in fields(record))
    names: tuple[str, ...] | None = getattr(record, "_fields", None)
    return names


def _record(kind: Any, names: tuple[str, ...]) -> Read:
    hints = get_type_hints(kind)
    readers = {name: _reader(hints[name]) for name in names}

    def read_record(value: Any) -> Any:
        if not isinstance(value, Mapping):
            raise StoredError(f"{_kind(value)} where {kind.__name__} is stored")
        if value.keys() != readers.keys():
            _refuse_keys(value, readers)
        return kind(**{name: _at(name, reader, value[name]) for name, reader in readers.items()})

    return read_record


def _refuse_keys(value: Mapping[str, Any], known: Mapping[str, Any]) -> None:
    unknown, missing = sorted(value.keys() - known.keys()), sorted(known.keys() - value.keys())
    faults = [f"unknown {', '.join(unknown)}"] * bool(unknown) + [f"missing {', '.join(missing)}"] * bool(missing)
    raise StoredError(" and ".join(faults))


def _at(step: object, read_part: Read, part: Any) -> Any:
    try:
        return read_part(part)
    except StoredError as error:
        raise error.within(step) from None


_NAMES = {str: "a text", int: "a whole number", float: "a number", bool: "true or false"}


def _kind(value: Any) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, Mapping):
        return "an object"
    if isinstance(value, list | tuple):
        return "a list"
    return _NAMES.get(type(value), f"a {type(value).__name__}")
