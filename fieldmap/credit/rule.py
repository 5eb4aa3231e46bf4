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
    failed
        Whether the stand counts as failed, so that nothing is credited.
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
    failed: bool = False
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
    on_bed_share: float | None = None,
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
    on_bed_share
        Share of the residue that ends up on the beds, where alone it serves the crop; None is all of it.

    Returns
    -------
    CreditRule
        A user's own share is final but for `correction`. Relative errors of release and placement are joined by
        the root of the sum of their squares.

    References
    ----------
    Quality: PNW 636 (pnw636); on the surface as in `surface_factor` (surface_ratios). Share: extension worksheet
    (worksheet), UC Santa Cruz manual (ucsc). Errors: of release from memory (release_memory), of the break-even from
    published ones (break_even_spread). Taken off or killed by frost: DüV, annex 4 (duv_residue).
    """
    own_error = credit.release_error_pct / 100.0
    error_source = "your_value" if "release_error_pct" in credit.model_fields_set else "release_memory"
    if credit.method == "share" and credit.share is not None:
        own = CreditRule("share", credit.share * credit.correction, own_error, ("your_value", error_source))
        return _scaled(own, on_bed_share or 1.0)
    tilled = tilled_share(cover_crop)
    if credit.method == "share":
        on_surface, climate = surface_share(soil_c)
        share = tilled * SHARE_INCORPORATED + (1.0 - tilled) * on_surface
        keys = ("worksheet", error_source, *(("ucsc", "warm_memory") if tilled < 1.0 else ()))
        rule = CreditRule(
            "share",
            share * credit.correction,
            own_error,
            keys,
            of_tilled=tilled * SHARE_INCORPORATED / share,
            climate=climate if tilled < 1.0 else None,
        )
    else:
        rule = _by_quality(tilled, wetting, own_error, credit.correction, error_source)
    return _scaled(_what_is_left(rule, cover_crop), on_bed_share or 1.0)


def _scaled(rule: CreditRule, share: float) -> CreditRule:
    """The rule of a share of the residue: what it gives, what it ties up, and the error of both."""
    return replace(
        rule,
        factor=rule.factor * share,
        tied_factor=rule.tied_factor * share,
        break_even_sd_kg_mg=rule.break_even_sd_kg_mg * share,
    )


def _what_is_left(rule: CreditRule, cover_crop: CoverCrop) -> CreditRule:
    """The rule of a stand that was taken off, or that frost has killed before winter; as it is of any other.

    What a frozen stand ties up, and the doubt about its break-even, are taken whole.
    """
    if cover_crop.ended_by == "removed":
        left = _scaled(rule, CREDIT.removed_share)
    elif cover_crop.ended_by == "frost":
        share = CREDIT.frosted_legume_share if cover_crop.has_legume else CREDIT.frosted_other_share
        left = replace(rule, factor=rule.factor * share)
    else:
        return rule
    return replace(
        left,
        release_error=float(np.hypot(rule.release_error, CREDIT.left_error)),
        poor_error=float(np.hypot(rule.poor_error, CREDIT.left_error)),
        sources=(*rule.sources, "duv_residue", "left_memory"),
    )


def of_stand(rule: CreditRule, biomass_kg_ha: float, nitrogen_pct: float, credit_kg_ha: float) -> CreditRule:
    """The rule of a block by its mean stand: a failed one gives nothing.

    Not where residue ties nitrogen up, which is not forgiven, nor for the thin part of a stand that has not failed.

    Parameters
    ----------
    rule
        Of the block.
    biomass_kg_ha, nitrogen_pct, credit_kg_ha
        Mean dry matter, its %N, and the credit of the whole season by the rule.

    Returns
    -------
    CreditRule
        With a factor of 0 and `failed` where the stand has less than 1 Mg/ha or 30 kg N/ha and would give less than
        15 kg N/ha.

    References
    ----------
    Common practice, no source (failed_practice).

    Examples
    --------
    >>> rule = CreditRule("quality", factor=1.0, release_error=0.20, sources=("pnw636",))
    >>> of_stand(rule, 700.0, 2.5, 6.1).failed, of_stand(rule, 3000.0, 2.5, 26.3).failed
    (True, False)
    """
    thin = (
        biomass_kg_ha < CREDIT.failed_biomass_kg_ha
        or biomass_kg_ha * nitrogen_pct / 100.0 < CREDIT.failed_nitrogen_kg_ha
    )
    if not thin or not 0.0 <= credit_kg_ha < CREDIT.failed_credit_kg_ha:
        return rule
    return replace(rule, factor=0.0, failed=True, sources=(*rule.sources, "failed_practice"))


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
