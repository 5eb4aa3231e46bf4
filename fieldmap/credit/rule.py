"""What a credit is worked out with: method, placement, climate, and growth since sampling."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from fieldmap.plan import CoverCrop, CreditSection
    from fieldmap.stand import Growth


def grown(rule: CreditRule, growth: Growth | None) -> CreditRule:
    """The credit rule of a block whose stand has grown since it was sampled."""
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

    `soil_c` is the mean soil temperature of the ten weeks from termination, °C; None, not known, counts as warm.

    References
    ----------
    Extension worksheet (0.40); UC Santa Cruz manual (a half in a warm climate, a quarter in a cool one). Neither says
    where warm begins: 15 °C is judgement, from memory.
    """
    cool = soil_c is not None and soil_c < WARM_FROM_C
    return (SHARE_SURFACE_COOL, "cool") if cool else (SHARE_SURFACE_WARM, "warm")


def tilled_share(cover_crop: CoverCrop) -> float:
    """Share of the ground whose residue is tilled in."""
    return {"incorporated": 1.0, "surface": 0.0}.get(cover_crop.placement, cover_crop.tilled_share or 0.0)


def credit_rule(cover_crop: CoverCrop, credit: CreditSection, *, soil_c: float | None = None) -> CreditRule:
    """The rule of a block, from its cover crop's placement and [credit].

    `soil_c` is the mean soil temperature of the ten weeks from termination, None where it is not known.
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
