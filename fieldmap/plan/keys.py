"""The keys of plan.toml, as a person looks them up: which there are, what they take, which must be given."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, get_args, get_origin

from pydantic import BaseModel

from fieldmap import units
from fieldmap.errors import WrongValueError
from fieldmap.plan.model import ONE_OR_SEVERAL, Plan
from fieldmap.plan.schema import FILLED, plan_schema

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fieldmap.units import Kind


Sort = Literal[
    "quantity", "price", "number", "numbers", "whole number", "choice", "choices", "date", "flag", "text", "table",
]  # fmt: skip
_BLOCK_PARTS = {"crop": "any key of [crop]", "cover_crop": "any key of [cover_crop]"}
_SORTS: dict[str, Sort] = {"boolean": "flag", "integer": "whole number", "object": "table"}
_LISTED: dict[Sort, Sort] = {"choice": "choices", "number": "numbers"}
_SAID: dict[Sort, str] = {
    "date": "a date, such as 2026-05-24",
    "flag": "true or false",
    "whole number": "a whole number",
    "number": "a number",
    "numbers": "numbers, such as [0, 0.5, 1]",
    "table": "a table",
}


@dataclass(frozen=True)
class Key:
    """One key of plan.toml, from its schema.

    Parameters
    ----------
    section, key
        Where it stands: "" for the top of the file, and a point in the key of a table within a section.
    several
        Whether the section may stand several times, as ``[[section]]``.
    description
        What it means, in a sentence or two.
    sort, kind
        Which sort of value it takes; of a quantity, which kind.
    words, names
        The words to choose from, where only these will do; names from the tables of the agronomy.
    examples
        Ways to write a quantity.
    default
        What holds where it is left out, as it would be written; None where nothing does.
    required
        Whether its section cannot do without it.
    section_optional
        Whether a plan does without the whole section.
    """

    section: str
    key: str
    several: bool
    description: str
    sort: Sort
    kind: Kind | None
    words: tuple[str, ...]
    names: tuple[str, ...]
    examples: tuple[str, ...]
    default: Any
    required: bool
    section_optional: bool

    @property
    def place(self) -> str:
        """``[crop] need``, ``[[application]] date``, or ``name`` for a key at the top."""
        section = f"[[{self.section}]]" if self.several else f"[{self.section}]" if self.section else ""
        return f"{section} {self.key}".strip()

    @property
    def takes(self) -> str:
        """What is written there, in words."""
        if self.section == "block" and self.key in _BLOCK_PARTS:
            return _BLOCK_PARTS[self.key]
        if self.words:
            return " | ".join((*(["a number"] if self.sort == "number" else []), *self.words))
        if self.sort in ("quantity", "price"):
            name = self.kind.name if self.kind else "a price"
            return f"{name}, such as " + " or ".join(f'"{example}"' for example in self.examples)
        if self.names:
            return f'a name, such as "{self.names[0]}"' + (
                ", or several in brackets" if self.sort == "choices" else ""
            )
        return _SAID.get(self.sort, "text")

    @property
    def needed(self) -> str:
        """Whether it must be given, and what holds where it is not."""
        if self.required:
            return "required" if "." not in self.key else f"required in {self.key.split('.')[0]}"
        if self.key in FILLED:
            return "optional, by placement"
        if self.default is None:
            return "optional"
        if isinstance(self.default, list):
            return "optional, " + ", ".join(f"{each:g}" for each in self.default)
        return f"optional, {str(self.default).lower() if isinstance(self.default, bool) else self.default}"


@functools.cache
def plan_keys() -> tuple[Key, ...]:
    """Every key of plan.toml in the order of the plan."""
    return tuple(_keys_of(plan_schema(), "", several=False, optional=False))


@functools.cache
def section_descriptions() -> dict[str, str]:
    """What each section of plan.toml is for; "" is the top of the file."""
    found = {"": ""}
    for name, node in plan_schema()["properties"].items():
        model = _object_in(node)
        if model is not None:
            found[name] = model.get("description", "")
    return found


def model_in(annotation: Any) -> type[BaseModel] | None:
    """The section that a field of `Plan` holds, one or several; None where it holds a value."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((model for part in get_args(annotation) if (model := model_in(part))), None)


