"""What there is to do, one dataclass a kind: days, blocks and amounts, in numbers.

Every one has `blocks`, the first day on which it can be done and the last: None where there is no such day.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime as dt

    from fieldmap.plan import Method

Range = tuple[float, float]


@dataclass(frozen=True)
class Action:
    """Something to do in some blocks, from `first` to `last`."""

    blocks: tuple[str, ...]
    first: dt.date | None
    last: dt.date | None

    @property
    def day(self) -> dt.date | None:
        """The day it stands under in a list: by which it must be done, else from which it can be."""
        return self.last or self.first


@dataclass(frozen=True)
class SampleAgain(Action):
    """Clip once more: the samples are `days` older than the end of the stand."""

    days: int


@dataclass(frozen=True)
class EndCover(Action):
    """End the cover crop; `sooner_n_kg_ha` and `later_n_kg_ha` are what a week changes of the season's credit.

    None where the stage is not known, or no stage lies that far off.
    """

    ended_by: str
    sooner_n_kg_ha: float | None
    later_n_kg_ha: float | None


@dataclass(frozen=True)
class Plant(Action):
    """Plant later than the plan's `planted`: the residue needs `days` in the ground first."""

    crop: str
    planted: dt.date
    days: int


@dataclass(frozen=True)
class Dig(Action):
    """Walk and dig where the thin stand would get most, `rate_n_kg_ha`, before that is spread.

    `can_hold` says whether the zone can be held at one rate without starving another block.
    """

    zone: int
    rate_n_kg_ha: float
    can_hold: bool


@dataclass(frozen=True)
class InTwo:
    """A block's nitrogen in two goes: early at planting, late side-dressed on a day."""

    block: str
    early_n_kg_ha: float
    late_n_kg_ha: float
    day: dt.date


@dataclass(frozen=True)
class Spread(Action):
    """Spread by the map of one application, its `number`: nitrogen and product, lowest rate and highest.

    `folder` holds its files, "" the output folder itself. `tied_up_n_kg_ha` is what poor residue holds back from the
    young crop. `in_two` says in which blocks two goes serve better than this one. `late_since` is the day since
    which a crop here runs short for want of nitrogen; None where it does not. `timed` says whether weather was there
    to tell when the credit comes, `tested_n_ppm` what the nitrate tests found that it follows, lowest and highest,
    None without one. `work_in_d` is within how many days an organic product is reckoned to be worked in, infinite for
    never; None of a mineral one.
    """

    number: int
    method: Method
    product: str
    product_kg: float
    rate_n_kg_ha: Range
    product_kg_ha: Range
    folder: str
    tied_up_n_kg_ha: float
    in_two: tuple[InTwo, ...]
    late_since: dt.date | None
    timed: bool
    tested_n_ppm: Range | None
    work_in_d: float | None


@dataclass(frozen=True)
class Starter(Action):
    """Nothing is spread, for the credit covers the need: a little at planting all the same, or a soil test."""

    crop: str
    rate_n_kg_ha: float
    enough_nitrate_n_ppm: float


class Why(StrEnum):
    """Why a soil nitrate test is called for."""

    DRAINAGE = "drainage"
    NOTHING_SPREAD = "nothing spread"
    SIDE_DRESSING = "side-dressing"


@dataclass(frozen=True)
class SoilTest(Action):
    """Test the soil nitrate; from the crop's `threshold_ppm` on nothing is side-dressed, None where not known.

    `edges_kg_ha` are, by block, the dry biomass below which its ground is thin and above which it is thick.
    """

    crop: str
    why: Why
    threshold_ppm: float | None
    edges_kg_ha: tuple[tuple[str, Range], ...]

    @property
    def day(self) -> dt.date | None:
        """The first day: a test comes before what it sets."""
        return self.first


@dataclass(frozen=True)
class SideDress(Action):
    """What a nitrate test calls for and no file holds; 0 where it found enough.

    `ground` is thin, middle or thick where the test is of that third of the block, None where it is of all of it.
    """

    crop: str
    rate_n_kg_ha: float
    nitrate_n_ppm: float
    ground: str | None


@dataclass(frozen=True)
class SowCatchCrop(Action):
    """Catch what the harvest leaves: residue with so much nitrogen, kg N/ha."""

    crop: str
    residue_n_kg_ha: float


@dataclass(frozen=True)
class KeepStockOff(Action):
    """Do not feed the stand: what harms, by the name of the species."""

    species: str
    harm: str
