"""The figures of the credit; `fieldmap/agronomy/season.toml` says what each means and where it comes from."""

from __future__ import annotations

from dataclasses import dataclass

from fieldmap import agronomy


@dataclass(frozen=True)
class CreditModel:
    """What residue gives, where it lies, and how sure that is."""

    break_even_sd_kg_per_mg: float
    tied_up_max_kg_ha: float
    tied_up_max_kg_per_mg: float
    surface_wet: float
    surface_wet_sd: float
    surface_unknown: float
    surface_unknown_sd: float
    surface_dry: float
    surface_dry_sd: float
    surface_tied_up: float
    surface_tied_up_sd: float
    surface_poor_pct: float
    wet_from_mm_week: float
    dry_below_mm_week: float
    removed_share: float
    frosted_legume_share: float
    frosted_other_share: float
    left_error: float
    failed_biomass_kg_ha: float
    failed_nitrogen_kg_ha: float
    failed_credit_kg_ha: float
    warm_from_c: float


CREDIT = CreditModel(**agronomy.values_of("credit"))
