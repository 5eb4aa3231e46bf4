"""What can be wrong with a user's input, worded for the user.

A problem always says what was found and where, what is expected, and what to do next. The command line,
the app and the batch run show the same text. Where it is about is kept in fields; the words for it are made from
them, and nothing is ever read back out of the words.
"""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass, replace
from typing import Literal

Counted = Literal["row", "feature"]  # what is numbered in a file: rows of a table, features of a layer


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong with the input.

    Parameters
    ----------
    file
        Name of the file as the user knows it (no folder), such as ``samples.csv``.
    found
        What was found, with the offending value.
    expected
        What would be right.
    action
        What to do next, a full sentence without its full stop.
    section
        Section of the plan, such as ``crop``.
    several
        Whether the plan holds a list of this section: ``[[block]]``, not ``[crop]``.
    entry
        Number of the entry in such a list, from 1.
    block
        Name of the block.
    table
        Table inside the section that holds the key: ``cover_crop`` of a block, ``pan_test`` of the spreader.
    key
        Key of the plan; with a number after a point where it is one of several values.
    row, feature
        Number of the row in a table, as a spreadsheet shows it, or of the feature in a layer, from 1.
    part
        Any other place, in words: ``line 3``. It is only ever shown.
    more
        At how many other places the same is wrong.
    missing
        Whether a key or section that must be given is not there.
    """

    file: str
    found: str
    expected: str
    action: str
    _: KW_ONLY
    section: str = ""
    several: bool = False
    entry: int | None = None
    block: str = ""
    table: str = ""
    key: str = ""
    row: int | None = None
    feature: int | None = None
    part: str = ""
    more: int = 0
    missing: bool = False

    @property
    def where(self) -> str:
        """The place in words: ``row 14``, ``[crop] need``, ``[[block]] west crop.need``; empty for the whole file."""
        section, which = "", self.block or self.part
        if self.section:
            is_list = self.several or self.entry is not None
            section = f"[[{self.section}]]" if is_list else f"[{self.section}]"
            which = which or ("" if self.entry is None else str(self.entry))
        elif self.row is not None:
            which = f"row {self.row}"
        elif self.feature is not None:
            which = f"feature {self.feature}"
        elif self.block:
            which = f"block {self.block}"
        key = f"{self.table}.{self.key}" if self.table else self.key
        place = " ".join(word for word in (section, which, key) if word)
        return f"{place} and {self.more} more" if self.more else place

    @property
    def what(self) -> str:
        """What was found, what is expected and what to do, for a text that stands at its place."""
        return f"{self.found}; {self.expected}. {self.action}."

    @property
    def anywhere(self) -> Problem:
        """The same fault without its place."""
        return Problem(self.file, self.found, self.expected, self.action, missing=self.missing)

    def __str__(self) -> str:
        place = f"{self.file}, {self.where}" if self.where else self.file
        return f"{place}: {self.what}"


def counted_problem(
    file: str, counted: Counted, number: int, found: str, expected: str, action: str
) -> Problem:
    """A problem in one row of a table or one feature of a layer."""
    if counted == "row":
        return Problem(file, found, expected, action, row=number)
    return Problem(file, found, expected, action, feature=number)


class InputError(Exception):
    """The input is at fault; holds every problem found, so that all can be mended at once.

    What is wrong in the same words at many places is said once in `problems`, with the first place and their
    number; `places` holds each by itself, for a table that marks its rows.
    """

    def __init__(self, *problems: Problem) -> None:
        self.places = problems
        alike: dict[Problem, list[Problem]] = {}
        for problem in problems:
            alike.setdefault(problem.anywhere, []).append(problem)
        self.problems = tuple(
            replace(first, more=first.more + sum(1 + other.more for other in others))
            for first, *others in alike.values()
        )
        super().__init__("\n".join(str(problem) for problem in self.problems))


class OutputExistsError(InputError):
    """The output folder is already there and may not be replaced."""


class WrongValueError(ValueError):
    """A value that will not do; who knows where it stands makes a `Problem` of it.

    Parameters
    ----------
    found
        What was found, with the value.
    expected
        What would be right; empty where `found` says it: two values that do not agree.
    """

    def __init__(self, found: str, expected: str = "") -> None:
        self.found, self.expected = found, expected
        super().__init__(f"{found}; {expected}" if expected else found)
