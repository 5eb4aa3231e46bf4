"""What an entry of each table holds."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Literal, TypeVar

import numpy as np

STAGES = {
    "legume": ("vegetative", "bud", "early bloom", "full bloom", "seed set"),  # broadleaves share them
    "grass": ("tillering", "jointing", "boot", "anthesis", "ripe"),
}
# A grass in a mixture whose stage is given for the legume only; from memory (grass_stage_with_legume).
_GRASS_WITH_LEGUME = dict(
    zip(STAGES["legume"], ("jointing", "boot", "anthesis", "anthesis", "ripe"), strict=True)
)
Range = tuple[float, float]
_DILUTION_HA_T = 0.26  # rb209, Table 6.27: how fast %N falls with each t/ha of dry matter


@dataclass(frozen=True)
class CoverCropEntry:
    """A cover crop: shoot nitrogen (% of dry matter) by growth stage, and what else a grower asks of it.

    `carbon_nitrogen` is the C:N of its shoots at the stages where a source gives one, `dry_matter_fraction` the
    usual range of dry over fresh weight, `biomass_mg_ha` that of the stand's dry matter, `inoculant`
    the rhizobium group of a legume, `source` the key of %N and `source_of` the key of every figure by its name.
    """

    name: str
    aliases: tuple[str, ...]
    kind: Literal["legume", "grass", "broadleaf"]
    winter_killed: Literal["no", "in cold winters", "by frost"]
    nitrogen_pct: dict[str, float]
    source_of: dict[str, str]
    carbon_nitrogen: dict[str, float] = field(default_factory=dict)
    dry_matter_fraction: Range | None = None
    biomass_mg_ha: Range | None = None
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


Started = Literal["seeded", "transplanted"]


@dataclass(frozen=True)
class Curve:
    """A logistic uptake curve over the season: the share of it at half of uptake, and its rate times the season.

    `season_d` is the season it was drawn from, days; None where that is not told.
    """

    half_uptake_share: float
    steepness: float
    season_d: float | None = None


@dataclass(frozen=True)
class Uptake:
    """Nitrogen in a whole crop, kg/ha, at a fresh yield, t/ha; None where the source has no yield."""

    n_kg_ha: float
    source: str
    yield_t_ha: float | None = None


@dataclass(frozen=True)
class Dilution:
    """%N of a crop's dry matter, which falls as it grows: a (1 + b exp(-0.26 W)), W t/ha of dry matter in all."""

    a: float
    b: float
    dry_matter_pct: float
    harvest_index: float


@dataclass(frozen=True)
class Dressing:
    """When nitrogen goes out to a group of vegetables.

    `share_before_planting` is the share at or before planting, lowest and highest; `dressings` when the rest follows;
    `last_dressing` the last sensible one in words, `before_harvest_d` and `season_share` its limit in days before
    harvest or as a share of the season, None where the words alone say it.
    """

    name: str
    crops: tuple[str, ...]
    share_before_planting: Range
    dressings: tuple[str, ...]
    last_dressing: str
    source_of: dict[str, str]
    before_harvest_d: float | None = None
    season_share: float | None = None


