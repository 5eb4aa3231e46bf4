"""The tables of the agronomy, of columns, keys and files, as rows to print."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap import agronomy
from fieldmap.plan import keys as known_keys
from fieldmap.read import columns
from fieldmap.season import organic

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from typing import Any


_Rows = tuple[tuple[str, ...], list[tuple[str, ...]]]
_LETTERS = {"your value": "y", "published": "p", "common practice": "c", "from memory": "m"}
MARKS = (
    "Marks: p published, c common practice (no source), m from memory, a default to be replaced by your own. "
    "fieldmap tables sources lists the sources."
)
_LEGUME, _GRASS = (", ".join(agronomy.STAGES[kind]) for kind in ("legume", "grass"))
STAGES_TOLD = (
    f"Stages: {_LEGUME}; of grasses {_GRASS}. "
    "A laboratory value goes into [cover_crop] nitrogen and stands before the table's."
)

NOTES = {
    "cover_crops": STAGES_TOLD,
    "growth": f"{STAGES_TOLD} Growth of your own: samples of several dates.",
    "crops": (
        "The guide rate is not used: a plan gives its own need. Demand: what the crop finds in the soil at planting "
        "and gets, at that yield; more or less for each 20 % of it. Uptake is of the whole crop. Out: in a tonne of "
        "harvest. Left: by the harvest. Half taken up: at this share of the season, and the steepness. For the "
        "next: of what is left, to the next crop of the year. fieldmap tables dressings has when nitrogen goes out, "
        "crop_tests what soil tests say."
    ),
    "crop_tests": (
        "Nitrate enough: nitrate-N of the top 30 cm from which nothing is side-dressed, tested from that day after "
        "planting; where none is given fieldmap tables limits has what serves most. Rate table: nitrate up to, and "
        "rate."
    ),
    "products": (
        "Available: share of the nitrogen, of organic products after 12 weeks at 20 °C, worked in as they are "
        "spread; a run reckons with its own days and soil. An analysis of your own goes into [spreader] product."
    ),
}


def _marks(keys: Iterable[str]) -> str:
    """The marks of some sources as letters, each once."""
    marks = {agronomy.sources()[key].mark for key in keys}
    return "".join(letter for mark, letter in _LETTERS.items() if mark in marks)


def _marked(
    text: str, entry: agronomy.CoverCropEntry | agronomy.CropEntry | agronomy.Product, figure: str
) -> str:
    """A figure with its mark; nothing where the table has none."""
    return f"{text} {_marks([entry.source_of[figure]])}" if text else ""


def _span(values: tuple[float, float] | None) -> str:
    if values is None:
        return ""
    low, high = values
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def _in_order(values: dict[str, float]) -> str:
    return " ".join(f"{value:g}" for value in values.values())


def _cover_crops() -> _Rows:
    headings = ("Name", "Kind", "%N by stage", "C:N", "Dry share", "Mg/ha", "Killed by winter", "Inoculant")
    return headings, [
        (
            entry.name,
            entry.kind,
            _marked(_in_order(entry.nitrogen_pct), entry, "nitrogen_pct"),
            _marked(
                ", ".join(f"{value:g} {stage}" for stage, value in entry.carbon_nitrogen.items()),
                entry,
                "carbon_nitrogen",
            ),
            _marked(_span(entry.dry_matter_fraction), entry, "dry_matter_fraction"),
            _marked(_span(entry.biomass_mg_ha), entry, "biomass_mg_ha"),
            _marked(entry.winter_killed, entry, "winter_killed"),
            _marked((entry.inoculant or "").split(" (")[0], entry, "inoculant"),
        )
        for entry in agronomy.cover_crops()
    ]


def _crops() -> _Rows:
    headings = (
        "Name",
        "Guide rate, lb N/ac",
        "Yield, t/ha",
        "Demand, kg N/ha",
        "Uptake, kg N/ha",
        "Half taken up",
        "Out, kg/t N P2O5 K2O",
        "Left, kg N/ha",
        "For the next",
    )
    return headings, [
        (
            entry.name,
            "; ".join(
                f"{_span((rate.low, rate.high))} {rate.region} {_marks([rate.source])}"
                for rate in entry.guide_rates
            ),
            _marked(_number(entry.yield_t_ha), entry, "yield_t_ha"),
            " ".join(
                (
                    _marked(_number(entry.demand_n_kg_ha), entry, "demand_n_kg_ha"),
                    _marked(_after("± ", entry.demand_step_kg_ha), entry, "demand_step_kg_ha"),
                )
            ).strip(),
            "; ".join(
                [f"{_at_yield(one.n_kg_ha, one.yield_t_ha)} {_marks([one.source])}" for one in entry.uptake]
                + ([_marked(_dilution(entry.dilution), entry, "dilution")] if entry.dilution else [])
            ),
            "; ".join(
                _marked(f"{curve.half_uptake_share:g}, {curve.steepness:g} {start}", entry, start)
                for start, curve in (("seeded", entry.seeded), ("transplanted", entry.transplanted))
                if curve
            ),
            " ".join(
                _marked(_number(getattr(entry, figure)), entry, figure)
                for figure in ("removal_n_kg_t", "removal_p2o5_kg_t", "removal_k2o_kg_t")
                if getattr(entry, figure) is not None
            ),
            _marked(_span(entry.residue_n_kg_ha), entry, "residue_n_kg_ha"),
            _marked(_number(entry.residue_credit_kg_ha), entry, "residue_credit_kg_ha"),
        )
        for entry in agronomy.crops()
    ]


def _nitrate_enough(entry: agronomy.CropEntry) -> str:
    """``20 p at 5 to 30 cm p``."""
    if not entry.tested:
        return _marked("not used", entry, "tested")
    enough = _marked(_number(entry.sidedress_nitrate_mg_kg), entry, "sidedress_nitrate_mg_kg")
    if entry.sidedress_depth_m is None:
        return enough
    upper, lower = (100.0 * depth_m for depth_m in entry.sidedress_depth_m)
    return f"{enough} {_marked(f'at {upper:g} to {lower:g} cm', entry, 'sidedress_depth_m')}"


def _centimetres(metres: float | None) -> str:
    return "" if metres is None else f"{100.0 * metres:g} cm"


def _after(word: str, value: float | None) -> str:
    return "" if value is None else f"{word}{value:g}"


def _dilution(dilution: Any) -> str:
    of = dilution
    return f"a {of.a:g} b {of.b:g}, {of.dry_matter_pct:g} % dry, {of.harvest_index:g} of it sold"


def _crop_tests() -> _Rows:
    headings = (
        "Name",
        "Nitrate enough, mg/kg",
        "From day",
        "Rate table, lb/ac",
        "Mineral N to",
        "German test",
        "kg N/ha by index 0-6",
        "Before planting at most, kg/ha",
    )
    return headings, [
        (
            entry.name,
            _nitrate_enough(entry),
            _marked(_number(entry.sidedress_from_d), entry, "sidedress_from_d"),
            _marked(_rate_table(entry.sidedress_rates), entry, "sidedress_rates"),
            _marked(_centimetres(entry.sample_depth_m), entry, "sample_depth_m"),
            " ".join(
                (
                    _marked(_after("week ", entry.nmin_week), entry, "nmin_week"),
                    _marked(_centimetres(entry.nmin_depth_m), entry, "nmin_depth_m"),
                )
            ).strip(),
            _marked(
                " ".join(f"{rate:g}" for rate in entry.index_rates_kg_ha or ()), entry, "index_rates_kg_ha"
            ),
            _marked(_number(entry.most_before_planting_kg_ha), entry, "most_before_planting_kg_ha"),
        )
        for entry in agronomy.crops()
    ]


def _rate_table(rates: dict[str, list[tuple[float, float]]] | None) -> str:
    """``manured 10:160 15:120; unmanured 15:160``, nitrate up to and rate."""
    return "; ".join(
        f"{ground} {' '.join(f'{up_to:g}:{rate:g}' for up_to, rate in steps)}"
        for ground, steps in (rates or {}).items()
    )


def _at_yield(n_kg_ha: float | None, yield_t_ha: float | None) -> str:
    """``310 at 15 t``."""
    if n_kg_ha is None:
        return ""
    return f"{n_kg_ha:g}" if yield_t_ha is None else f"{n_kg_ha:g} at {yield_t_ha:g} t"


def _dressings() -> _Rows:
    groups = {entry.dressing.name: entry.dressing for entry in agronomy.crops() if entry.dressing}
    headings = ("Group", "Before planting", "Then at", "Last sensible", "Vegetables", "Mark")
    return headings, [
        (
            one.name,
            f"{_span((100 * one.share_before_planting[0], 100 * one.share_before_planting[1]))} %",
            "; ".join(one.dressings),
            one.last_dressing,
            ", ".join(one.crops),
            _marks(one.source_of.values()),
        )
        for one in groups.values()
    ]


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _products() -> _Rows:
    headings = ("Name", "%N", "%P2O5", "%K2O", "Available", "kg/m³", "Organic rules")
    return headings, [
        (
            entry.name,
            *(
                _marked(_number(getattr(entry, figure)), entry, figure)
                for figure in ("nitrogen_pct", "p2o5_pct", "k2o_pct")
            ),
            _available(entry),
            _marked(_number(entry.bulk_density_kg_m3), entry, "bulk_density_kg_m3"),
            _marked(entry.organic_rules, entry, "organic_rules"),
        )
        for entry in agronomy.products()
    ]


def _available(entry: agronomy.Product) -> str:
    """Share of the nitrogen after 12 weeks at 20 °C, worked in, with the marks of the figures behind it."""
    share = organic.compared(entry).available or 0.0
    if entry.release is None:
        return _number(share)
    return f"{share:.2f} {_marks([entry.source_of['nh4_share'], entry.source_of['rapid']])}"


def _sources() -> _Rows:
    return ("Key", "Mark", "Citation"), [
        (source.key, source.mark, source.citation) for source in agronomy.sources().values()
    ]


def _season() -> _Rows:
    return _figures("Model", agronomy.figures("season"))


def _limits() -> _Rows:
    return _figures("Of", agronomy.figures("limits"))


def _hazards() -> _Rows:
    after = [
        (
            one.name,
            ", ".join(one.covers) or "any cover crop",
            f"{one.placement}, under {one.within_d:g} d",
            ", ".join(one.crops) or "any",
            one.says,
            one.mark,
        )
        for one in agronomy.hazards.hazards()
    ]
    fed = [
        ("as fodder", cover, "", "", harm, agronomy.sources()[key].mark)
        for cover, (harm, key) in agronomy.hazards.fodder_harms().items()
    ]
    return ("Hazard", "After", "Where and when", "Before", "What to know", "Mark"), [*after, *fed]


def _figures(heading: str, groups: Mapping[Any, tuple[Any, ...]]) -> _Rows:
    return (heading, "Figure", "Value", "Unit", "Meaning", "Mark"), [
        (
            str(group),
            figure.name,
            f"{figure.value:g}",
            figure.unit,
            figure.meaning,
            agronomy.sources()[figure.source].mark,
        )
        for group, figures in groups.items()
        for figure in figures
    ]


def _growth() -> _Rows:
    growths = {one.name: one for one in map(agronomy.growth_of, agronomy.cover_crops())}
    return ("Name", "Dry matter by stage, against the first", "Days a stage", "Mark"), [
        (
            one.name,
            _in_order(one.dry_matter),
            f"{one.stage_days:g}",
            _marks(one.source_of.values()),
        )
        for one in growths.values()
    ]


def _ground() -> _Rows:
    ground = agronomy.ground()
    return ("Name", "What", "Value", "Mark"), [
        *(
            (
                one.name,
                "field capacity, wilting point, m³/m³",
                f"{one.field_capacity:g}, {one.wilting_point:g}",
                _marks([one.source_of["field_capacity"]]),
            )
            for one in ground.textures.values()
        ),
        *(
            (one.name, "share lost as gas", _span(one.denitrified), _marks(one.source_of.values()))
            for one in ground.drainage.values()
        ),
        *(
            (
                ", ".join(one.crops) or "any other crop",
                "rooting depth, m; water use young, full, end",
                f"{one.depth_m:g}; {', '.join(f'{kc:g}' for kc in one.kc)}",
                _marks(one.source_of.values()),
            )
            for one in ground.roots.values()
        ),
    ]


def _plan_keys() -> _Rows:
    return ("Key of plan.toml", "Takes", "Needed"), [
        (key.place, key.takes, key.needed) for key in known_keys.plan_keys()
    ]


def _sample_columns() -> _Rows:
    return ("Column of samples.csv", "Holds"), [
        *((name, "position") for name in columns.POSITIONS),
        *((name, "text") for name in columns.TEXTS),
        *((name, "a date") for name in columns.DATES),
        *columns.NUMBERS.items(),
    ]


def _files() -> _Rows:
    from fieldmap.export import registry

    return ("File", "For the", "What it is"), [
        (one.name, one.reader, one.says) for one in registry.formats_offered()
    ]


TABLE_ROWS = {
    "keys": _plan_keys,
    "files": _files,
    "columns": _sample_columns,
    "growth": _growth,
    "season": _season,
    "ground": _ground,
    "limits": _limits,
    "hazards": _hazards,
    "cover_crops": _cover_crops,
    "dressings": _dressings,
    "crops": _crops,
    "crop_tests": _crop_tests,
    "products": _products,
    "sources": _sources,
}
