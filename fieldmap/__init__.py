"""From clipped cover-crop samples to a nitrogen-credit map and zones that a spreader can follow."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fieldmap.errors import InputError as InputError
    from fieldmap.pipeline.run import Result as Result
    from fieldmap.pipeline.run import run as run
    from fieldmap.plan.model import Plan as Plan
    from fieldmap.read.plan import read_plan as read_plan

_HOMES = {
    "InputError": "fieldmap.errors",
    "Plan": "fieldmap.plan.model",
    "Result": "fieldmap.pipeline.run",
    "read_plan": "fieldmap.read.plan",
    "run": "fieldmap.pipeline.run",
}
__all__ = ["InputError", "Plan", "Result", "read_plan", "run"]


def __getattr__(name: str) -> Any:
    """Import on first use: the geospatial libraries take a second that ``fieldmap --help`` need not wait."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'fieldmap' has no attribute '{name}'")
