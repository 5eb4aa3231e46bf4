"""Biomass × %N → plant-available nitrogen for the crop, with its uncertainty.

Only what stands above ground counts: the published relation is on shoots, and adding roots would count
their nitrogen twice.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.credit.rule import CreditRule


# Sullivan & Andrews 2012 (pnw636): 35 lb of available N a short ton of dry matter at 3.5 %N, linear down to
# nothing at 1.5 %N: 17.5 lb/ton, 8.75 kg/Mg, for each 1 %N; never more than half of total N.
RELEASE_KG_MG_PCT = 8.75
BREAK_EVEN_PCT = 1.5
SHARE_MAX = 0.5
TIED_UP_MAX_KG_HA = 56.0  # pnw636: cereals can hold up to 50 lb/ac


def available_kg_mg(nitrogen_pct: NDArray[np.float64]) -> NDArray[np.float64]:
    """Season plant-available nitrogen, kg a Mg of dry matter, from %N of the whole residue.

    Negative below 1.5 %N, where residue ties nitrogen up. A mixture's %N is mixed by dry weight first and
    the relation applied once: adding up the species' own credits would lose what the poor one ties up.

    References
    ----------
    Sullivan & Andrews 2012, PNW 636.
    """
    return np.minimum(
        RELEASE_KG_MG_PCT * (nitrogen_pct - BREAK_EVEN_PCT), SHARE_MAX * total_kg_mg(nitrogen_pct)
    )


def total_kg_mg(nitrogen_pct: NDArray[np.float64]) -> NDArray[np.float64]:
    """Total nitrogen, kg a Mg of dry matter."""
    return 10.0 * nitrogen_pct


def credit_kg_ha(
    biomass_kg_ha: NDArray[np.float64], nitrogen_pct: NDArray[np.float64], rule: CreditRule
) -> NDArray[np.float64]:
    """The season's credit that the crop can use, kg N/ha; negative where residue ties nitrogen up.

    The arrays broadcast against each other.
    """
    biomass_mg_ha, pct = biomass_kg_ha / 1000.0 * rule.growth, nitrogen_pct * rule.dilution
    per_mg = available_kg_mg(pct) if rule.method == "quality" else total_kg_mg(pct)
    whole = np.maximum(biomass_mg_ha * per_mg * rule.factor, -TIED_UP_MAX_KG_HA)
    return np.where(whole > 0, whole * rule.useful, whole)


def credit_se_kg_ha(
    biomass_kg_ha: NDArray[np.float64],
    biomass_se_kg_ha: NDArray[np.float64],
    nitrogen_pct: NDArray[np.float64],
    nitrogen_se_pct: NDArray[np.float64],
    rule: CreditRule,
) -> NDArray[np.float64]:
    """Standard error of a cell's credit: biomass, %N and release fraction together, to first order."""
    credit = credit_kg_ha(biomass_kg_ha, nitrogen_pct, rule)
    unit_credit = credit_kg_ha(np.full_like(biomass_kg_ha, 1000.0), nitrogen_pct, rule) / 1000.0
    step_pct = 0.01
    by_nitrogen = (credit_kg_ha(biomass_kg_ha, nitrogen_pct + step_pct, rule) - credit) / step_pct
    return np.sqrt(
        (unit_credit * biomass_se_kg_ha) ** 2
        + (by_nitrogen * nitrogen_se_pct) ** 2
        + (rule.release_error * credit) ** 2
    )
