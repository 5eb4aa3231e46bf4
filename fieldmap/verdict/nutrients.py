"""All nitrogen, phosphorus and potassium that a product brings, beside what the harvest carries away."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.field import burn
from fieldmap.spreader import Brought

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Literal

    from fieldmap import agronomy
    from fieldmap.budget import BlockNeed
    from fieldmap.field import Field
    from fieldmap.verdict.application_map import ApplicationMap
    from fieldmap.zones import ZoneMap

    Origin = Literal["livestock manure", "compost", "other"]


@dataclass(frozen=True)
class Along:
    """What one zone within a block gets in all, kg/ha; removal by the crop's harvest, None where not known."""

    zone: int
    block: str
    total_n_kg_ha: float
    p2o5_kg_ha: float
    k2o_kg_ha: float
    removal_p2o5_kg_ha: float | None
    removal_k2o_kg_ha: float | None


@dataclass(frozen=True)
class NitrogenLimit:
    """A limit of total nitrogen from organic products, kg/ha in `years`, and where it holds.

    `of` are the origins that count; `mean_of` is the ground that the limit is a mean of.
    """

    rule: str
    where: str
    total_n_kg_ha: float
    years: int
    of: tuple[Origin, ...]
    mean_of: Literal["farm", "field"]
    source: str


LIMITS = (
    NitrogenLimit(
        "91/676/EEC Annex III",
        "EU, vulnerable zones",
        170.0,
        1,
        ("livestock manure",),
        "farm",
        "nitrates_directive_memory",
    ),
    NitrogenLimit("DüV § 6(4)", "Germany", 170.0, 1, ("livestock manure", "other"), "farm", "duev"),
    NitrogenLimit(
        "DüV § 13a", "Germany, nitrate areas", 170.0, 1, ("livestock manure", "other"), "field", "duev"
    ),
    NitrogenLimit("DüV § 6(4)", "Germany", 510.0, 3, ("compost",), "farm", "duev"),
    NitrogenLimit(
        "NVZ rules",
        "England, vulnerable zones",
        250.0,
        1,
        ("livestock manure", "compost", "other"),
        "field",
        "nvz_memory",
    ),
)
NEED_SHARE = 0.6  # rb209: organic material for no more than 50 to 60 % of the nitrogen requirement


def limits_passed(total_n_kg_ha: dict[Origin, float]) -> tuple[NitrogenLimit, ...]:
    """The limits that organic products pass, as the mean of some ground; which of them hold is not known here.

    Not legal advice: rules differ by country, state and year.

    Parameters
    ----------
    total_n_kg_ha
        All nitrogen that is spread in the years of the limit, by the origin of what brings it, mean of the ground.

    Returns
    -------
    tuple of NitrogenLimit
        In the order of `LIMITS`.

    References
    ----------
    Published: DüV § 6(4) and § 13a (duev). From memory: 91/676/EEC (nitrates_directive_memory), England (nvz_memory).

    Examples
    --------
    171 kg/ha of manure as the mean of a farm pass the German limit, 500 kg/ha of compost in three years do not.

    >>> [one.rule for one in limits_passed({"livestock manure": 171.0})]
    ['91/676/EEC Annex III', 'DüV § 6(4)', 'DüV § 13a']
    >>> [one.rule for one in limits_passed({"compost": 500.0}) if one.where == "Germany"]
    []
    """
    return tuple(
        one for one in LIMITS if sum(total_n_kg_ha.get(origin, 0.0) for origin in one.of) > one.total_n_kg_ha
    )


@dataclass(frozen=True)
class OrganicLoad:
    """What organic products bring in all applications together, mean of what is spread.

    `total_n_kg_ha` by origin; `need_share` is the share of the crop's need that they are to serve.
    """

    products: tuple[str, ...]
    total_n_kg_ha: dict[Origin, float]
    need_share: float


def organic_load(maps: Sequence[ApplicationMap]) -> OrganicLoad | None:
    """What organic products bring in all applications; None without one."""
    organic = [one for one in maps if one.application.product.organic]
    if not organic:
        return None
    total_n_kg: dict[Origin, float] = {}
    for one in organic:
        origin, rows = one.application.product.origin, one.spread.zone_map.rows
        in_all = sum(zone.brought.total_n_kg_ha * zone.area_ha for zone in rows if zone.brought)
        total_n_kg[origin] = total_n_kg.get(origin, 0.0) + in_all
    rows = maps[0].spread.zone_map.rows
    area_ha = sum(zone.area_ha for zone in rows)
    need_kg = sum(zone.need_kg_ha * zone.area_ha for zone in rows)
    serving_kg = sum(zone.rate_n_kg_ha * zone.area_ha for one in organic for zone in one.spread.zone_map.rows)
    return OrganicLoad(
        tuple(dict.fromkeys(one.application.product.name for one in organic)),
        {origin: kg / area_ha for origin, kg in total_n_kg.items()},
        serving_kg / need_kg if need_kg > 0 else 0.0,
    )


def along(zone_map: ZoneMap, needs: Sequence[BlockNeed]) -> tuple[Along, ...]:
    """What each zone and check strip gets in all; empty for a mineral product with nitrogen alone.

    `needs` of the blocks say what the harvest takes.
    """
    removals = {need.block: (need.removal_p2o5_kg_ha, need.removal_k2o_kg_ha) for need in needs}
    return tuple(
        _along(zone.zone, zone.block, zone.brought, removals[zone.block])
        for zone in zone_map.rows
        if zone.brought is not None
    )


def together(
    maps: Sequence[tuple[ZoneMap, agronomy.Product]], field: Field, brought: Sequence[Along]
) -> tuple[Along, ...]:
    """What each zone and check strip of the first map gets in all applications together, means.

    `maps` are those of the applications, each with its product, `brought` what each of them brings; empty where none
    brings more than mineral nitrogen.
    """
    removals = {one.block: (one.removal_p2o5_kg_ha, one.removal_k2o_kg_ha) for one in brought}
    first = maps[0][0]
    if not any(zone.brought for zone_map, _ in maps for zone in zone_map.rows):
        return ()
    total_n, p2o5, k2o = (
        sum(zone_map.product_kg_ha * getattr(product, share) / 100.0 for zone_map, product in maps)
        for share in ("nitrogen_pct", "p2o5_pct", "k2o_pct")
    )
    found = []
    for zone in first.rows:
        own = burn([part.geometry for part in zone.parts], field.grid) >= 0
        cells = own & np.isfinite(p2o5)
        if cells.any():
            own_brought = Brought(*(float(each[cells].mean()) for each in (total_n, p2o5, k2o)))
            found.append(_along(zone.zone, zone.block, own_brought, removals[zone.block]))
    return tuple(found)


def _along(zone: int, block: str, brought: Brought, removal: tuple[float | None, float | None]) -> Along:
    p2o5_removal, k2o_removal = removal
    return Along(
        zone,
        block,
        brought.total_n_kg_ha,
        brought.p2o5_kg_ha,
        brought.k2o_kg_ha,
        p2o5_removal,
        k2o_removal,
    )
