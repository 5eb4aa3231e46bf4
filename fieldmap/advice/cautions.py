"""What can hurt someone, said to everyone who takes a map into the field."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap import agronomy
from fieldmap.budget import products_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fieldmap.plan import Plan
    from fieldmap.verdict import ApplicationMap


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

BY_METHOD = {
    "band": (
        "A band too near the seed burns roots: keep it about two inches beside and below the seed, and its nitrogen "
        "and potash within what the local guide allows (common practice, no source)."
    ),
    "side-dress": (
        "Side-dress between the rows on dry leaves, off leaves and stems, not so deep or near that roots are cut; "
        "what stays on the surface needs cultivation or water before it serves the crop, and urea loses nitrogen to "
        "the air until then (common practice, no source)."
    ),
    "through drip": (
        "Through drip: only what dissolves fully; try it in a jar with your water first, for calcium and phosphate "
        "or sulfate clog the line together; keep a backflow valve between the injector and the well; flush the "
        "lines, and stop the water before nitrate is washed below the roots (common practice, no source)."
    ),
}


def cautions(plan: Plan, maps: Sequence[ApplicationMap], blocks: Sequence[str]) -> tuple[str, ...]:
    """The cautions that this plan, its applications and its blocks call for."""
    products = products_of([one.application for one in maps])
    manure = any(credit.kind.is_manure for credit in plan.other_credits)
    manure = manure or any(product.raw_manure for product in products)
    methods = dict.fromkeys(one.method for one in plan.application)
    lies = any(plan.cover_crop_of(block).placement != "incorporated" for block in blocks)
    return (
        *GENERAL,
        *dict.fromkeys(text for product in products for text in product.cautions),
        *dict.fromkeys(text for product in products if lies for text in product.residue_cautions),
        *_after_residue(plan, blocks),
        *(BY_METHOD[method] for method in methods if method in BY_METHOD),
        *((ORGANIC,) if any(product.organic for product in products) else ()),
        *((MANURE,) if manure else ()),
    )


def _after_residue(plan: Plan, blocks: Sequence[str]) -> tuple[str, ...]:
    """What rotting or lying residue does to a crop that is planted soon after it, each hazard with its blocks."""
    found: dict[str, list[str]] = {}
    for block in blocks:
        cover, crop = plan.cover_crop_of(block), plan.crop_of(block)
        days = (crop.planted - cover.terminated).days
        for one in agronomy.hazards.hazards_of(
            crop.name, cover.species, placement=cover.placement, started=crop.entry.started, days=days
        ):
            found.setdefault(one.says, []).append(f"{crop.name} in {block}, {days} days")
    return tuple(
        f"Planted soon after the cover crop ({'; '.join(where)}): {says}." for says, where in found.items()
    )
