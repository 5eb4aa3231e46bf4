"""What a credit is worked out with: method, placement, climate, and growth since sampling."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
from scipy.special import ndtri

from fieldmap.credit.figures import CREDIT
from fieldmap.credit.placement import SHARE_INCORPORATED, surface_factor, surface_share, tilled_share

if TYPE_CHECKING:
    from fieldmap.credit.placement import Climate, Wetting
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
    break_even_sd_kg_mg
        Standard error of what a Mg of dry matter gives or ties up, at whatever %N, kg N/Mg; shared by all places
        too. 0 for a share of total nitrogen, which has no break-even.
    tied_factor
        As `factor`, for residue so poor that it ties nitrogen up.
    poor_error
        Least relative error below `CREDIT.surface_poor_pct`: on the surface poor residue may give nothing.
    sources
        Keys into the table of sources.
    of_tilled
        Part of a credit that is tilled in, 0 to 1; the rest comes from the surface.
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
    break_even_sd_kg_mg: float = 0.0
    tied_factor: float = 1.0
    poor_error: float = 0.0
    of_tilled: float = 1.0
    useful: float = 1.0
    climate: Climate | None = None
    growth: float = 1.0
    dilution: float = 1.0


# A 90 % interval reaches this many standard errors to either side.
Z_90 = float(ndtri(0.95))


def credit_rule(
    cover_crop: CoverCrop,
    credit: CreditSection,
    *,
    soil_c: float | None = None,
    wetting: Wetting = "unknown",
) -> CreditRule:
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
    wetting
        How wet residue on the surface is kept, as from `surface_wetting`.

    Returns
    -------
    CreditRule
        A user's own share is final but for `correction`. Relative errors of release and placement are joined by
        the root of the sum of their squares.

    References
    ----------
    Quality: PNW 636 (pnw636); on the surface as in `surface_factor` (surface_ratios). Share: extension worksheet
    (worksheet), UC Santa Cruz manual (ucsc). Errors: of release from memory (release_memory), of the break-even from
    published ones (break_even_spread).
    """
    own_error = credit.release_error_pct / 100.0
    error_source = "your_value" if "release_error_pct" in credit.model_fields_set else "release_memory"
    if credit.method == "share" and credit.share is not None:
        return CreditRule("share", credit.share * credit.correction, own_error, ("your_value", error_source))
    tilled = tilled_share(cover_crop)
    if credit.method == "share":
        on_surface, climate = surface_share(soil_c)
        share = tilled * SHARE_INCORPORATED + (1.0 - tilled) * on_surface
        keys = ("worksheet", error_source, *(("ucsc", "warm_memory") if tilled < 1.0 else ()))
        return CreditRule(
            "share",
            share * credit.correction,
            own_error,
            keys,
            of_tilled=tilled * SHARE_INCORPORATED / share,
            climate=climate if tilled < 1.0 else None,
        )
    return _by_quality(tilled, wetting, own_error, credit.correction, error_source)


def _by_quality(
    tilled: float, wetting: Wetting, own_error: float, correction: float, error_source: str
) -> CreditRule:
    """The quality relation's rule for a share of the ground tilled and the rest on the surface."""
    of_surface, of_surface_sd = surface_factor(wetting)
    on_surface = 1.0 - tilled
    placed = tilled + on_surface * of_surface
    # A normal doubt whose 90 % interval reaches down to nothing of what the surface gives.
    poor_sd = on_surface * max(of_surface_sd, of_surface / Z_90)
    on_surface_keys = ("surface_ratios", "surface_tied_up_memory", "poor_surface_memory")
    return CreditRule(
        "quality",
        placed * correction,
        float(np.hypot(own_error, on_surface * of_surface_sd / placed)),
        ("pnw636", error_source, "break_even_spread", *(on_surface_keys if on_surface > 0 else ())),
        break_even_sd_kg_mg=CREDIT.break_even_sd_kg_per_mg,
        tied_factor=(tilled + on_surface * CREDIT.surface_tied_up) * correction,
        poor_error=float(np.hypot(own_error, poor_sd / placed)) if on_surface > 0 else 0.0,
        of_tilled=tilled / placed,
    )
