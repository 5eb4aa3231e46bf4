"""Varying the rate against one rate a block: nitrogen in the wrong place, money, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fieldmap.verdict.binding import Bind, Binding
    from fieldmap.verdict.outcomes import Ground, Outcome

    Floats = NDArray[np.float64]


# Squared error put right, as the nitrogen rate whose square it is: below this a map seldom repays its making.
# Judgement, no source: with 0.25 kg of yield lost per (kg N/ha)², 10 kg N/ha is worth 25 kg of crop a hectare.
# In money the same measure is what so much nitrogen costs.
MATTERS_KG_HA = 10.0
SURE = 0.8
ZONES = "zones"
# Whether it is worth it can be said in money only; without prices, whether zones come closer to the need.
Answer = Literal["worth it", "not worth it", "closer to the need", "no closer to the need", "cannot tell"]
Reason = Literal["unmixed", "no pattern", "nothing to spread", "same rates", "gain"]


@dataclass(frozen=True)
class Verdict:
    """Whether varying the rate is worth it, and why.

    Parameters
    ----------
    answer
        In money whether it is worth it, else whether zones come closer to the need.
    reason
        What the answer rests on: one %N for a mixed or weedy stand, samples without a pattern, nothing to spread,
        zones that come to one rate a block, or what zones gain.
    release_rules
        Whether doubt about the release, not about the samples, is most of the doubt.
    misplaced_zones_kg_ha, misplaced_flat_kg_ha
        Nitrogen short and over together, mean of the field, at the expected release.
    gain_kg_ha
        Root of the mean squared error that the zones put right; 0 where they put none right, and where the
        zones follow money.
    gain_money_ha
        Money that zones save a hectare over the first of the flat rates, in `currency`; both None where money is
        not known.
    cost_money_ha
        What clipping, map and time cost a hectare, from the plan; None where it does not say, or money is not known.
    binds
        What would have to differ for zones to gain more.
    tested
        Whether a nitrate test sets an application, which is not judged.
    chance
        Share of the joint draws of sampling and release in which the zones lose less than the first flat rate.
    outcomes
        The zones, then the flat rates they are compared with.
    rate_without_insurance_kg_ha
        Mean rate of nitrogen that would bring every place just to the supply that pays best by its expected
        credit: what the rates would be if being short cost no more than being over. None where money is not
        known.
    """

    answer: Answer
    reason: Reason
    release_rules: bool
    misplaced_zones_kg_ha: float
    misplaced_flat_kg_ha: float
    gain_kg_ha: float
    gain_money_ha: float | None
    currency: str | None
    cost_money_ha: float | None
    binds: Bind
    tested: bool
    chance: float
    outcomes: tuple[Outcome, ...]
    rate_without_insurance_kg_ha: float | None

    @property
    def vary(self) -> bool:
        """Whether the zones are the map to spread by."""
        return self.answer in ("worth it", "closer to the need")

    @property
    def more_samples(self) -> bool:
        """Whether more samples, or a covariate, would settle it."""
        if self.answer != "cannot tell" or self.reason == "unmixed":
            return False
        return self.reason == "no pattern" or not self.release_rules


def judge(
    ground: Ground,
    bound: Binding,
    *,
    pattern: bool,
    unmixed: bool,
    same_rates: bool,
    tested: bool = False,
    cost_money_ha: float | None = None,
) -> Verdict:
    """Compare the zones with one rate a block, both as the ground receives them, under joint draws.

    Parameters
    ----------
    ground
        The zoned ground and what is drawn of it.
    bound
        What the first map is held to, its losses in nitrogen or in money.
    pattern
        Whether the samples show one, in biomass or in %N.
    unmixed
        Whether one %N stands for a mixed or weedy stand.
    same_rates
        Whether the zones mean no other rate anywhere than one rate a block.
    tested
        Whether a nitrate test sets an application.
    cost_money_ha
        What clipping, map and time cost a hectare, in the currency of the prices.
    """
    one_rate = next(iter(ground.flats_n_kg_ha.values()))
    saved = ground.loss(one_rate) - ground.zones_loss
    by_samples = ground.loss(one_rate, release_known=True) - ground.loss(
        ground.rate_n_kg_ha, release_known=True
    )
    zones = ground.outcome(ZONES, ground.rate_n_kg_ha)
    others = [ground.outcome(way, rates) for way, rates in ground.flats_n_kg_ha.items()]
    money = ground.money
    cost_ha = cost_money_ha if money else None
    matters = MATTERS_KG_HA**2
    if money:
        matters = MATTERS_KG_HA * money.nitrogen_price if cost_ha is None else cost_ha
    gain_ha = float(saved.mean())
    return Verdict(
        answer=_answer(saved, matters, in_money=money is not None, known=pattern and not unmixed),
        reason=_reason(ground, pattern=pattern, unmixed=unmixed, same_rates=same_rates),
        release_rules=bool(by_samples.var() < saved.var() / 2),
        misplaced_zones_kg_ha=_misplaced(zones, ground),
        misplaced_flat_kg_ha=_misplaced(others[0], ground),
        gain_kg_ha=0.0 if money else max(0.0, gain_ha) ** 0.5,
        gain_money_ha=gain_ha if money else None,
        currency=money.currency if money else None,
        cost_money_ha=cost_ha,
        binds=bound.most(matters),
        tested=tested,
        chance=float((saved > 0).mean()),
        outcomes=(zones, *others),
        rate_without_insurance_kg_ha=_without_insurance(ground) if money else None,
    )


def _reason(ground: Ground, *, pattern: bool, unmixed: bool, same_rates: bool) -> Reason:
    if unmixed:
        return "unmixed"
    if not pattern:
        return "no pattern"
    if not ground.rate_n_kg_ha.any() and ground.money is None:
        return "nothing to spread"
    return "same rates" if same_rates else "gain"


def _misplaced(outcome: Outcome, ground: Ground) -> float:
    return (outcome.short_n_kg + outcome.over_n_kg) / ground.area_ha


def _without_insurance(ground: Ground) -> float:
    supply = ground.supply.mean(axis=1, keepdims=True)
    due = np.maximum(0.0, (ground.target - supply) / ground.recovery)
    return float(np.average(due[:, 0], weights=ground.cells))


def _answer(saved: Floats, matters: float, *, in_money: bool, known: bool) -> Answer:
    if not known:
        return "cannot tell"
    if saved.mean() >= matters and (saved > 0).mean() >= SURE:
        return "worth it" if in_money else "closer to the need"
    if (saved > matters).mean() <= 1 - SURE:
        return "not worth it" if in_money else "no closer to the need"
    return "cannot tell"
