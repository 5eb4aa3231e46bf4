"""What the verdict says: the answer with what it rests on, and what would change it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.units import money_text, rate_text

if TYPE_CHECKING:
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
    "Nothing is to be spread: on the expected credit every zone has what it needs. Where the credit falls short the "
    "crop would too: see the interval."
)
SAME = "Not worth it: on this rate step the zones come to the same rate as one rate a block."


def verdict_text(verdict: Verdict, units: UnitSystem) -> str:
    """The answer in a sentence, with what it rests on."""
    told = {"unmixed": UNMIXED, "no pattern": NO_PATTERN, "nothing to spread": NOTHING, "same rates": SAME}
    if verdict.reason != "gain":
        return told[verdict.reason]
    zones, flat = (
        rate_text(kg_ha, units) for kg_ha in (verdict.misplaced_zones_kg_ha, verdict.misplaced_flat_kg_ha)
    )
    misses = (
        f"if the residue releases as expected, one rate a block misses the need by {flat} of nitrogen, zones"
    )
    chance = f"the chance that varying beats one rate is {_percent(verdict.chance)}"
    saves = ""
    if verdict.gain_money_ha is not None and verdict.currency is not None:
        saves = f"zones save {money_text(verdict.gain_money_ha, verdict.currency, units)} over the best one rate; "
    if verdict.answer == "worth it":
        return f"Worth it: {saves}{misses} by {zones}; {chance}."
    if verdict.answer == "not worth it":
        return (
            f"Not worth it: {saves}{misses} still by {zones}; so small a gain seldom repays a map ({chance})."
        )
    return (
        f"Cannot tell from these samples: {saves}{misses} by {zones}, but what zones gain is about as large as "
        f"what the samples and the release leave open ({chance})."
    )


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
    if verdict.answer == "not worth it":
        return "A stand that differs more from place to place, or a finer rate step, would change it."
    return (
        "Check strips that show the crop gets much less from the stand than was credited would change it."
        if verdict.release_rules
        else "Samples that show less difference between the thin and the thick stand would change it."
    )


def _percent(share: float) -> str:
    """Whole percent; what draws cannot tell from certainty is not called certain."""
    return "above 99 %" if share > 0.99 else "below 1 %" if share < 0.01 else f"{share * 100:.0f} %"