@dataclass(frozen=True)
class CropEntry:
    """A vegetable. Guide rates (fertiliser, average soil supply already in them) and crop uptake stay apart.

    `half_uptake_share` and `uptake_steepness` are of the uptake curve that counts: of the usual start, `started`,
    or of another by `started_as`. `demand_n_kg_ha` is what it finds in the soil at planting and gets, at
    `yield_t_ha`, `demand_step_kg_ha` more for each 20 % of yield: no fertiliser rate. `removal_*` are kg for each t
    of fresh harvest, `residue_n_kg_ha` what the harvest leaves, `residue_credit_kg_ha` what of it serves the next
    crop of the year. `sidedress_nitrate_mg_kg` is the soil nitrate-N at `sidedress_depth_m` from which a
    side-dressing is left out, tested from `sidedress_from_d` days after planting, unless such a test is not used
    (`tested`); `sidedress_rates` the rate of N, lb/ac, up to each soil nitrate, after manure and without; `nmin_week`
    and `nmin_depth_m` the week and depth of the German mineral nitrogen test; `index_rates_kg_ha` the rate by soil
    nitrogen index, `most_before_planting_kg_ha` where leaching threatens or the crop is sown.
    None where no source gives it.
    """

    name: str
    aliases: tuple[str, ...]
    leafy: bool
    source_of: dict[str, str]
    half_uptake_share: float
    uptake_steepness: float
    started: Started
    seeded: Curve | None = None
    transplanted: Curve | None = None
    guide_rates: tuple[GuideRate, ...] = ()
    yield_t_ha: float | None = None
    demand_n_kg_ha: float | None = None
    demand_step_kg_ha: float | None = None
    uptake: tuple[Uptake, ...] = ()
    dilution: Dilution | None = None
    removal_n_kg_t: float | None = None
    removal_p2o5_kg_t: float | None = None
    removal_k2o_kg_t: float | None = None
    residue_n_kg_ha: Range | None = None
    residue_credit_kg_ha: float | None = None
    sample_depth_m: float | None = None
    tested: bool = True
    sidedress_nitrate_mg_kg: float | None = None
    sidedress_depth_m: Range | None = None
    sidedress_from_d: float | None = None
    sidedress_rates: dict[str, list[Range]] | None = None
    nmin_week: int | None = None
    nmin_depth_m: float | None = None
    index_rates_kg_ha: tuple[float, ...] | None = None
    most_before_planting_kg_ha: float | None = None
    dressing: Dressing | None = None

    @property
    def least_share_before_planting(self) -> float:
        """The lowest share of its nitrogen that goes out at or before planting; 0 where no practice is told."""
        return self.dressing.share_before_planting[0] if self.dressing else 0.0

    @property
    def need_lb_ac(self) -> Range | None:
        """The lowest and the highest guide rate of all regions, lb N/ac; None without any."""
        if not self.guide_rates:
            return None
        return min(rate.low for rate in self.guide_rates), max(rate.high for rate in self.guide_rates)

    @property
    def sources(self) -> tuple[str, ...]:
        """The sources of its guide rates."""
        return tuple(dict.fromkeys(rate.source for rate in self.guide_rates))

    def started_as(self, started: Started) -> CropEntry | None:
        """With the uptake curve of that start; None where the table has none."""
        curve: Curve | None = getattr(self, started)
        if curve is None:
            return None
        key = self.source_of[started]
        return replace(
            self,
            started=started,
            half_uptake_share=curve.half_uptake_share,
            uptake_steepness=curve.steepness,
            source_of={**self.source_of, "half_uptake_share": key, "uptake_steepness": key},
        )

    def uptake_kg_ha(self, yield_t_ha: float | None = None) -> float | None:
        """Nitrogen in the whole crop, kg/ha, at a fresh yield, t/ha; without one at the table's.

        By the dilution of %N where the table has it, else in proportion to the figure at the nearest yield, and None
        where no figure has a yield. Not a rate to spread: the soil gives part of it.
        """
        yield_t_ha = self.yield_t_ha if yield_t_ha is None else yield_t_ha
        if yield_t_ha is None:
            return None
        if self.dilution is not None:
            dry_t_ha = yield_t_ha * self.dilution.dry_matter_pct / 100.0 / self.dilution.harvest_index
            pct = self.dilution.a * (1.0 + self.dilution.b * math.exp(-_DILUTION_HA_T * dry_t_ha))
            return 10.0 * dry_t_ha * pct
        known = [
            (abs(one.yield_t_ha - yield_t_ha), one.n_kg_ha / one.yield_t_ha)
            for one in self.uptake
            if one.yield_t_ha
        ]
        return min(known)[1] * yield_t_ha if known else None

    def demand_kg_ha(self, yield_t_ha: float | None = None) -> float | None:
        """What the crop must find in the soil and get, kg N/ha, at a fresh yield; None where no source has it."""
        if self.demand_n_kg_ha is None or self.demand_step_kg_ha is None or self.yield_t_ha is None:
            return None
        more = 0.0 if yield_t_ha is None else yield_t_ha / self.yield_t_ha - 1.0
        return self.demand_n_kg_ha + self.demand_step_kg_ha * more / 0.2

    def removal_kg_ha(
        self, nutrient: Literal["n", "p2o5", "k2o"], yield_t_ha: float | None = None
    ) -> float | None:
        """What a fresh harvest carries away, kg/ha; without a yield that of the table. None where not known."""
        per_t: float | None = getattr(self, f"removal_{nutrient}_kg_t")
        yield_t_ha = self.yield_t_ha if yield_t_ha is None else yield_t_ha
        return None if per_t is None or yield_t_ha is None else per_t * yield_t_ha

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
    that days must pass between spreading and harvest; `residue_cautions` what to know where residue lies on the
    ground; `origin` what limits of total nitrogen tell apart.
    """

    name: str
    aliases: tuple[str, ...]
    nitrogen_pct: float
    p2o5_pct: float
    k2o_pct: float
    organic: bool
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    residue_cautions: tuple[str, ...] = ()
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
    """One figure of the season's models or of the limits, with its unit and source."""

    name: str
    value: float
    unit: str
    meaning: str
    source: str


Entry = TypeVar("Entry", CoverCropEntry, CropEntry, Product)
Model = Literal["soil", "release", "organic", "uptake", "credit", "water"]
