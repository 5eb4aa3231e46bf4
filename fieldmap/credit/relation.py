"""Biomass × %N → plant-available nitrogen for the crop, with its uncertainty.

Only what stands above ground counts: the published relation is on shoots, and adding roots would count
their nitrogen twice.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr

from fieldmap.credit.figures import CREDIT

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.credit.rule import CreditRule


# Sullivan & Andrews 2012 (pnw636): 35 lb of available N a short ton of dry matter at 3.5 %N, linear down to
# nothing at 1.5 %N: 17.5 lb/ton, 8.75 kg/Mg, for each 1 %N; never more than half of total N.
RELEASE_KG_MG_PCT = 8.75
BREAK_EVEN_PCT = 1.5
SHARE_MAX = 0.5
_SD_MIN = 1e-9  # a standard error of zero, where something is divided by it


def available_kg_mg(nitrogen_pct: NDArray[np.float64]) -> NDArray[np.float64]:
    """Season plant-available nitrogen, kg a Mg of dry matter, from %N of the whole residue.

    Not for roots, not for residue on the surface (a `CreditRule` lowers that), and not for the sum of species:
    a mixture's %N is mixed by dry weight first and the relation applied once, or what the poor one ties up is lost.

    Parameters
    ----------
    nitrogen_pct
        %N of dry matter, any shape. Below 1.5 % residue ties nitrogen up and the result is negative.

    Returns
    -------
    NDArray
        kg N/Mg, of the shape of `nitrogen_pct`; NaN where that is NaN.

    References
    ----------
    Sullivan & Andrews 2012, PNW 636 (pnw636): 35 lb a short ton at 3.5 %N, little or none at 1.5, linear between.
    That the line runs on below 1.5 %N is from memory.

    Examples
    --------
    At 3.5 %N the published 35 lb a short ton, which is 17.5 kg/Mg; at 1.5 nothing. At 4.5 the line would give
    26.25, but never more than half of the 45 kg in the residue comes free. At 1.1 %N 3.5 kg are tied up.

    >>> available_kg_mg(np.array([1.1, 1.5, 3.5, 4.5])).round(2).tolist()
    [-3.5, 0.0, 17.5, 22.5]
    """
    return np.minimum(
        RELEASE_KG_MG_PCT * (nitrogen_pct - BREAK_EVEN_PCT), SHARE_MAX * total_kg_mg(nitrogen_pct)
    )


def total_kg_mg(nitrogen_pct: NDArray[np.float64]) -> NDArray[np.float64]:
    """Total nitrogen, kg a Mg of dry matter: what is in the residue, of which a crop gets a part only.

    Not a credit by itself; the "share" method multiplies it by a share.

    Parameters
    ----------
    nitrogen_pct
        %N of dry matter, any shape.

    Returns
    -------
    NDArray
        kg N/Mg, of the same shape; NaN where `nitrogen_pct` is NaN.

    References
    ----------
    By definition: 1 % of 1,000 kg is 10 kg (definition).

    Examples
    --------
    >>> total_kg_mg(np.array([1.0, 3.5])).tolist()
    [10.0, 35.0]
    """
    return 10.0 * nitrogen_pct


def credit_kg_ha(
    biomass_kg_ha: NDArray[np.float64],
    nitrogen_pct: NDArray[np.float64],
    rule: CreditRule,
    *,
    off_kg_mg: NDArray[np.float64] | float = 0.0,
) -> NDArray[np.float64]:
    """The season's credit that the crop can use, kg N/ha; negative where residue ties nitrogen up.

    Not where a local calibration exists: give that as `share` or `correction`.

    Parameters
    ----------
    biomass_kg_ha
        Dry matter above ground, kg/ha, any shape.
    nitrogen_pct
        %N of that dry matter, mixed by dry weight. Broadcasts against `biomass_kg_ha`.
    rule
        Method, placement, growth since sampling, and the share that comes in time.
    off_kg_mg
        How far a Mg of residue gives more or less than the relation says, kg N/Mg, for draws of
        `rule.break_even_sd_kg_mg`; broadcasts.

    Returns
    -------
    NDArray
        kg N/ha, of the broadcast shape, never below -56 nor below -14 for each Mg; NaN where biomass or %N is NaN,
        as outside the field.

    References
    ----------
    Sullivan & Andrews 2012, PNW 636 (pnw636), for the relation and for the 56 kg/ha (50 lb/ac) that cereals can
    hold at most; 14 kg for each Mg at most, Trinsoutrot et al. 2000 (trinsoutrot2000). By share: the extension
    worksheet (worksheet) and the UC Santa Cruz manual (ucsc).

    Examples
    --------
    5,000 kg/ha at 3.5 %N, tilled in: 5 Mg × 8.75 × (3.5 - 1.5) = 87.5 kg N/ha. The same mass of ripe rye at 1.1 %N
    ties up 5 × 8.75 × 0.4 = 17.5, and 20,000 kg/ha at 0.6 %N would tie up 157.5, cut to the most that is published.

    >>> from fieldmap.credit.rule import CreditRule
    >>> quality = CreditRule("quality", factor=1.0, release_error=0.2, sources=("pnw636",))
    >>> credit_kg_ha(np.array([5000.0, 5000.0, 20_000.0]), np.array([3.5, 1.1, 0.6]), quality).round(2).tolist()
    [87.5, -17.5, -56.0]

    By the worksheet's share, half of total N: 7,324 kg/ha (6,534 lb/ac) at 4 %N hold 293 kg, and 146.5 count.

    >>> half = CreditRule("share", factor=0.50, release_error=0.2, sources=("worksheet",))
    >>> float(credit_kg_ha(np.array(7324.0), np.array(4.0), half).round(1))
    146.5
    """
    whole = _whole_kg_ha(biomass_kg_ha, nitrogen_pct, rule, off_kg_mg)
    return np.where(whole > 0, whole * rule.useful, whole)


def _whole_kg_ha(
    biomass_kg_ha: NDArray[np.float64],
    nitrogen_pct: NDArray[np.float64],
    rule: CreditRule,
    off_kg_mg: NDArray[np.float64] | float = 0.0,
) -> NDArray[np.float64]:
    """The whole season's credit, whenever it comes."""
    biomass_mg_ha, pct = biomass_kg_ha / 1000.0 * rule.growth, nitrogen_pct * rule.dilution
    per_mg = available_kg_mg(pct) if rule.method == "quality" else total_kg_mg(pct)
    placed = per_mg * np.where(per_mg > 0, rule.factor, rule.tied_factor) + off_kg_mg
    whole = biomass_mg_ha * np.maximum(placed, -CREDIT.tied_up_max_kg_per_mg)
    return np.maximum(whole, -CREDIT.tied_up_max_kg_ha)


