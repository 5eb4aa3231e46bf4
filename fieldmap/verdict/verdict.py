"""Varying the rate against one rate a block: nitrogen in the wrong place, money, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldmap.units import money_text, rate_text

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Literal

    from numpy.typing import NDArray

    from fieldmap.plan import Plan
    from fieldmap.verdict.flat_rates import OneRate
    from fieldmap.verdict.outcomes import Ground, Outcome

    Floats = NDArray[np.float64]


# Squared error put right, as the nitrogen rate whose square it is: below this a map seldom repays its making.
# Judgement, no source: with 0.25 kg of yield lost per (kg N/ha)², 10 kg N/ha is worth 25 kg of crop a hectare.
# In money the same measure is what so much nitrogen costs.
MATTERS_KG_HA = 10.0
SURE = 0.8
ZONES = "zones"


@dataclass(frozen=True)
class Verdict:
    """Whether varying the rate is worth it, in a word and in a sentence.

    Parameters
    ----------
    change
        What would change the answer, in a sentence.
    more_samples
        Whether that is more samples, or a covariate.
    misplaced_zones_kg_ha, misplaced_flat_kg_ha
        Nitrogen short and over together, mean of the field, at the expected release.
    gain_kg_ha
        Root of the mean squared error that the zones put right; 0 where they put none right, and where the
        zones follow money.
    gain_money_ha
        Money that zones save a hectare over the first of the flat rates; None where money is not known.
    chance
        Share of the joint draws of sampling and release in which the zones lose less than the first flat rate.
    outcomes
        The zones, then the flat rates they are compared with.
    rate_without_insurance_kg_ha
        Mean rate of nitrogen that would bring every place just to the supply that pays best by its expected
        credit: what the rates would be if being short cost no more than being over. None where money is not
        known.
    """

    answer: Literal["worth it", "not worth it", "cannot tell"]
    text: str
    change: str
    more_samples: bool
    misplaced_zones_kg_ha: float
    misplaced_flat_kg_ha: float
    gain_kg_ha: float
    gain_money_ha: float | None
    chance: float
    outcomes: tuple[Outcome, ...]
    rate_without_insurance_kg_ha: float | None


def judge(ground: Ground, flats: Sequence[OneRate], plan: Plan, *, pattern: bool, unmixed: bool) -> Verdict:
    """Compare the zones with one rate a block under joint draws of sampling and release.

    Parameters
    ----------
    ground
        The zoned ground and what is drawn of it.
    flats
        Ways of spreading one rate a block; the answer is against the first.
    plan
        Its units.
    pattern
        Whether the samples show one, in biomass or in %N.
    unmixed
        Whether one %N stands for a mixed or weedy stand.
    """
    one_rate = ground.rates_of(flats[0])
    saved = ground.loss(one_rate) - ground.zones_loss
    by_samples = ground.loss(one_rate, release_known=True) - ground.loss(
        ground.rate_n_kg_ha, release_known=True
    )
    zones = ground.outcome(ZONES, ground.rate_n_kg_ha)
    others = [ground.outcome(flat.name, ground.rates_of(flat)) for flat in flats]
    money = ground.money
    matters = MATTERS_KG_HA * money.nitrogen_price if money else MATTERS_KG_HA**2
    answer = _answer(saved, matters, pattern=pattern, unmixed=unmixed)
    gain_ha = float(saved.mean())
    found = _Found(
        zones=_misplaced(zones, ground),
        flat=_misplaced(others[0], ground),
        chance=float((saved > 0).mean()),
        saved_text=money_text(gain_ha, money.currency, plan.units) if money else None,
        same=bool((ground.rate_n_kg_ha == one_rate).all()),
        nothing=not ground.rate_n_kg_ha.any(),
        release_rules=bool(by_samples.var() < saved.var() / 2),
    )
    return Verdict(
        answer=answer,
        text=_text(answer, found, plan, pattern=pattern, unmixed=unmixed),
        change=_change(answer, found, pattern=pattern, unmixed=unmixed),
        more_samples=answer == "cannot tell" and not unmixed and not (pattern and found.release_rules),
        misplaced_zones_kg_ha=found.zones,
        misplaced_flat_kg_ha=found.flat,
        gain_kg_ha=0.0 if money else max(0.0, gain_ha) ** 0.5,
        gain_money_ha=gain_ha if money else None,
        chance=found.chance,
        outcomes=(zones, *others),
        rate_without_insurance_kg_ha=_without_insurance(ground) if money else None,
    )


@dataclass(frozen=True)
class _Found:
    """What the sentences say: nitrogen misplaced (kg N/ha), chance, money saved, rates the same or all nothing.

    `release_rules` says that doubt about the release, not about the samples, is most of the doubt.
    """

    zones: float
    flat: float
    chance: float
    saved_text: str | None
    same: bool
    nothing: bool
    release_rules: bool


def _misplaced(outcome: Outcome, ground: Ground) -> float:
    return (outcome.short_n_kg + outcome.over_n_kg) / ground.area_ha


def _without_insurance(ground: Ground) -> float:
    supply = ground.supply.mean(axis=1, keepdims=True)
    due = np.maximum(0.0, (ground.target - supply) / ground.recovery)
    return float(np.average(due[:, 0], weights=ground.cells))


def _answer(
    saved: Floats, matters: float, *, pattern: bool, unmixed: bool
) -> Literal["worth it", "not worth it", "cannot tell"]:
    if unmixed or not pattern:
        return "cannot tell"
    if saved.mean() >= matters and (saved > 0).mean() >= SURE:
        return "worth it"
    return "not worth it" if (saved > matters).mean() <= 1 - SURE else "cannot tell"


def _text(answer: str, found: _Found, plan: Plan, *, pattern: bool, unmixed: bool) -> str:
    if unmixed:
        return (
            "Cannot tell: one nitrogen value stands for a mixed or weedy stand, so the map does not know where "
            "grass or weeds make the mass. Give nitrogen_pct or legume_pct for each sample."
        )
    if not pattern:
        return (
            "Cannot tell: these samples show no pattern that improves on the field average, which does not show "
            "that the field is even. More samples or a covariate would help."
        )
    if found.nothing and found.saved_text is None:
        return (
            "Nothing is to be spread: on the expected credit every zone has what it needs. Where the credit falls "
            "short the crop would too: see the interval."
        )
    if found.same:
        return "Not worth it: on this rate step the zones come to the same rate as one rate a block."
    zones, flat = (rate_text(kg_ha, plan.units) for kg_ha in (found.zones, found.flat))
    misses = (
        f"if the residue releases as expected, one rate a block misses the need by {flat} of nitrogen, zones"
    )
    chance = f"the chance that varying beats one rate is {_percent(found.chance)}"
    saves = f"zones save {found.saved_text} over the best one rate; " if found.saved_text else ""
    if answer == "worth it":
        return f"Worth it: {saves}{misses} by {zones}; {chance}."
    if answer == "not worth it":
        return (
            f"Not worth it: {saves}{misses} still by {zones}; so small a gain seldom repays a map ({chance})."
        )
    return (
        f"Cannot tell from these samples: {saves}{misses} by {zones}, but what zones gain is about as large as "
        f"what the samples and the release leave open ({chance})."
    )


def _change(answer: str, found: _Found, *, pattern: bool, unmixed: bool) -> str:
    """What would change the answer."""
    if unmixed:
        return "A nitrogen value or a share of legume for each sample would settle it."
    if not pattern:
        return (
            "More samples, closer together in places, or a covariate that follows the stand would settle it."
        )
    if answer == "cannot tell":
        return (
            "Check strips would settle it: most of the doubt is in how much of the stand's nitrogen the crop gets."
            if found.release_rules
            else "More samples, or a covariate, would settle it: most of the doubt is in the map of the stand."
        )
    if answer == "not worth it":
        return "A stand that differs more from place to place, or a finer rate step, would change it."
    return (
        "Check strips that show the crop gets much less from the stand than was credited would change it."
        if found.release_rules
        else "Samples that show less difference between the thin and the thick stand would change it."
    )


def _percent(share: float) -> str:
    """Whole percent; what draws cannot tell from certainty is not called certain."""
    return "above 99 %" if share > 0.99 else "below 1 %" if share < 0.01 else f"{share * 100:.0f} %"
