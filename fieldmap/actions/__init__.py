"""What to do: one dated list from the plan, the stand, the season and the machine, in numbers."""

from fieldmap.actions.kinds import (
    Action,
    Dig,
    EndCover,
    InTwo,
    KeepStockOff,
    Plant,
    SampleAgain,
    SideDress,
    SoilTest,
    SowCatchCrop,
    Spread,
    Starter,
    Why,
)
from fieldmap.actions.listed import actions_of

__all__ = [
    "Action",
    "Dig",
    "EndCover",
    "InTwo",
    "KeepStockOff",
    "Plant",
    "SampleAgain",
    "SideDress",
    "SoilTest",
    "SowCatchCrop",
    "Spread",
    "Starter",
    "Why",
    "actions_of",
]
