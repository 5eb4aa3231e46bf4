"""What an entry of each table holds."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal, TypeVar

import numpy as np

STAGES = {
    "legume": ("vegetative", "bud", "early bloom", "full bloom", "seed set"),  # broadleaves share them
    "grass": ("tillering", "jointing", "boot", "anthesis", "ripe"),
}
# A grass in a mixture whose stage is given for the legume only; from memory (grass_stage_with_legume).
GRASS_STAGE_WITH_LEGUME = dict(
    zip(STAGES["legume"], ("jointing", "boot", "anthesis", "anthesis", "ripe"), strict=True)
)
WEED_NITROGEN_PCT = 2.0  # weed_memory
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


# C:N of the organic part, and the share of its nitrogen released in 12 weeks at 20 °C (unknown_organic_memory).
_CARBON_NITROGEN = (4.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0)
_RELEASED_BY_CARBON_NITROGEN = (0.65, 0.52, 0.40, 0.30, 0.20, 0.08, 0.0)
_UNKNOWN_RATE_D, _UNKNOWN_SD_POINTS = 0.15, 12.0  # unknown_organic_memory


@dataclass(frozen=True)
class OrganicRelease:
    """How the nitrogen of an organic product becomes available; `fieldmap.season.organic` reckons with it.

    `nh4_share` of its total nitrogen is NH4-N; of the rest, its organic nitrogen, `rapid` and `slow` are the shares
    that are released at `rapid_rate_d` and `slow_rate_d` a day, in moist soil at 20 °C; what is in neither does not
    come this season. `sd_points` is the error of what is released, points (%) of organic nitrogen;
    `rapid_on_surface` what is kept of `rapid` where the product is never worked in.
    """

    nh4_share: float
    rapid: float
    rapid_rate_d: float
    slow: float
    slow_rate_d: float
    sd_points: float
    rapid_on_surface: float = 1.0

    @classmethod
    def by_carbon_nitrogen(cls, carbon_nitrogen: float) -> OrganicRelease:
        """What an organic product that no table knows releases, by the C:N of its organic part; from memory."""
        released = np.interp(carbon_nitrogen, _CARBON_NITROGEN, _RELEASED_BY_CARBON_NITROGEN)
        return cls(0.0, float(released), _UNKNOWN_RATE_D, 0.0, 0.0, _UNKNOWN_SD_POINTS)


@dataclass(frozen=True)
class Product:
    """A product to spread.

    `available` is the share of its nitrogen that serves the crop it is spread for: 1 of a mineral product. Of an
    organic one it is None until day, warmth and placement are known and `fieldmap.season.organic.acting` has worked
    it out of `release`; `available_error` is its standard deviation as a share of it. `organic` says that its
    nutrients come from plants or animals; `organic_rules` how the rules of organic farming take it; `raw_manure`
    that days must pass between spreading and harvest; `origin` what limits of total nitrogen tell apart.
    """

    name: str
    aliases: tuple[str, ...]
    nitrogen_pct: float
    p2o5_pct: float
    k2o_pct: float
    organic: bool
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    available: float | None = None
    available_error: float = 0.0
    release: OrganicRelease | None = None
    bulk_density_kg_m3: float | None = None
    organic_rules: Literal["allowed", "restricted", "prohibited", "ask the certifier"] = "ask the certifier"
    raw_manure: bool = False
    origin: Literal["livestock manure", "compost", "other"] = "other"
    source_of: dict[str, str] = field(default_factory=dict)

    def analysed(self, *, nh4_share: float | None = None, carbon_nitrogen: float | None = None) -> Product:
        """The same organic product with a laboratory's share of NH4-N; by its C:N where no table knows it."""
        release = self.release
        if carbon_nitrogen is not None:
            release = OrganicRelease.by_carbon_nitrogen(carbon_nitrogen)
        if release is not None and nh4_share is not None:
            release = replace(release, nh4_share=nh4_share)
        return replace(self, release=release, available=None)

    @property
    def nitrogen_fraction(self) -> float:
        """Kilograms of nitrogen that serve this season in a kilogram of product.

        Raises
        ------
        ValueError
            For an organic product of which nobody has said when and where it acts.
        """
        if self.available is None:
            raise ValueError(
                f"{self.name}: what of it serves a crop depends on its days, warmth and placement"
            )
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
    """One figure of the season's models, with its unit and source."""

    name: str
    value: float
    unit: str
    meaning: str
    source: str


Entry = TypeVar("Entry", CoverCropEntry, CropEntry, Product)
Model = Literal["soil", "release", "organic", "uptake"]