def release_error(nitrogen_pct: NDArray[np.float64], rule: CreditRule) -> NDArray[np.float64]:
    """Relative standard error of the release fraction, shared by all places of the field.

    Parameters
    ----------
    nitrogen_pct
        %N of dry matter, any shape.
    rule
        Its `release_error`, and `poor_error` for poor residue on the surface.

    Returns
    -------
    NDArray
        Of the shape of `nitrogen_pct`; NaN where that is NaN.

    References
    ----------
    Release from memory (release_memory); that poor residue on the surface may give nothing: direction of Parr et al.
    2014, limit from memory (poor_surface_memory).

    Examples
    --------
    >>> from fieldmap.credit.rule import CreditRule
    >>> mulch = CreditRule("quality", factor=0.65, release_error=0.39, sources=("pnw636",), poor_error=0.64)
    >>> release_error(np.array([2.0, 3.0]), mulch).tolist()
    [0.64, 0.39]
    """
    poor = nitrogen_pct * rule.dilution < CREDIT.surface_poor_pct
    error = np.where(poor, max(rule.release_error, rule.poor_error), rule.release_error)
    return np.where(np.isnan(nitrogen_pct), np.nan, error)


def break_even_se_kg_ha(
    biomass_kg_ha: NDArray[np.float64], nitrogen_pct: NDArray[np.float64], rule: CreditRule
) -> NDArray[np.float64]:
    """Standard error of the credit from where the break-even lies, shared by all places of the field.

    It does not fall with the credit: near 1.5 %N, where a relative error says nothing, it is all there is. Of what
    would be released only `rule.useful` counts, of what would be tied up all; between the two the slope is
    weighed by how likely each is.

    Parameters
    ----------
    biomass_kg_ha, nitrogen_pct
        Dry matter, kg/ha, and its %N; broadcast.
    rule
        As for `credit_kg_ha`.

    Returns
    -------
    NDArray
        kg N/ha, of the broadcast shape; NaN where an input is NaN.

    References
    ----------
    2.0 kg for each Mg of dry matter: spread of published break-evens (break_even_spread). The slope is the mean
    one of a normal doubt (mathematics).

    Examples
    --------
    6.5 Mg at 1.5 %N: nothing, give or take 13 kg N/ha.

    >>> from fieldmap.credit.rule import CreditRule
    >>> rule = CreditRule("quality", factor=1.0, release_error=0.2, sources=("pnw636",), break_even_sd_kg_mg=2.0)
    >>> float(break_even_se_kg_ha(np.array(6500.0), np.array(1.5), rule))
    13.0
    """
    whole = _whole_kg_ha(biomass_kg_ha, nitrogen_pct, rule)
    sd = rule.break_even_sd_kg_mg * biomass_kg_ha / 1000.0 * rule.growth
    tied_up = ndtr(-whole / np.maximum(sd, _SD_MIN))
    return np.asarray(sd * (rule.useful + (1.0 - rule.useful) * tied_up))