def _keys_of(
    model: dict[str, Any], section: str, *, several: bool, optional: bool, before: str = ""
) -> Iterator[Key]:
    for name, node in model["properties"].items():
        inner = _object_in(node)
        if inner is not None and not section:
            # A section without which a plan does stands as it is told, and not at all where it is not.
            yield from _keys_of(
                inner,
                name,
                several=any("items" in way for way in _ways(node)),
                optional=_may_be_absent(name),
            )
            continue
        yield _key(node, section, f"{before}{name}", several=several, optional=optional, model=model)
        if inner is not None and section != "block":
            yield from _keys_of(inner, section, several=several, optional=optional, before=f"{name}.")


def _may_be_absent(section: str) -> bool:
    field = Plan.model_fields[section]
    return not field.is_required() and field.get_default(call_default_factory=True) is None


def _key(
    node: dict[str, Any], section: str, key: str, *, several: bool, optional: bool, model: dict[str, Any]
) -> Key:
    leaves = list(_leaves(node))
    titled = next((leaf for leaf in leaves if "title" in leaf), {})
    kind = units.KINDS.get(titled.get("title", ""))
    words = tuple(
        word for leaf in leaves for word in leaf.get("enum", [leaf["const"]] if "const" in leaf else [])
    )
    names = () if titled else tuple(name for leaf in leaves for name in leaf.get("examples", []))
    listed = any("items" in way for way in _ways(node))
    sort = _sort(leaves, kind, choice=bool(words or names))
    return Key(
        section=section,
        key=key,
        several=several,
        description=node.get("description", ""),
        sort=_LISTED.get(sort, sort) if listed else sort,
        kind=kind,
        words=words,
        names=names,
        examples=tuple(titled.get("examples", ())),
        default=node.get("default"),
        required=key.rpartition(".")[2] in model.get("required", ()),
        section_optional=optional,
    )


def _sort(leaves: list[dict[str, Any]], kind: Kind | None, *, choice: bool) -> Sort:
    types = [leaf.get("type", "") for leaf in leaves]
    if kind is not None:
        return "quantity"
    if "number" in types:
        return "number"  # or one of the words
    if choice:
        return "choice"
    if any(leaf.get("format") == "date" for leaf in leaves):
        return "date"
    if any(leaf.get("title") == "a price" for leaf in leaves):
        return "price"
    return next((_SORTS[each] for each in types if each in _SORTS), "text")


def _ways(node: dict[str, Any]) -> list[dict[str, Any]]:
    """The ways in which a value may be written."""
    return [_resolved(way) for way in node.get("anyOf", [node])]


def _leaves(node: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The ways down to single values."""
    for way in _ways(node):
        if "items" in way:
            yield from _leaves(way["items"])
        else:
            yield way


def _object_in(node: dict[str, Any]) -> dict[str, Any] | None:
    return next((leaf for leaf in _leaves(node) if "properties" in leaf), None)


def _resolved(node: dict[str, Any]) -> dict[str, Any]:
    if "$ref" not in node:
        return node
    model: dict[str, Any] = plan_schema()["$defs"][node["$ref"].rpartition("/")[2]]
    return model


def shown_as_list(section: str) -> bool:
    """Whether a section is written ``[[section]]``: a plan may hold several, and not one as ``[section]``."""
    field = Plan.model_fields.get(section)
    if field is None or ONE_OR_SEVERAL in field.metadata:
        return False
    return get_origin(field.annotation) is tuple and model_in(field.annotation) is not None


def wrong_value(finding: Any) -> WrongValueError | None:
    """What a validator of ours raised, out of a finding of pydantic's; None where the finding is pydantic's own."""
    fault = finding.get("ctx", {}).get("error")
    return fault if isinstance(fault, WrongValueError) else None
