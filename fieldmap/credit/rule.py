"""What a credit is worked out with: method, placement, climate, and growth since sampling."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from fieldmap.plan import CoverCrop, CreditSection
    from fieldmap.stand import Growth


def grown(rule: CreditRule, growth: Growth | None) -> CreditRule:
    """The credit rule of a block whose stand has grown since it was sampled.

    Not for a stand sampled once: growth since then is not known and `growth` is None.

    Parameters
    ----------
    rule
        Of the block, as sampled.
    growth
        Factors on biomass and %N and their error, from the last two samplings; None leaves the rule as it is.

    Returns
    -------
    CreditRule
        With the factors, and a release error that holds theirs too (root of the sum of squares).

    References
    ----------
    Arithmetic; that growth keeps the pace of the last two samplings is an assumption, docs/method.md.

    Examples
    --------
    A tenth more biomass, 4 % less %N, and an error of 0.15 beside the 0.20 of release: together 0.25.

    >>> from fieldmap.stand import Growth
    >>> rule = CreditRule("quality", factor=1.0, release_error=0.20, sources=("pnw636",))
    >>> later = grown(rule, Growth(days=12, biomass=1.10, nitrogen_pct=0.96, error=0.15))
    >>> later.growth, later.dilution, round(later.release_error, 2)
    (1.1, 0.96, 0.25)
    """
    if growth is None:
        return rule
    return replace(
        rule,
        growth=growth.biomass,
        dilution=growth.nitrogen_pct,
        release_error=float(np.hypot(rule.release_error, growth.error)),
    )


Climate = Literal["warm", "cool"]
# Sarrantonio & Scott 1988 (sarrantonio1988): recovered from surface against ploughed vetch, 29/56 and 22/55.
SURFACE_FACTOR, SURFACE_FACTOR_SE = 0.46, 0.036  # 0.40 to 0.52 as a 90 % interval
SHARE_INCORPORATED = 0.50  # worksheet
SHARE_SURFACE_WARM, SHARE_SURFACE_COOL = 0.40, 0.25  # worksheet; ucsc: a quarter in a cool climate
WARM_FROM_C, CLIMATE_DAYS = 15.0, 70  # warm_memory: soil at 10 cm, mean of the days from termination


@dataclass(frozen=True)
class CreditRule:
    """How residue becomes credit in one block.

    Parameters
    ----------
    method
        "quality" (from %N) or "share" (a fixed share of total nitrogen).
    factor
        What placement and earlier check strips make of it: the quality credit, or the share, is multiplied
        by it.
    release_error
        Relative standard error of the release fraction, shared by all places of the field.
    sources
        Keys into the table of sources.
    useful
        Share of a credit that comes when the crop can use it; what is tied up counts whole.
    climate
        Whether the default share on the surface is that of a warm or a cool climate; None where it plays no part.
    growth, dilution
        Factors on biomass and %N for what the stand gained between its last sampling and its end.
    """

    method: Literal["quality", "share"]
    factor: float
    release_error: float
    sources: tuple[str, ...]
    useful: float = 1.0
    climate: Climate | None = None
    growth: float = 1.0
    dilution: float = 1.0


def surface_share(soil_c: float | None) -> tuple[float, Climate]:
    """The default share of total nitrogen on the surface, and the climate it is for.

    Not for residue that was tilled in, and not beside a share of your own.

    Parameters
    ----------
    soil_c
        Mean soil temperature at 10 cm over the ten weeks from termination, °C; None, not known, counts as warm.

    Returns
    -------
    share, climate
        Share of total nitrogen, 0 to 1, and "warm" or "cool".

    References
    ----------
    Extension worksheet (worksheet): 0.40. UC Santa Cruz manual (ucsc): a half in a warm climate, a quarter in a cool
    one. Neither says where warm begins: 15 °C is judgement, from memory (warm_memory).

    Examples
    --------
    >>> surface_share(18.0), surface_share(11.0), surface_share(None)
    ((0.4, 'warm'), (0.25, 'cool'), (0.4, 'warm'))
    """
    cool = soil_c is not None and soil_c < WARM_FROM_C
    return (SHARE_SURFACE_COOL, "cool") if cool else (SHARE_SURFACE_WARM, "warm")


def tilled_share(cover_crop: CoverCrop) -> float:
    """Share of the ground whose residue is tilled in.

    Parameters
    ----------
    cover_crop
        Its placement, and `tilled_share` where that is strip-tilled.

    Returns
    -------
    float
        1 where all is tilled in, 0 where all lies on the surface, the plan's share under strip tillage.
    """
    return {"incorporated": 1.0, "surface": 0.0}.get(cover_crop.placement, cover_crop.tilled_share or 0.0)


def credit_rule(cover_crop: CoverCrop, credit: CreditSection, *, soil_c: float | None = None) -> CreditRule:
    """The rule of a block, from its cover crop's placement and [credit].

    Not to be lowered again for placement or climate: both stand in `factor` already.

    Parameters
    ----------
    cover_crop
        Its placement and, under strip tillage, the share of the ground that is tilled.
    credit
        Method, the user's own share and correction, and the relative error of release, %.
    soil_c
        Mean soil temperature of the ten weeks from termination, °C; None where it is not known.

    Returns
    -------
    CreditRule
        A user's own share is final but for `correction`. Relative errors of release and placement are joined by
        the root of the sum of their squares.

    References
    ----------
    Quality: PNW 636 (pnw636); on the surface 0.46 of it, Sarrantonio & Scott 1988 (sarrantonio1988). Share: extension
    worksheet (worksheet), UC Santa Cruz manual (ucsc). Error of release: from memory (release_memory).
    """
    own_error = (credit.release_error_pct / 100.0) ** 2
    error_source = "your_value" if "release_error_pct" in credit.model_fields_set else "release_memory"
    if credit.method == "share" and credit.share is not None:
        return CreditRule(
            "share", credit.share * credit.correction, own_error**0.5, ("your_value", error_source)
        )
    tilled = tilled_share(cover_crop)
    if credit.method == "share":
        on_surface, climate = surface_share(soil_c)
        share = tilled * SHARE_INCORPORATED + (1.0 - tilled) * on_surface
        keys = ("worksheet", error_source, *(("ucsc", "warm_memory") if tilled < 1.0 else ()))
        return CreditRule(
            "share",
            share * credit.correction,
            own_error**0.5,
            keys,
            climate=climate if tilled < 1.0 else None,
        )
    placed = tilled + (1.0 - tilled) * SURFACE_FACTOR
    placement_error = (1.0 - tilled) * SURFACE_FACTOR_SE / placed
    return CreditRule(
        "quality",
        placed * credit.correction,
        (own_error + placement_error**2) ** 0.5,
        ("pnw636", error_source, *(("sarrantonio1988",) if tilled < 1.0 else ())),
    )
