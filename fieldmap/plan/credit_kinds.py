"""The kinds of [[other_credits]]: one entry a kind.

How a kind that is measured comes to nitrogen is reckoned in `fieldmap.budget`, which stands after the plan and may
not be imported here: `RECKONED` there has one function for each entry that `is_reckoned`, and a test holds the two
together.
"""

from __future__ import annotations

from dataclasses import dataclass

NITROGEN = frozenset({"nitrogen_kg_ha"})
# They say when and what, not how much.
NO_AMOUNTS = frozenset({"applied", "crop", "ended"})


@dataclass(frozen=True)
class CreditKind:
    """One kind of nitrogen from elsewhere.

    Parameters
    ----------
    ways
        Which fields of `OtherCredit` tell how much: one of these sets in full.
    asked
        The fields that the app asks for, in their order.
    counted_as
        What `need_allows_for` calls it where a guide's rate may count it already; empty where none does.
    comes_with_growth
        Whether it comes along as the crop grows; else it is there from planting on.
    is_soil_test
        Whether it measures what the soil holds: what was released up to its day is in it.
    is_manure
        Whether it is manure: it brings the rule on raw manure, and the side-dress rates of manured ground.
    """

    ways: tuple[frozenset[str], ...]
    asked: tuple[str, ...]
    counted_as: str = ""
    comes_with_growth: bool = False
    is_soil_test: bool = False
    is_manure: bool = False

    def __post_init__(self) -> None:
        if not any(way <= {*self.asked} for way in self.ways):
            raise ValueError(
                f"asked for are {', '.join(self.asked)}; all of one way to tell how much are expected"
            )

    @property
    def is_reckoned(self) -> bool:
        """Whether it may be given as what was measured, and not as nitrogen."""
        return any(not way >= NITROGEN for way in self.ways)

    @property
    def amounts(self) -> frozenset[str]:
        """The fields that hold how much."""
        return frozenset().union(*self.ways) - NO_AMOUNTS


CREDIT_KINDS: dict[str, CreditKind] = {
    "irrigation water": CreditKind(
        ways=(frozenset({"nitrate_n_ppm", "water_mm"}), frozenset({"nitrate_ppm", "water_mm"}), NITROGEN),
        asked=("nitrate_n_ppm", "water_mm"),
        comes_with_growth=True,
    ),
    "soil nitrate": CreditKind(
        ways=(frozenset({"nitrate_n_ppm", "depth_m"}), frozenset({"nitrate_ppm", "depth_m"}), NITROGEN),
        asked=("nitrate_n_ppm", "depth_m", "bulk_density_kg_m3", "sampled"),
        counted_as="soil nitrate",
        is_soil_test=True,
    ),
    "soil organic matter": CreditKind(
        ways=(frozenset({"organic_matter_pct"}), NITROGEN),
        asked=("organic_matter_pct",),
        counted_as="organic matter",
        comes_with_growth=True,
    ),
    "compost": CreditKind(
        ways=(frozenset({"total_n_kg_ha", "applied"}), NITROGEN),
        asked=("total_n_kg_ha", "share", "applied"),
    ),
    "manure": CreditKind(
        ways=(frozenset({"total_n_kg_ha", "share", "applied"}), NITROGEN),
        asked=("total_n_kg_ha", "share", "applied", "raw"),
        is_manure=True,
    ),
    # Which legume and when it ended are always told: it must not be this cover crop.
    "previous legume": CreditKind(
        ways=(NITROGEN | {"crop", "ended"},),
        asked=("crop", "ended", "nitrogen_kg_ha"),
        counted_as="previous legume",
    ),
    "starter": CreditKind(ways=(NITROGEN,), asked=("nitrogen_kg_ha",)),
    "earlier years": CreditKind(ways=(NITROGEN,), asked=("nitrogen_kg_ha",)),
}


def credit_kind(name: str) -> CreditKind:
    """The entry of a kind.

    Raises
    ------
    ValueError
        For a kind that the table does not have.
    """
    if name not in CREDIT_KINDS:
        raise ValueError(f"credit {name!r} is unknown; expected one of {', '.join(map(repr, CREDIT_KINDS))}")
    return CREDIT_KINDS[name]


def counted_by_guides() -> tuple[str, ...]:
    """What a guide's rate may count already, as `need_allows_for` takes it."""
    return tuple(dict.fromkeys(kind.counted_as for kind in CREDIT_KINDS.values() if kind.counted_as))
