"""What the app asks for, in the order in which a person works, each with a sentence or two of help.

What a key takes and in which unit is read from `Plan`; here stand only its place, its words and when it is asked.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal, get_args

from fieldmap import agronomy
from fieldmap.plan import OtherCredit, credit_kinds
from fieldmap.plan import keys as known_keys

if TYPE_CHECKING:
    from collections.abc import Callable

    from fieldmap.units import Kind


Takes = Literal["quantity", "choice", "choices", "date", "flag", "number", "whole number", "text"]
_ASKED: dict[str, Takes] = {sort: sort for sort in get_args(Takes)}  # all else as text, such as a price
_KEYS = {(key.section, key.key): key for key in known_keys.plan_keys()}
Told = dict[str, Any]


@dataclass(frozen=True)
class Question:
    """One key of plan.toml as the app asks for it.

    Parameters
    ----------
    section, key
        Where the answer stands.
    label
        What a person calls it; the unit is added where it is shown.
    help
        The agronomy in a sentence or two, with its source.
    when
        Whether it is asked, by what the section says already.
    left_open
        What holds where there is no answer, in words; without it the default of the key is shown.
    """

    section: str
    key: str
    label: str
    help: str = ""
    when: Callable[[Told], bool] = lambda _: True
    left_open: str = ""

    @property
    def _key(self) -> known_keys.Key:
        return _KEYS[self.section, self.key]

    @property
    def kind(self) -> Kind | None:
        """The kind of quantity; None where it is none."""
        return self._key.kind

    @property
    def takes(self) -> Takes:
        """Which sort of answer is expected."""
        if self.key in ("stage", "block"):  # of each species its own stage only in the plan as text
            return "choice"
        return _ASKED.get(self._key.sort, "text")

    @property
    def options(self) -> list[str]:
        """What may be chosen; empty where anything may be written."""
        return list(self._key.words or self._key.names)

    @property
    def default(self) -> Any:
        """What holds where nothing is told, as a plan has it; None where something must be, or where nothing is."""
        return self._key.default

    @property
    def needed(self) -> bool:
        """Whether a run needs an answer; where a plan does without the section it does not."""
        return self._key.required and not self._key.section_optional


def stages_of(species: object) -> list[str]:
    """The growth stages to choose from for a cover crop: those of its legume, where it has one."""
    named = [species] if isinstance(species, str) else species if isinstance(species, list) else []
    entries = [
        entry
        for name in named
        if isinstance(name, str) and (entry := agronomy.find(name, agronomy.cover_crops())) is not None
    ]
    legumes = [entry for entry in entries if entry.kind == "legume"]
    return list((legumes or entries)[0].stages) if entries else list(agronomy.STAGES["legume"])


def _is_known(
    named: object, entries: tuple[agronomy.CropEntry, ...] | tuple[agronomy.CoverCropEntry, ...]
) -> bool:
    """Whether all that is named stands in a table; what is not told yet does."""
    names = [named] if isinstance(named, str) else named if isinstance(named, list) else []
    known = {name for entry in entries for name in (entry.name, *entry.aliases)}
    return all(name.strip().lower() in known for name in names if isinstance(name, str))


CRS = Question("samples", "crs", "Reference system of easting and northing", "Its code, such as EPSG:26918.")

SAMPLES = (
    Question("samples", "sampled", "Sampled on", "The day of the clipping."),
    Question("samples", "confirmed", "Clipped after the stand ended: that is right", "What lies "
             "dead has lost nitrogen (common practice, no source): such samples are refused until you say so."),
)  # fmt: skip

STAND = (
    Question("cover_crop", "species", "Cover crop", "One species, or several for a mixture: %N of a mixture is mixed "
             "by dry weight. The table of species holds %N by stage with its sources. One of your own is written in "
             'the plan as text: species = "kura clover", kind = "legume", with a laboratory %N.'),
    Question("cover_crop", "kind", "It is a", "For a species that is not in the table, with a laboratory %N.",
             lambda told: "kind" in told or not _is_known(told.get("species"), agronomy.cover_crops())),
    Question("cover_crop", "nitrogen", "Laboratory %N of dry matter", "What the laboratory found in a mixed sample "
             "of the whole stand. Without it %N comes from the table by species and stage, which is less sure.",
             left_open="by species and stage"),
    Question("cover_crop", "nodules", "Nodules on the roots", "Pink inside: nitrogen is being fixed. Few or white: "
             "the table's %N is not used and a laboratory value is needed (common practice, no source)."),
    Question("cover_crop", "terminated", "Ended on", "The day the stand is tilled, mown, rolled, sprayed or frozen. "
             "Nitrogen comes from that day on."),
    Question("cover_crop", "placement", "Where the residue lies", "Residue on the surface gives 0.4 to 1 of what "
             "incorporated residue does (published), more where its surface is kept wet."),
    Question("cover_crop", "tilled_share", "Share of the ground tilled (0 to 1)",
             "The tilled strip's width over the distance between strips.",
             lambda told: told.get("placement") == "strip-tilled"),
    Question("cover_crop", "ended_by", "Ended by", "Left open, tilling is taken for incorporated residue and mowing "
             "for residue on the surface. Taken off or killed by frost, a part alone is credited.",
             left_open="by where it lies"),
    Question("cover_crop", "residue", "Residue", "Chopped residue decays sooner than whole plants."),
    Question("cover_crop", "tarped", "Days under the tarp", "Three weeks kill rye and vetch; one does not "
             "(published).",
             lambda told: told.get("ended_by") == "tarped"),
    Question("cover_crop", "sown", "Sown on", "Nitrogen that was spread before this day is in the stand already."),
)  # fmt: skip

STAGE = Question(
    "cover_crop",
    "stage",
    "Growth stage when clipped",
    "%N falls from bud to seed set, so the same weight holds less nitrogen later; of a mixture, the legume's stage.",
)

CREDIT = (
    Question("credit", "method", "How the credit follows from the stand", "By quality: from %N of the residue, with "
             "the relation of PNW 636. By share: a fixed share of the nitrogen in the stand."),
    Question("credit", "share", "Share of the stand's nitrogen (0 to 1)", "Yours is final. Left open: 0.50 "
             "incorporated, 0.40 on warm ground, 0.25 on cool ground.", lambda told: told.get("method") == "share"),
    Question("credit", "release_error", "Error of the release", "How far the share that is released may be off, as a "
             "standard error; all zones share it. The default is judgement."),
    Question("credit", "correction", "Correction from earlier check strips", "1 credits as reckoned; 0.8 credits a "
             "fifth less. It is shown wherever it acts."),
)  # fmt: skip

CROP = (
    Question("crop", "name", "Crop", "Its uptake curve and the range of its need come from the table of vegetables. "
             'One of your own is written in the plan as text: name = "okra", like = "pepper".'),
    Question("crop", "like", "Its uptake is like that of", "For a crop that is not in the table.",
             lambda told: "like" in told or not _is_known(told.get("name"), agronomy.crops())),
    Question("crop", "planted", "Planted on", "What drains below its roots by then does not count for it."),
    Question("crop", "harvested", "Harvested on", "What is released after the last useful uptake does not count."),
    Question("crop", "need", "Nitrogen need", "From your local guide or laboratory: it decides every rate, so it is "
             "never filled in for you."),
    Question("crop", "started", "How it starts", "Transplants take up sooner in their shorter season.",
             left_open="the usual way"),
    Question("crop", "yield", "Yield expected", "Fresh harvest: for it the table says what leaves the field.",
             left_open="that of the table"),
    Question("crop", "need_is", "That figure is", "A guide's rate is fertiliser to spread, with average soil supply "
             "in it already. Crop uptake is all the crop takes up: then the recovery of spread nitrogen is asked."),
    Question("crop", "recovery", "Recovery of spread nitrogen (0 to 1)", "The share of spread nitrogen that the crop "
             "takes up.", lambda told: told.get("need_is") == "crop uptake"),
    Question("crop", "need_allows_for", "The guide has counted already", "A credit that the guide counted is not "
             "subtracted a second time.", left_open="nothing"),
    Question("crop", "touches_soil", "The harvested part touches the soil", "Raw manure then needs 120 days before "
             "the harvest, otherwise 90 (7 CFR 205.203, organic rule)."),
    Question("crop", "plastic_laid", "Plastic laid on", "From that day on only drip reaches the crop's roots."),
    Question("crop", "need_per", "The figure is per area of", "A need per area of bed is turned into field area."),
    Question("crop", "bed_width", "Width of a bed", "", lambda told: told.get("need_per") == "bed"),
    Question("crop", "bed_spacing", "From bed to bed", "Middle to middle.",
             lambda told: told.get("need_per") == "bed"),
    Question("crop", "on_bed_share", "Residue that ends up on the beds (0 to 1)", "What grew and what is "
             "thrown there. What lies in the alleys serves the crop little.",
             lambda told: told.get("need_per") == "bed" or "plastic_laid" in told, left_open="all of it"),
)  # fmt: skip

WEATHER = (
    Question("weather", "mean", "Mean temperature of the year", "With amplitude and coldest day it stands in for a "
             "weather file: soil temperature decides how soon nitrogen comes."),
    Question("weather", "amplitude", "Half the swing from coldest to warmest", "A temperature difference."),
    Question("weather", "coldest", "Coldest day of the year", "Around 20 January in the north (common practice)."),
    Question("weather", "irrigated", "The field is irrigated", "Dry soil holds release back."),
    Question("weather", "irrigated_by", "Irrigated by", "Drip wastes a tenth of its water, furrows a third (from "
             "memory): what the crop does not use carries nitrate down. Sprinklers wet residue on the surface, drip "
             "and furrows do not.", left_open="not known"),
)  # fmt: skip

SOIL = (
    Question("soil", "texture", "Texture of the soil", "Sand holds a third of the water of a loam, and lets nitrate "
             "go sooner.", left_open="not told: as a loam"),
    Question("soil", "drainage", "Drainage class", "Where the ground stays wet, some nitrate is lost as gas.",
             left_open="not told: no loss as gas"),
    Question("soil_test", "phosphorus", "Phosphorus in the soil test", "Organic products bring phosphorus along: "
             "where it is high already, that is said.", left_open="not tested"),
    Question("soil_test", "potassium", "Potassium in the soil test", "As for phosphorus.", left_open="not tested"),
)  # fmt: skip

SPREADER = (
    Question("spreader", "product", "Product", "What is spread, with its analysis from the table of products. One of "
             'your own is written in the plan as text: product = { name = "my liquid", nitrogen = "9 %" }.'),
    Question("spreader", "swath", "Swath", "From pass to pass."),
    Question("spreader", "rate_step", "Step between rates, of product", "The controller sets whole steps of it."),
    Question("spreader", "rate_min", "Lowest rate, of product", "Below it the machine does not spread evenly; "
             "nothing at all is always possible."),
    Question("spreader", "rate_max", "Highest rate, of product", "What the machine can carry at its speed."),
    Question("spreader", "zones_max", "Zones at most", "More zones follow the stand more closely; after three or "
             "four little is gained."),
    Question("spreader", "zone_min", "Smallest zone", "Smaller patches are joined to a neighbour."),
    Question("spreader", "speed", "Speed", "With the time of a change it gives the distance a change takes."),
    Question("spreader", "rate_change", "Time of a rate change", "From the old rate to the new one, 3 to 5 s "
             "(published)."),
    Question("spreader", "hopper", "Hopper holds", "With it the map shows where a load runs out.",
             left_open="all is one load"),
    Question("spreader", "heading", "Direction of the passes, from north", "From north clockwise.",
             left_open="along the field"),
    Question("spreader", "rate_n_min", "Every zone gets at least, of nitrogen", "A starter."),
    Question("spreader", "outside_rate", "Outside zones and on lost position, of product", "0 unless you say so."),
    Question("spreader", "border_spreading", "A border device is used", "It throws nothing beyond the boundary."),
)  # fmt: skip

APPLICATION = (
    Question("application", "date", "On", "With several applications each needs its day."),
    Question("application", "share", "Share of the supplemental nitrogen", "A number from 0 to 1, or auto: then each "
             "carries the crop to the next, by the season; one auto beside numbers is the rest. Or phosphorus: up to "
             "the P2O5 that the harvest takes away, the others being auto."),
    Question("application", "method", "How", "What goes through drip is reckoned by block; what is broadcast over a "
             "leafy crop can burn it."),
    Question("application", "incorporated", "Worked in after, days", "Of organic products: ammonium, and part of "
             "poultry litter's nitrogen, is lost to the air until then; 0 is at once, never is a word.",
             left_open="1 day where it is broadcast on tilled ground, never on ground not tilled, else at once"),
    Question("application", "product", "Product", "Of this application alone; one of your own as for the "
             "spreader.", left_open="the spreader's"),
)  # fmt: skip

SIDEDRESS = (
    Question("sidedress_test", "sampled", "Sampled on", "Nitrate in the top 30 cm of soil, just before "
             "side-dressing, in 10 to 15 cores along a W, of lettuce and celery without the top 5 cm, kept cool and "
             "analysed within three days (RB209). From that day on the test, and not the ledger, says what is still "
             "to spread."),
    Question("sidedress_test", "nitrate_n", "Nitrate-N", "As the laboratory gives it: nitrate-N here, or nitrate in "
             "the next box."),
    Question("sidedress_test", "nitrate", "Or nitrate"),
    Question("sidedress_test", "strip", "Or what a strip reads", "In an extract of soil; good to 20 % (from "
             "memory)."),
    Question("sidedress_test", "strip_reads", "The strip is for", "Its tin says it: the two are 4.43 times apart.",
             lambda told: "strip" in told),
    Question("sidedress_test", "texture", "Texture of the soil", "For 1 part of soil to 3 of solution by volume.",
             lambda told: "strip" in told),
    Question("sidedress_test", "moisture", "That soil was", "When it was measured out.",
             lambda told: "strip" in told),
    Question("sidedress_test", "rate", "How much is dressed", "Fill up for managed irrigation; steps for humid, "
             "rain-fed ground.", left_open="by [weather] irrigated"),
    Question("sidedress_test", "threshold", "Enough from", "Your guide's threshold: from it on nothing is "
             "side-dressed.", left_open="the crop's, from the table"),
    Question("sidedress_test", "block", "Block", left_open="every block"),
    Question("sidedress_test", "ground", "Ground", "Three tests, one of each third of the block by the stand, set "
             "the side-dressing of each.", left_open="the whole block"),
)  # fmt: skip

STRIPS = (
    Question("strips", "number", "How many", "Strips with none, half and all of what the crop would need without "
             "the cover crop, so some get more than any zone: the crop there shows what the credit was worth. Of two "
             "one gets none and one all.", left_open="none"),
)  # fmt: skip

RESPONSE = (
    Question("response", "a", "Yield without nitrogen, t/ha (a)", "Yield = a + b N + c N² up to its top, N in kg/ha, "
             "from a trial near you. With it and both prices zones follow money."),
    Question("response", "b", "First gain, t per kg of N (b)"),
    Question("response", "c", "Bend, below 0 (c)"),
    Question("prices", "crop", "Price of the crop, such as 0.8 USD/kg", "What a kilogram of yield brings."),
)  # fmt: skip

THIN_GROUND = (
    Question("thin_ground", "cause", "Why the stand is thin where it is thin", "Where wet, dry or acid "
             "ground thinned the stand it may hold the vegetable back too (common practice, no source)."),
    Question("thin_ground", "cap", "Hold the rate there back", "To what one rate for all would give there."),
)  # fmt: skip

PRICES = (
    Question("prices", "product", "Price of the product, such as 620 USD/t", "For the cost of the order and of a "
             "kilogram of nitrogen."),
    Question("prices", "cover_crop", "Cost of the cover crop, such as 95 USD/ha", "Seed, inoculant and field work "
             "together."),
)  # fmt: skip
CREDIT_LABELS = {
    "nitrate_n": "Nitrate-N",
    "water": "Water over the season",
    "depth": "Depth of the sample",
    "bulk_density": "Bulk density of the soil",
    "sampled": "Sampled on",
    "organic_matter": "Organic matter",
    "total_n": "Total nitrogen spread",
    "share": "Share available in the first year (0 to 1)",
    "applied": "Spread on",
    "raw": "It is raw manure",
    "crop": "Which legume",
    "ended": "Ended on",
    "nitrogen": "Nitrogen",
}


def credit_questions(source: str) -> tuple[Question, ...]:
    """What is asked of another credit: what was measured, or the nitrogen itself."""
    kind = credit_kinds.credit_kind(source)
    keys = [OtherCredit.model_fields[name].alias or name for name in kind.asked]
    asked = [Question("other_credits", key, CREDIT_LABELS[key]) for key in keys]
    if "nitrogen" not in keys and credit_kinds.NITROGEN in kind.ways:
        asked.append(Question("other_credits", "nitrogen", "Or the nitrogen itself, where it is known"))
    return (*asked, Question("other_credits", "block", "Block", left_open="every block"))


NEED = next(one for one in CROP if one.key == "need")
ZONES_MAX, ZONE_MIN = (question for question in SPREADER if question.key in ("zones_max", "zone_min"))


def need_of(block: str) -> Question:
    """The need, for one of several blocks."""
    return replace(NEED, label=f"{NEED.label}, {block}")


QUESTIONS = (
    CRS, *SAMPLES, *STAND, STAGE, *CREDIT, *CROP, *WEATHER, *SOIL, *SPREADER, *APPLICATION, *SIDEDRESS, *STRIPS,
    *RESPONSE, *THIN_GROUND, *PRICES,
)  # fmt: skip
