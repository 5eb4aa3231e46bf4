"""Where residue lies, and what that makes of its nitrogen: tilled in, on a wet surface, on a dry one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from fieldmap.credit.figures import CREDIT

if TYPE_CHECKING:
    from fieldmap.credit.figures import CreditModel
    from fieldmap.plan import CoverCrop


Climate = Literal["warm", "cool"]
Wetting = Literal["wet", "dry", "unknown"]
IrrigatedBy = Literal["drip", "sprinkler", "furrow"]
SHARE_INCORPORATED = 0.50  # worksheet
SHARE_SURFACE_WARM, SHARE_SURFACE_COOL = 0.40, 0.25  # worksheet; ucsc: a quarter in a cool climate
CLIMATE_DAYS = 70  # warm or cool, wet or dry: mean of the days from termination


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


def surface_wetting(
    rain_mm_week: float | None,
    *,
    irrigated: bool = False,
    irrigated_by: IrrigatedBy | None = None,
    model: CreditModel = CREDIT,
) -> Wetting:
    """Whether residue on the surface is kept wet, so that it decays and its nitrate reaches the soil.

    Not for what was tilled in. Drip and furrows leave the surface between them dry.

    Parameters
    ----------
    rain_mm_week
        Rain, mm a week, mean of the ten weeks from termination; None where it is not known.
    irrigated, irrigated_by
        Whether the ground is irrigated, and how; None where that is not told.
    model
        The two limits.

    Returns
    -------
    str
        "wet", "dry", or "unknown" where neither can be said.

    References
    ----------
    20 and 10 mm a week: judgement, from memory (surface_ratios).

    Examples
    --------
    >>> surface_wetting(24.0), surface_wetting(6.0), surface_wetting(15.0), surface_wetting(None)
    ('wet', 'dry', 'unknown', 'unknown')
    >>> surface_wetting(6.0, irrigated=True, irrigated_by="sprinkler"), surface_wetting(6.0, irrigated=True)
    ('wet', 'unknown')
    >>> surface_wetting(None, irrigated=True, irrigated_by="drip")
    'dry'
    """
    if irrigated_by == "sprinkler" or (rain_mm_week is not None and rain_mm_week >= model.wet_from_mm_week):
        return "wet"
    if rain_mm_week is None:
        return "unknown" if irrigated_by is None else "dry"
    sprinkled_for_all_we_know = irrigated and irrigated_by is None
    return "dry" if rain_mm_week < model.dry_below_mm_week and not sprinkled_for_all_we_know else "unknown"


def surface_factor(wetting: Wetting, *, model: CreditModel = CREDIT) -> tuple[float, float]:
    """Credit of residue on the surface against the same tilled in.

    Not for poor residue that ties nitrogen up, which has a factor of its own.

    Parameters
    ----------
    wetting
        As from `surface_wetting`.
    model
        The figures.

    Returns
    -------
    factor, standard error
        Both as shares of the incorporated credit.

    References
    ----------
    Five published ratios of 0.40 to 1.0, mean 0.67 (Sarrantonio & Scott 1988; Varco et al. 1989; worksheet); how
    wetness shifts it is judgement, from memory (surface_ratios).

    Examples
    --------
    >>> surface_factor("wet"), surface_factor("unknown"), surface_factor("dry")
    ((0.75, 0.22), (0.65, 0.22), (0.4, 0.2))
    """
    return {
        "wet": (model.surface_wet, model.surface_wet_sd),
        "unknown": (model.surface_unknown, model.surface_unknown_sd),
        "dry": (model.surface_dry, model.surface_dry_sd),
    }[wetting]


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
    cool = soil_c is not None and soil_c < CREDIT.warm_from_c
    return (SHARE_SURFACE_COOL, "cool") if cool else (SHARE_SURFACE_WARM, "warm")
