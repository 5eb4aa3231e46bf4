"""What the verdict says: the answer, what it rests on, what would change it, and that there is no pattern."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fieldmap.geostatistics import LEAST_SAMPLES
from fieldmap.units import money_text, rate_text
from fieldmap.verdict import Bind

if TYPE_CHECKING:
    from fieldmap.geostatistics import SurfaceFit
    from fieldmap.units import UnitSystem
    from fieldmap.verdict import Verdict


UNMIXED = (
    "Cannot tell: one nitrogen value stands for a mixed or weedy stand, so the map does not know where grass or "
    "weeds make the mass. Give nitrogen_pct or legume_pct for each sample."
)
NO_PATTERN = (
    "Cannot tell: these samples show no pattern that improves on the field average, which does not show that the "
    "field is even. More samples or a covariate would help."
)
NOTHING = (
    "By the ledger nothing is to be spread: on the expected credit every zone has what it needs. Where the credit "
    "falls short the crop would too: see the interval."
)
TESTED = "What a nitrate test calls for is spread as the test says and is not judged here."
SAME = "on this rate step the zones come to the same rate as one rate a block"
STRIPS = "Check strips that show the crop gets much less from the stand than was credited would change it."
NO_NEED = "The credit leaves next to nothing to spread: a larger need, or a smaller credit, would change it."
EVEN = "A stand that differs more from place to place would change it."
# What takes most of a map's gain, and what would give it back.
HELD_BY = {
    Bind.RATE_MAX: ("greatest rate", "a higher rate_max, a second pass or a richer product"),
    Bind.RATE_STEP: ("rate step, with the least rate,", "a finer rate_step or a lower rate_min"),
    Bind.ZONES_MAX: ("number of zones", "more zones (zones_max)"),
    Bind.ZONE_MIN: ("size of the zones", "a smaller zone_min"),
    Bind.MACHINE: ("spreading itself", "a narrower swath, a quicker rate change or a lower speed"),
}


def verdict_text(verdict: Verdict, units: UnitSystem) -> str:
    """The answer in a sentence, with what it rests on."""
    text = _answer_text(verdict, units)
    return f"{text} {TESTED}" if verdict.tested else text


def _answer_text(verdict: Verdict, units: UnitSystem) -> str:
    told = {"unmixed": UNMIXED, "no pattern": NO_PATTERN, "nothing to spread": NOTHING}
    if verdict.reason in told:
        return told[verdict.reason]
    answer = verdict.answer[:1].upper() + verdict.answer[1:]
    if verdict.reason == "same rates":
        return f"{answer}: {SAME}."
    zones, flat = (
        rate_text(kg_ha, units) for kg_ha in (verdict.misplaced_zones_kg_ha, verdict.misplaced_flat_kg_ha)
    )
    misses = (
        "as the ground receives it, and if the residue releases as expected, one rate a block misses the need by "
        f"{flat} of nitrogen, zones"
    )
    chance = f"the chance that varying beats one rate is {_percent(verdict.chance)}"
    saves = _saves(verdict, units)
    if verdict.vary:
        return f"{answer}: {saves}{misses} by {zones}; {chance}."
    if verdict.answer == "cannot tell":
        return (
            f"Cannot tell from these samples: {saves}{misses} by {zones}, but what zones gain is about as large as "
            f"what the samples and the release leave open ({chance})."
        )
    return f"{answer}: {saves}{misses} still by {zones}; so small a gain seldom repays a map ({chance})."


def _saves(verdict: Verdict, units: UnitSystem) -> str:
    """What zones save in money, against what they cost where the plan says so; empty without prices."""
    if verdict.gain_money_ha is None or verdict.currency is None:
        return ""
    saved = money_text(verdict.gain_money_ha, verdict.currency, units)
    if verdict.cost_money_ha is None:
        return f"zones save {saved} over the best one rate; "
    cost = money_text(verdict.cost_money_ha, verdict.currency, units)
    return f"zones save {saved} over the best one rate, and clipping and mapping cost {cost}; "


def change_text(verdict: Verdict) -> str:
    """What would change the answer."""
    if verdict.reason == "unmixed":
        return "A nitrogen value or a share of legume for each sample would settle it."
    if verdict.reason == "no pattern":
        return (
            "More samples, closer together in places, or a covariate that follows the stand would settle it."
        )
    if verdict.answer == "cannot tell":
        return (
            "Check strips would settle it: most of the doubt is in how much of the stand's nitrogen the crop gets."
            if verdict.release_rules
            else "More samples, or a covariate, would settle it: most of the doubt is in the map of the stand."
        )
    if not verdict.vary:
        return _against(verdict.binds)
    return (
        STRIPS
        if verdict.release_rules
        else "Samples that show less difference between the thin and the thick stand would change it."
    )


def _against(binds: Bind) -> str:
    """What would change an answer against zones."""
    if binds not in HELD_BY:
        return NO_NEED if binds is Bind.CREDIT else EVEN
    thing, remedy = HELD_BY[binds]
    return f"The {thing} takes most of what a map could gain here: {remedy} would change it."


def _percent(share: float) -> str:
    """Whole percent; what draws cannot tell from certainty is not called certain."""
    return "above 99 %" if share > 0.99 else "below 1 %" if share < 0.01 else f"{share * 100:.0f} %"


def no_pattern_text(fit: SurfaceFit, unit: str, *, per_unit: float = 1.0) -> str:
    """Say why the surface is the field mean; empty when it is not.

    Parameters
    ----------
    fit
        From `fit_surface`.
    unit
        Unit to show, such as ``"kg/ha"``.
    per_unit
        What one of the fit's own units is in `unit`.
    """
    if fit.method != "field mean":
        return ""
    mean, se, loo, mean_only = (
        _figure(value * per_unit) for value in (fit.mean, fit.mean_se, fit.loo_rmse, fit.mean_only_rmse)
    )
    average = "field average" if len(fit.drift.strata) == 1 else "average of each block or species, overall"
    more = "another covariate" if len(fit.drift.covariate_mean) else "a covariate"
    if fit.n < LEAST_SAMPLES:
        reason = f"With {fit.n} samples, fewer than {LEAST_SAMPLES}, only a mean is given."
    else:
        reason = (
            f"These {fit.n} samples do not show a spatial pattern that improves on the field average "
            f"(leave-one-out error {loo} vs {mean_only} {unit})."
        )
    return (
        f"{reason} The map is the {average} {mean} ± {se} {unit}. This does not show that the field is uniform: "
        f"with {fit.n} samples a real pattern would often go undetected. More samples or {more} would help."
    )


def _figure(value: float) -> str:
    """Three figures, but never fewer than all before the decimal point."""
    decimals = 0 if value == 0 else max(0, 2 - math.floor(math.log10(abs(value))))
    return f"{value:.{decimals}f}"
