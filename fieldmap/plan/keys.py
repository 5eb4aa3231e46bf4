"""The keys of plan.toml, as a person looks them up: which there are, what they take, which must be given."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic_core import PydanticUndefined

from fieldmap.plan.model import Plan
from fieldmap.plan.quantities import OneOf
from fieldmap.units import Kind

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import Any

    from pydantic.fields import FieldInfo


FILLED = {"ended_by": "optional, by placement"}  # filled in as the plan is read


def plan_keys() -> tuple[tuple[str, str, str], ...]:
    """Every key of plan.toml with what it takes and whether it must be given, in the order of the plan."""
    return tuple(_keys(Plan, ""))


def _keys(section: type[BaseModel], place: str) -> Iterator[tuple[str, str, str]]:
    for name, field in section.model_fields.items():
        if name == "folder":
            continue
        key = field.alias or name
        inner = model_in(field.annotation)
        several = get_origin(field.annotation) is tuple and inner is not None
        if inner is not None and not place:
            yield from _keys(inner, f"[[{key}]]" if several else f"[{key}]")
        else:
            needed = FILLED.get(name) or ("required" if field.is_required() else _default(field))
            yield f"{place} {key}".strip(), _takes(field), needed


def model_in(annotation: Any) -> type[BaseModel] | None:
    """The section that a field of `Plan` holds, one or several; None where it holds a value."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((model for part in get_args(annotation) if (model := model_in(part))), None)


def _takes(field: FieldInfo) -> str:
    """The kind of value: words to choose from, a quantity with examples, a date, a number, text."""
    words = [word for word in words_of(field) if isinstance(word, str)]
    if words:
        return " | ".join((*(["a number"] if "float" in str(field.annotation) else []), *words))
    kind = kind_of(field)
    if kind is not None:
        return f"{kind.name}, such as " + " or ".join(f'"{example}"' for example in kind.examples)
    kinds = {
        "date": "a date, such as 2026-05-24",
        "bool": "true or false",
        "int": "a whole number",
        "float": "a number",
    }
    text = str(field.annotation)
    return next((shown for kind, shown in kinds.items() if kind in text), "text")


def kind_of(field: FieldInfo) -> Kind | None:
    """The kind of quantity that a key takes; None where it takes something else."""
    return next(
        (each for each in (*field.metadata, *_metadata(field.annotation)) if isinstance(each, Kind)), None
    )


def words_of(field: FieldInfo) -> list[Any]:
    """The words that a key takes, in their order: written out, or of a table."""
    tables = (each for each in (*field.metadata, *_metadata(field.annotation)) if isinstance(each, OneOf))
    return [*_literals(field.annotation), *(word for table in tables for word in table.words())]


def _literals(annotation: Any) -> list[Any]:
    if get_origin(annotation) is Literal:
        return list(get_args(annotation))
    return [word for part in get_args(annotation) for word in _literals(part)]


def _metadata(annotation: Any) -> list[Any]:
    """What stands behind the types, however deep."""
    own = list(annotation.__metadata__) if hasattr(annotation, "__metadata__") else []
    return own + [each for part in get_args(annotation) for each in _metadata(part)]


def _default(field: FieldInfo) -> str:
    value = field.default
    if value in (None, PydanticUndefined, "", ()) or any(isinstance(each, Kind) for each in field.metadata):
        return "optional"
    return f"optional, {str(value).lower() if isinstance(value, bool) else value}"