def credit_se_kg_ha(
    biomass_kg_ha: NDArray[np.float64],
    biomass_se_kg_ha: NDArray[np.float64],
    nitrogen_pct: NDArray[np.float64],
    nitrogen_se_pct: NDArray[np.float64],
    rule: CreditRule,
) -> NDArray[np.float64]:
    """Standard error of a cell's credit: biomass, %N, release fraction and break-even together, to first order.

    Not for the mean of many cells: the errors of release and of the break-even are shared by all places and do not
    average out, and errors of neighbouring cells go together.

    Parameters
    ----------
    biomass_kg_ha, biomass_se_kg_ha
        Dry matter and its standard error, kg/ha, same shape.
    nitrogen_pct, nitrogen_se_pct
        %N and its standard error, points of %N; broadcast against the biomass.
    rule
        As for `credit_kg_ha`; its `release_error` is relative, its `break_even_sd_kg_mg` is not.

    Returns
    -------
    NDArray
        kg N/ha, of the broadcast shape; NaN where any input is NaN.

    References
    ----------
    Propagation of independent errors to first order (arithmetic); the 20 % of the release fraction is judgement
    (release_memory), the 2.0 kg for each Mg of dry matter the spread of break-evens (break_even_spread).

    Examples
    --------
    5,000 ± 600 kg/ha at 2.8 ± 0.2 %N credit 56.9 kg. Biomass brings 600 × 0.011375 = 6.8, %N 5 × 8.75 × 0.2 = 8.75,
    release 0.2 × 56.9 = 11.4, the break-even 5 × 2 = 10; together 18.8.

    >>> from fieldmap.credit.rule import CreditRule
    >>> rule = CreditRule("quality", factor=1.0, release_error=0.2, sources=("pnw636",), break_even_sd_kg_mg=2.0)
    >>> inputs = [np.array([value]) for value in (5000.0, 600.0, 2.8, 0.2)]
    >>> float(credit_se_kg_ha(*inputs, rule)[0].round(1))
    18.8
    """
    credit = credit_kg_ha(biomass_kg_ha, nitrogen_pct, rule)
    unit_credit = credit_kg_ha(np.full_like(biomass_kg_ha, 1000.0), nitrogen_pct, rule) / 1000.0
    step_pct = 0.01
    by_nitrogen = (credit_kg_ha(biomass_kg_ha, nitrogen_pct + step_pct, rule) - credit) / step_pct
    return np.sqrt(
        (unit_credit * biomass_se_kg_ha) ** 2
        + (by_nitrogen * nitrogen_se_pct) ** 2
        + (release_error(nitrogen_pct, rule) * credit) ** 2
        + break_even_se_kg_ha(biomass_kg_ha, nitrogen_pct, rule) ** 2
    )
