"""The list of what to do, in words: when, what and where, why, and what would change it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from fieldmap import actions
from fieldmap.advice.stages import gain_text
from fieldmap.units import mass_text, rate_range_text, rate_text, shown_rate

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fieldmap.units import UnitSystem


@dataclass(frozen=True)
class ActionText:
    """One line of the list; `why` and `change` are sentences, empty where there is nothing to say."""

    when: str
    what: str
    why: str
    change: str

    @property
    def line(self) -> str:
        """All of it in one line."""
        return " ".join(text for text in (f"{self.when}: {self.what}", self.why, self.change) if text)


ENDED = {
    "tilled": "Till in",
    "mown": "Mow",
    "rolled": "Roll",
    "sprayed": "Spray off",
    "tarped": "Tarp",
    "removed": "Cut and take away",
}
HOW = {
    "broadcast before planting": "Spread",
    "band": "Band",
    "side-dress": "Side-dress",
    "through drip": "Give through drip",
}
UNTIMED = "Timing was not considered, for the plan has no weather: the whole season's credit is taken."


def action_texts(
    found: Sequence[actions.Action],
    fields: Sequence[str],
    units: UnitSystem,
    *,
    objections: Mapping[int, Sequence[str]] = MappingProxyType({}),
) -> tuple[ActionText, ...]:
    """The list in words.

    `fields` are all blocks of the field, which need no naming; `objections` what speaks against an application, by
    its number: whoever reads the list alone has to see it.
    """
    return tuple(_minded(_text(one, _in(one.blocks, fields), units), one, objections) for one in found)


def _minded(text: ActionText, one: actions.Action, objections: Mapping[int, Sequence[str]]) -> ActionText:
    against = objections.get(one.number, ()) if isinstance(one, actions.Spread) else ()
    said = " ".join(f"But {each}" for each in against)
    return replace(text, why=f"{said} {text.why}".strip()) if said else text


def _text(one: actions.Action, where: str, units: UnitSystem) -> ActionText:
    when = _when(one)
    match one:
        case actions.SampleAgain():
            return ActionText(
                when,
                f"Clip the stand once more{where}, just before it ends.",
                f"The samples are {one.days} days older, and a stand can gain half of its weight in two weeks "
                "(Wagger 1989).",
                "",
            )
        case actions.EndCover():
            return ActionText(
                when, f"{ENDED[one.ended_by]} the cover crop{where}.", "", _week_text(one, units)
            )
        case actions.Plant():
            return ActionText(
                when,
                f"Plant {one.crop}{where} no sooner; the plan has {one.planted}.",
                f"Decay of what was tilled in damages seedlings for {one.days} days (common practice, no source).",
                "",
            )
        case actions.Dig():
            return ActionText(
                when,
                f"Walk and dig in zone {one.zone}{where}, where the stand is thinnest, before it gets "
                f"{rate_text(one.rate_n_kg_ha, units)} of nitrogen.",
                "Wet, dry or acid ground holds the vegetable back too.",
                "If so, hold it back: [thin_ground] cap = true." if one.can_hold else "",
            )
        case actions.Spread():
            return _spread(one, when, where, units)
        case actions.Starter():
            return ActionText(
                when,
                f"Spread nothing{where}: the credit covers the need of {one.crop}. Give a starter of "
                f"{rate_text(one.rate_n_kg_ha, units)} of nitrogen.",
                "Young roots find little before the residue releases (common practice, no source).",
                f"None where a soil test at planting finds {one.enough_nitrate_n_ppm:g} ppm nitrate-N or more.",
            )
        case actions.SoilTest():
            return _soil_test(one, when, where, units)
        case actions.SideDress():
            return _side_dress(one, when, where, units)
        case actions.SowCatchCrop():
            return ActionText(
                when,
                f"Sow a catch crop after {one.crop}{where}, or leave the residue standing until spring.",
                f"It lets {rate_text(one.residue_n_kg_ha, units)} of nitrogen go, for winter rain to carry off.",
                "",
            )
        case actions.KeepStockOff():
            return ActionText(
                when,
                f"Do not feed the {one.species}{where} unasked.",
                f"{one.harm}.",
                "Ask a veterinarian first.",
            )
    raise ValueError(f"no words for {one!r}")


def _spread(one: actions.Spread, when: str, where: str, units: UnitSystem) -> ActionText:
    fold = f"{one.folder}/" if one.folder else ""
    file = f"{fold}{'drip.csv' if one.method == 'through drip' else 'zones.geojson'}"
    said = (
        f"{HOW[one.method]} {one.product}{where} by {file}: {rate_range_text(*one.product_kg_ha, units)} "
        f"({rate_range_text(*one.rate_n_kg_ha, units)} of nitrogen), {mass_text(one.product_kg, units)}."
    )
    why = ""
    if one.tied_up_n_kg_ha:
        tied_up = rate_text(one.tied_up_n_kg_ha, units)
        why = f"Poor residue ties up {tied_up} while the crop is young: give that much now."
    if one.late_since is not None:
        why = f"{why} The crop runs short from {one.late_since}: sooner would serve it better.".strip()
    if one.work_in_d is not None:
        why = f"{why} {_work_in(one.work_in_d)}".strip()
    if one.tested_n_ppm is not None:
        why = f"{why} {_found(*one.tested_n_ppm)}".strip()
    if one.number == 1 and not one.timed:
        why = f"{why} {UNTIMED}".strip()
    change = " ".join(_two_text(each, units, named=len(one.blocks) > 1) for each in one.in_two)
    return ActionText(when, said, why, change)


def _found(low_ppm: float, high_ppm: float) -> str:
    """What the tests found that an application follows."""
    if low_ppm == high_ppm:
        return f"The nitrate test found {high_ppm:.3g} ppm."
    return f"The nitrate tests found {low_ppm:.3g} to {high_ppm:.3g} ppm."


def _work_in(days: float) -> str:
    """When an organic product is worked in, by which it is reckoned."""
    if math.isinf(days):
        return "It is reckoned as left on the surface: worked in, more of it would serve."
    when = "at once" if days == 0 else "within a day" if days <= 1 else f"within {days:g} days"
    return f"Work it in {when}: its nitrogen is reckoned so."


def _two_text(two: actions.InTwo, units: UnitSystem, *, named: bool) -> str:
    """How the season would rather have it, and what makes it so."""
    where = f"In {two.block} two" if named else "Two"
    early, late = (rate_text(kg_ha, units) for kg_ha in (two.early_n_kg_ha, two.late_n_kg_ha))
    if shown_rate(two.early_n_kg_ha, units) >= 1:
        return f"{where} goes serve better ([[application]] twice): {early} now, {late} beside the row on {two.day}."
    where = f"In {two.block} all" if named else "All"
    return (
        f"{where} can wait, for the soil holds enough: {late} beside the row on {two.day} ([[application]])."
    )


def _soil_test(one: actions.SoilTest, when: str, where: str, units: UnitSystem) -> ActionText:
    why = {
        actions.Why.DRAINAGE: "Drainage may have carried some of the cover crop's nitrogen below the roots.",
        actions.Why.NOTHING_SPREAD: "Nothing is spread there: the test shows whether the credit has come.",
        actions.Why.SIDE_DRESSING: "What it finds sets the side-dressing.",
    }[one.why]
    limit = "the local threshold" if one.threshold_ppm is None else f"{one.threshold_ppm:g} ppm nitrate-N"
    apart, under = ("", "the result under [sidedress_test]")
    if one.edges_kg_ha:
        apart = f", thin, middle and thick ground apart: {_edges_text(one, units)}"
        under = "each result under [[sidedress_test]] with its ground"
    return ActionText(
        when,
        f"Test soil nitrate under {one.crop}{where}{apart}.",
        why,
        f"Side-dress only below {limit}; enter {under}.",
    )


def _edges_text(one: actions.SoilTest, units: UnitSystem) -> str:
    """What is thin and what thick, by the biomass on the map."""
    return "; ".join(
        (f"in {block} " if len(one.blocks) > 1 else "")
        + f"thin had less than {rate_text(low, units)} of dry biomass, thick more than {rate_text(high, units)}"
        for block, (low, high) in one.edges_kg_ha
    )


def _side_dress(one: actions.SideDress, when: str, where: str, units: UnitSystem) -> ActionText:
    found = f"The test found {one.nitrate_n_ppm:g} ppm nitrate-N."
    where = f" on {one.ground} ground{where}" if one.ground else where
    if one.rate_n_kg_ha <= 0:
        return ActionText(when, f"No side-dressing of {one.crop}{where}.", found, "")
    return ActionText(
        when,
        f"Do not side-dress {one.crop}{where} on top of what is spread: that holds the whole need.",
        f"{found} In its place the test would call for {rate_text(one.rate_n_kg_ha, units)} of nitrogen.",
        "To follow the test, hold an [[application]] of that day back for it.",
    )


def _week_text(one: actions.EndCover, units: UnitSystem) -> str:
    told = [
        f"a week {when} {gain_text(kg_ha, units)}"
        for when, kg_ha in (("sooner", one.sooner_n_kg_ha), ("later", one.later_n_kg_ha))
        if kg_ha is not None
    ]
    if not told:
        return ""
    text = ", ".join(told)
    return f"{text[:1].upper()}{text[1:]} (credit, from memory)."


def _when(one: actions.Action) -> str:
    if one.first is None and one.last is None:
        return "Before"
    if one.first is None:
        return f"By {one.last}"
    if isinstance(one, actions.Spread) and one.first != one.last:
        return f"By {one.last}"  # the nearer to the crop, the less is lost before it
    if one.last is None:
        return f"From {one.first}"
    return str(one.first) if one.first == one.last else f"{one.first} to {one.last}"


def _in(blocks: Sequence[str], fields: Sequence[str]) -> str:
    """`` in middle and east``; nothing where all blocks are meant."""
    if set(blocks) == set(fields):
        return ""
    *most, last = blocks
    return f" in {', '.join(most)} and {last}" if most else f" in {last}"
