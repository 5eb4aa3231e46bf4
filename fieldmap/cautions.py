"""What can hurt someone, said to everyone who takes a map into the field."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldmap.plan import Plan

GENERAL = (
    (
        "This map supports a nutrient management plan and is not one: local rules, laboratory recommendations and "
        "licensed advice come first."
    ),
    (
        "Nitrogen that crops do not take up reaches groundwater; the drinking-water limit in the United States is "
        "10 mg/L nitrate-N (US EPA). Keep the setbacks from wells, springs and open water that your rules ask for."
    ),
    (
        "A thin stand may be thin because the ground is poor. The zone with the highest rate is a reason to look, "
        "dig and test before spreading more there."
    ),
    (
        "The credit is an estimate from a regional relation. Roots are not counted: the relation is on shoots, and "
        "adding them would count nitrogen twice. Try one block, with check strips, before the whole farm."
    ),
    (
        "Calibrate the spreader with this product, and compare what the machine shows with the zone table before "
        "the first pass."
    ),
)
ORGANIC = (
    "Organic products also add phosphorus and potassium: look at the soil test before spreading where it is "
    "already high. The certifier decides what may be used."
)
MANURE = (
    "Raw manure: at least 120 days from application to harvest where the edible part touches the soil, 90 days "
    "elsewhere (7 CFR 205.203)."
)


def cautions(plan: Plan) -> tuple[str, ...]:
    """The cautions that this plan calls for."""
    product = plan.spreader.product_entry
    manure = any(credit.source == "manure" for credit in plan.other_credits)
    return (
        *GENERAL,
        *product.cautions,
        *((ORGANIC,) if product.organic else ()),
        *((MANURE,) if manure or product.raw_manure else ()),
    )
