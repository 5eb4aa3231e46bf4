"""Where a problem is: kept in fields, shown in words, and never read back out of the words."""

import ast
from dataclasses import replace
from pathlib import Path

import pytest

from fieldmap.errors import InputError, Problem, WrongValueError, counted_problem
from fieldmap.plan import Plan
from fieldmap.plan.keys import shown_as_list

MODULES = sorted(
    path for path in (Path(__file__).parents[1] / "fieldmap").rglob("*.py") if path.name != "errors.py"
)
WORDS = {"where", "what", "found", "expected", "action"}


def problem(**place):
    return Problem("plan.toml", "found 1", "2 is expected", "Correct it", **place)


@pytest.mark.parametrize(
    ("place", "where"),
    [
        ({}, ""),
        ({"key": "name"}, "name"),
        ({"section": "crop"}, "[crop]"),
        ({"section": "crop", "key": "need"}, "[crop] need"),
        ({"section": "spreader", "table": "product", "key": "nitrogen"}, "[spreader] product.nitrogen"),
        ({"section": "application", "several": True}, "[[application]]"),
        ({"section": "application", "entry": 2, "key": "date"}, "[[application]] 2 date"),
        ({"section": "block", "several": True, "key": "block"}, "[[block]] block"),
        ({"section": "block", "entry": 2, "table": "crop", "key": "need"}, "[[block]] 2 crop.need"),
        (
            {"section": "block", "entry": 2, "block": "west", "table": "crop", "key": "need"},
            "[[block]] west crop.need",
        ),
        ({"section": "other_credits", "several": True, "part": "manure"}, "[[other_credits]] manure"),
        ({"row": 14}, "row 14"),
        ({"feature": 3}, "feature 3"),
        ({"block": "west"}, "block west"),
        ({"part": "line 3"}, "line 3"),
        ({"row": 2, "more": 3}, "row 2 and 3 more"),
    ],
)
def test_the_place_in_words(place, where):
    shown = f"plan.toml, {where}" if where else "plan.toml"
    assert problem(**place).where == where
    assert str(problem(**place)) == f"{shown}: found 1; 2 is expected. Correct it."


def test_rows_and_features_are_told_apart():
    words = ("found 1", "2 is expected", "Correct it")
    assert counted_problem("plan.toml", "row", 4, *words) == problem(row=4)
    assert counted_problem("plan.toml", "feature", 4, *words) == problem(feature=4)


def test_the_same_at_many_places_is_said_once():
    rows = [problem(row=number) for number in (2, 5, 9, 14)]
    other = replace(rows[0], found="found 3")
    error = InputError(*rows[:2], other, *rows[2:])
    assert str(error) == (
        "plan.toml, row 2 and 3 more: found 1; 2 is expected. Correct it.\n"
        "plan.toml, row 2: found 3; 2 is expected. Correct it."
    )
    assert error.problems == (problem(row=2, more=3), other)
    assert error.places == (*rows[:2], other, *rows[2:])


def test_what_was_merged_once_is_counted_whole():
    merged = InputError(problem(row=2), problem(row=5)).problems
    assert InputError(*merged, problem(row=9)).problems == (problem(row=2, more=2),)
    assert InputError(problem(row=9), *merged).problems == (problem(row=9, more=2),)


def test_a_missing_key_is_not_merged_with_a_wrong_one():
    assert len(InputError(problem(key="a", missing=True), problem(key="b")).problems) == 2


def test_a_wrong_value_holds_its_halves():
    assert str(WrongValueError('found "a; b"', "c is expected")) == 'found "a; b"; c is expected'
    assert WrongValueError('found "a; b"', "c is expected").found == 'found "a; b"'
    assert str(WrongValueError("rate_max is less than rate_min")) == "rate_max is less than rate_min"


@pytest.mark.parametrize("path", MODULES, ids=str)
def test_the_words_of_a_problem_are_shown_and_never_read(path):
    """No part of a problem's words is compared, cut up, searched or asked what it starts with."""
    read = []
    for node in ast.walk(ast.parse(path.read_text())):
        parts = (
            list(ast.iter_child_nodes(node))
            if isinstance(node, ast.Compare | ast.Attribute | ast.Subscript)
            else []
        )
        if isinstance(node, ast.Call) and ast.unparse(node.func).startswith("re."):
            parts = node.args
        read += [part for part in parts if isinstance(part, ast.Attribute) and part.attr in WORDS]
    assert not [f"line {part.lineno}: {ast.unparse(part)}" for part in read]


@pytest.mark.parametrize("path", MODULES, ids=str)
def test_a_section_that_is_named_is_one_of_the_plan_and_shown_as_the_plan_has_it(path):
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "Problem":
            told = {keyword.arg: keyword.value for keyword in node.keywords}
            section = told.get("section")
            if isinstance(section, ast.Constant):
                assert section.value in Plan.model_fields, f"line {node.lineno}"
                as_list = "entry" in told or "several" in told
                assert as_list == shown_as_list(section.value), f"line {node.lineno}"
