"""The index of soil nitrogen, and the rate that it calls for: a second opinion beside need and credits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldmap import agronomy
from fieldmap.budget.other_credits import measured_nitrate_kg_ha

if TYPE_CHECKING:
    from fieldmap.plan import Crop, OtherCredit


_UP_TO = tuple(figure.value for figure in agronomy.figures("limits")["nitrogen_index"])


def nitrogen_index(mineral_n_kg_ha: float, depth_m: float) -> int:
    """The index of a soil by its mineral nitrogen, 0 to 6.

    Not for peat, nor for ground whose residue has still to release: the index counts what is mineral.

    Parameters
    ----------
    mineral_n_kg_ha
        In the layer sampled.
    depth_m
        Of that layer; another depth is taken in proportion.

    Returns
    -------
    int
        By whole kilograms in 30 cm.

    References
    ----------
    AHDB RB209, section 6, Table 6.6 (rb209).

    Examples
    --------
    90 kg in 90 cm are index 2; 54 in 45 cm are 72 in 60, index 3.

    >>> nitrogen_index(90.0, 0.90), nitrogen_index(54.0, 0.45), nitrogen_index(300.0, 0.90)
    (2, 3, 6)
    """
    in_30_cm = round(mineral_n_kg_ha * 0.30 / depth_m)
    return next((index for index, up_to in enumerate(_UP_TO) if in_30_cm <= up_to), len(_UP_TO))


@dataclass(frozen=True)
class IndexRate:
    """What the index of a soil test calls for: nitrogen in all, kg/ha."""

    mineral_n_kg_ha: float
    depth_m: float
    index: int
    rate_n_kg_ha: float


def rate_by_index(crop: Crop, credit: OtherCredit) -> IndexRate | None:
    """The rate by the index of a soil nitrate credit; None where it was not measured or the table has no rates."""
    rates = crop.entry.index_rates_kg_ha
    mineral_n_kg_ha = measured_nitrate_kg_ha(credit)
    if rates is None or mineral_n_kg_ha is None or credit.depth_m is None:
        return None
    index = nitrogen_index(mineral_n_kg_ha, credit.depth_m)
    return IndexRate(mineral_n_kg_ha, credit.depth_m, index, rates[index])
