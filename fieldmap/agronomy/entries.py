"""What an entry of each table holds."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, TypeVar

STAGES = {
    "legume": ("vegetative", "bud", "early bloom", "full bloom", "seed set"),  # broadleaves share them
    "grass": ("tillering", "jointing", "boot", "anthesis", "ripe"),
}
# A grass in a mixture whose stage is given for the legume only; from memory (grass_stage_with_legume).
_GRASS_WITH_LEGUME = dict(
    zip(STAGES["legume"], ("jointing", "boot", "anthesis", "anthesis", "ripe"), strict=True)
)
Range = tuple[float, float]


@dataclass(frozen=True)
class CoverCropEntry:
    """A cover crop: shoot nitrogen (% of dry matter) by growth stage, and what else a grower asks of it.

    `carbon_nitrogen` is the C:N of its shoots at the stages where a source gives one, `dry_matter_fraction` the
    usual range of dry over fresh weight, `inoculant` the rhizobium group of a legume, `source` the key of
    %N and `source_of` the key of every figure by its name.
    """

    name: str
    aliases: tuple[str, ...]
    kind: Literal["legume", "grass", "broadleaf"]
    winter_killed: Literal["no", "in cold winters", "by frost"]
    nitrogen_pct: dict[str, float]
    source_of: dict[str, str]
    carbon_nitrogen: dict[str, float] = field(default_factory=dict)
    dry_matter_fraction: Range | None = None
    inoculant: str | None = None

    @property
    def source(self) -> str:
        """The source of its shoot nitrogen."""
        return self.source_of["nitrogen_pct"]

    @property
    def stages(self) -> tuple[str, ...]:
        """The growth stages that serve this cover crop."""
        return STAGES["grass" if self.kind == "grass" else "legume"]

    def stage_beside(self, stage: str) -> str:
        """Its stage where the mixture's is given for the legume alone; empty where that says nothing of it."""
        return stage if stage in self.stages else _GRASS_WITH_LEGUME.get(stage, "")


@dataclass(frozen=True)
class GuideRate:
    """A range of nitrogen rates, lb N/ac, that one source gives for one region."""

    low: float
    high: float
    region: str
    source: str


@dataclass(frozen=True)
class CropEntry:
    """A vegetable. Guide rates (fertiliser, average soil supply already in them) and crop uptake stay apart.

    `uptake_lb_ac` is what a whole crop holds, lb N/ac; `half_uptake_share` the share of the season, planting to
    harvest, at half of its uptake and `uptake_steepness` the logistic rate times the season's length;
    `sidedress_nitrate_mg_kg` the soil nitrate-N (top 30 cm) above which a side-dressing is left out;
    `sidedress_rates` the rate of N, lb/ac, up to each soil nitrate, after manure and without; `removal_*` what the
    harvest carries away. None where no source gives it.
    """

    name: str
    aliases: tuple[str, ...]
    guide_rates: tuple[GuideRate, ...]
    half_uptake_share: float
    uptake_steepness: float
    leafy: bool
    source_of: dict[str, str]
    uptake_lb_ac: Range | None = None
    sidedress_nitrate_mg_kg: float | None = None
    sidedress_rates: dict[str, list[Range]] | None = None
    removal_p2o5_lb_ac: float | None = None
    removal_k2o_lb_ac: float | None = None

    @property
    def need_lb_ac(self) -> Range:
        """The lowest and the highest guide rate of all regions, lb N/ac."""
        return min(rate.low for rate in self.guide_rates), max(rate.high for rate in self.guide_rates)

    @property
    def sources(self) -> tuple[str, ...]:
        """The sources of its guide rates."""
        return tuple(dict.fromkeys(rate.source for rate in self.guide_rates))

    def sidedress_rate_lb_ac(self, nitrate_mg_kg: float, *, manured: bool) -> float | None:
        """The rate that a pre-side-dress test calls for, by the crop's rate table; None where it has none.

        The table's classes are whole mg/kg of nitrate-N.
        """
        if self.sidedress_rates is None:
            return None
        rates = self.sidedress_rates["manured" if manured else "unmanured"]
        return next((rate for most, rate in rates if round(nitrate_mg_kg) <= most), 0.0)


@dataclass(frozen=True)
class Product:
    """A product to spread. `available` is the share of its nitrogen that serves this season.

    `organic` says that its nutrients come from plants or animals; `organic_rules` how the rules of organic
    farming take it; `raw_manure` that days must pass between spreading and harvest.
    """

    name: str
    aliases: tuple[str, ...]
    nitrogen_pct: float
    p2o5_pct: float
    k2o_pct: float
    available: float
    organic: bool
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    bulk_density_kg_m3: float | None = None
    organic_rules: Literal["allowed", "restricted", "prohibited", "ask the certifier"] = "ask the certifier"
    raw_manure: bool = False
    source_of: dict[str, str] = field(default_factory=dict)

    @property
    def nitrogen_fraction(self) -> float:
        """Kilograms of nitrogen that serve this season in a kilogram of product."""
        return self.nitrogen_pct / 100.0 * self.available


@dataclass(frozen=True)
class Growth:
    """How a stand grows: dry matter at each stage against the first, and the days from one stage to the next."""

    name: str
    dry_matter: dict[str, float]
    stage_days: float
    source_of: dict[str, str]


@dataclass(frozen=True)
class Figure:
    """One figure of the season's models or of the limits, with its unit and source."""

    name: str
    value: float
    unit: str
    meaning: str
    source: str


Entry = TypeVar("Entry", CoverCropEntry, CropEntry, Product)
Model = Literal["soil", "release", "uptake"]
