"""What can be wrong with a user's input, worded for the user.

A problem always says what was found and where, what is expected, and what to do next. The command line,
the app and the batch run show the same text.
"""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong with the input.

    Parameters
    ----------
    file
        Name of the file as the user knows it (no folder), such as ``samples.csv``.
    where
        Place inside the file: ``row 14``, ``feature 3``, ``[crop] need``; empty for the whole file.
    found
        What was found, with the offending value.
    expected
        What would be right.
    action
        What to do next, a full sentence without its full stop.
    """

    file: str
    where: str
    found: str
    expected: str
    action: str

    def __str__(self) -> str:
        place = f"{self.file}, {self.where}" if self.where else self.file
        return f"{place}: {self.found}; {self.expected}. {self.action}."


class InputError(Exception):
    """The input is at fault; holds every problem found, so that all can be mended at once.

    What is wrong in the same words at many places is said once in `problems`, with the first place and their
    number; `places` holds each by itself, for a table that marks its rows.
    """

    def __init__(self, *problems: Problem) -> None:
        self.places = problems
        places: dict[Problem, list[str]] = {}
        for problem in problems:
            places.setdefault(replace(problem, where=""), []).append(problem.where)
        self.problems = tuple(
            replace(problem, where=where[0] if len(where) == 1 else f"{where[0]} and {len(where) - 1} more")
            for problem, where in places.items()
        )
        super().__init__("\n".join(str(problem) for problem in self.problems))


class OutputExistsError(InputError):
    """The output folder is already there and may not be replaced."""
