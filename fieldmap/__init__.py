"""From clipped cover-crop samples to a nitrogen-credit map and zones that a spreader can follow.

>>> import fieldmap
>>> from fieldmap.demo import sample_farm
>>> plan = fieldmap.read_plan(sample_farm()[-1])  # the folder of a plan
>>> plan.name
'Lower plot'
>>> [round(zone.rate_n_kg_ha) for zone in fieldmap.run(plan.replace(need="120 lb/ac")).spread.zone_map.zones]
[97]
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fieldmap.errors import InputError as InputError
    from fieldmap.interface import Result as Result
    from fieldmap.interface import check as check
    from fieldmap.interface import run as run
    from fieldmap.plan import Plan as Plan
    from fieldmap.read import read_plan as read_plan

    __version__: str

_HOMES = {
    "InputError": "fieldmap.errors",
    "Plan": "fieldmap.plan",
    "Result": "fieldmap.interface",
    "check": "fieldmap.interface",
    "read_plan": "fieldmap.read",
    "run": "fieldmap.interface",
}
__all__ = ["InputError", "Plan", "Result", "__version__", "check", "read_plan", "run"]


def __dir__() -> list[str]:
    return __all__


def __getattr__(name: str) -> Any:
    """Import on first use: the geospatial libraries take a second that ``fieldmap --help`` need not wait."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    if name == "__version__":
        from importlib.metadata import version

        return version("fieldmap")
    raise AttributeError(f"module 'fieldmap' has no attribute '{name}'")
