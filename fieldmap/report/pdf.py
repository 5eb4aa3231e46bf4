"""The report a grower keeps, and the one-page card: built as PDF in memory, A4 or US letter."""

from __future__ import annotations

from importlib.metadata import version
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

from reportlab.lib.pagesizes import A4, letter
from reportlab.lib.units import inch
from reportlab.platypus import (
    Spacer,
    Table,
)

from fieldmap import agronomy
from fieldmap.advice import pattern_text, verdict_text
from fieldmap.report import palette
from fieldmap.report.findings import biomass_says, map_says, received_above_says
from fieldmap.report.pictures import (
    leave_one_out_picture,
    loss_picture,
    rate_picture,
    residual_picture,
    season_picture,
    stage_picture,
    surface_picture,
    variogram_picture,
)
from fieldmap.report.summary import (
    LOAD_COLUMNS,
    application_name,
    application_title,
    cost_text,
    field_area_text,
    holds_text,
    load_rows,
    main_numbers,
    reckoned_text,
    waiting_texts,
    zone_cells,
    zone_columns,
)
from fieldmap.report.typesetting import (
    MARGIN,
    Story,
    fits,
    fitted,
    height_of,
    pdf_of,
    picture_of,
    room_on,
    shrunk,
    table_of,
    text_line,
)
from fieldmap.units import rate_unit, shown_rate, whole

if TYPE_CHECKING:
    import datetime as dt

    from fieldmap.pipeline import Result
    from fieldmap.verdict import ApplicationMap


MAPS_IN, MAPS_A_PAGE = 5.0, 2  # of several applications, the height of two maps on the first page
LOADS_SHOWN = 8  # the rest is in loads.csv
CARD_MAPS_IN = (3.9, 3.2, 2.6)  # heights of the card's map, the first that leaves room for the rest


def build_report(result: Result, *, date: dt.date) -> bytes:
    """Four pages: what to do; zones, ledger and loads; how sure; assumptions, sources and cautions.

    A page with more on it than usual is printed smaller; only very many zones, or several applications, run over.
    """
    page = letter if result.plan.units == "us" else A4
    width = page[0] - 2 * MARGIN
    season = _season(result, width)  # with several maps on the first page there is no room for it
    first, tables = _first_page(result, width, date), _tables_page(result, width)
    one_map = len(result.applications) == 1
    pages = (
        [*first, *season] if one_map else first,
        tables if one_map else [*season, *tables],
        _doubt_page(result, width),
        _sources_page(result, page),
    )
    return pdf_of(
        [fitted(story, page) for story in pages], page, title=f"{result.plan.name}: supplemental nitrogen"
    )


def build_card(result: Result, *, date: dt.date) -> bytes:
    """One page for the clipboard: the map, the main numbers, what to do, the zones, the notes.

    Where there is much to say the map gives way, then the notes, which the report has in full. Of several
    applications each has a page of its own, and the notes have the last.
    """
    page = letter if result.plan.units == "us" else A4
    width = page[0] - 2 * MARGIN
    title = f"{result.plan.name}: card"
    notes = text_line(" · ".join((*result.warnings, *result.cautions)), "source")
    if len(result.applications) > 1:
        more = text_line(f"{result.cautions[0]} More on the last page.", "small")
        pages = [[*_card(result, one, width, date, CARD_MAPS_IN[1]), more] for one in result.applications]
        return pdf_of(
            [fitted(story, page) for story in (*pages, [*_heading(result, date), notes])], page, title=title
        )
    number = len(result.warnings)
    told = "1 more note: read it" if number == 1 else f"{number} more notes: read them"
    short = text_line(f"{result.cautions[0]} The report has {told} first.", "source")
    ways = [(map_in, text) for text in (notes, short) for map_in in CARD_MAPS_IN]
    for map_in, text in ways:  # drawing a map takes time: no more of them than are needed
        story = [*_card(result, result.applications[0], width, date, map_in), text]
        if height_of(story, width) <= room_on(page):
            break
    return pdf_of([[shrunk(story, page)]], page, title=title)


def _card(result: Result, one: ApplicationMap, width: float, date: dt.date, map_in: float) -> Story:
    """What a card says of an application, but for the notes."""
    return [
        *_heading(result, date),
        *_application(one),
        picture_of(rate_picture(result, one, width_in=width / inch, height_in=map_in)),
        *_numbers(result),
        *_to_do(result),
        Spacer(0, 8),
        _zone_table(one, result, width),
        Spacer(0, 6),
        text_line(f"Credit with its 90 % interval in brackets. {reckoned_text(result)}", "small"),
    ]


def _first_page(result: Result, width: float, date: dt.date) -> Story:
    one_map = len(result.applications) == 1
    height_in = 4.2 if one_map else MAPS_IN / min(len(result.applications), MAPS_A_PAGE)
    maps: Story = []
    for one in result.applications:
        picture = picture_of(rate_picture(result, one, width_in=width / inch, height_in=height_in))
        said = map_says(result, one)
        said_beside = [*_application(one), text_line(said, "title" if one_map else "body"), picture]
        maps += said_beside if one_map else [said_beside]
    return [
        *_heading(result, date),
        *maps,
        text_line(
            f"Nitrogen rate of each zone, {rate_unit(result.plan.units)}. Hatched: no-spread areas. "
            + (
                "White: check strips. "
                if any(one.spread.zone_map.strips for one in result.applications)
                else ""
            )
            + "North is up.",
            "small",
        ),
        Spacer(0, 6),
        *_numbers(result),
        *_to_do(result),
    ]


def _heading(result: Result, date: dt.date) -> Story:
    area = field_area_text(result)
    return [text_line(f"{result.plan.name} · {area} · {date.isoformat()}", "quiet")]


def _application(one: ApplicationMap) -> Story:
    """Which of several applications what follows is of."""
    return [text_line(application_title(one), "heading")] if one.application.of > 1 else []


def _zone_table(one: ApplicationMap, result: Result, width: float) -> Table:
    units, zones = result.plan.units, one.spread.zone_map.rows
    return table_of([zone_columns(units, zones), *(zone_cells(zone, units) for zone in zones)], width)


def _numbers(result: Result) -> Story:
    return [
        text_line(
            f"<b>{escape(line.title)}.</b> {escape(line.text[:1].upper() + line.text[1:])}", markup=True
        )
        for line in main_numbers(result)
    ]


def _to_do(result: Result) -> Story:
    """The list of what to do: when and what in print, why and what would change it smaller."""
    lines = [
        text_line(
            f"<b>{escape(one.when)}</b> {escape(one.what)} "
            f'<font size="7.5" color="#4c5863">{escape(f"{one.why} {one.change}".strip())}</font>',
            markup=True,
        )
        for one in result.action_texts
    ]
    return [text_line("What to do", "heading"), *lines]


def _tables_page(result: Result, width: float) -> Story:
    units = result.plan.units
    story: Story = [
        text_line("Zones", "heading"),
        text_line(
            "Credit with its 90 % interval in brackets. N is nitrogen; product is what is spread. "
            + reckoned_text(result),
            "small",
        ),
        *(
            element
            for one in result.applications
            for element in (*_application(one), _zone_table(one, result, width))
        ),
        text_line("Nitrogen ledger", "heading"),
        text_line(
            f"{rate_unit(units)} of nitrogen, mean of the block; a credit is negative. The lines add up to what is "
            "still to spread. Marks: y your value, p published, c common practice, m from memory.",
            "small",
        ),
        table_of(_ledger_rows(result), width),
    ]
    story += _loads_and_stages(result, width)
    holds = " ".join(dict.fromkeys(holds_text(one.application) for one in result.applications))
    return [*story, text_line(f"{holds} {cost_text(result)}", "small")]


def _ledger_rows(result: Result) -> list[tuple[str, ...]]:
    units = result.plan.units
    blocks = [block.name for block in result.field.blocks]
    names = list(dict.fromkeys(str(line.line) for line in result.ledger))
    value = {(line.block, str(line.line)): line for line in result.ledger}
    marks = {"your value": "y", "published": "p", "common practice": "c", "from memory": "m"}

    def cell(block: str, name: str) -> str:
        line = value.get((block, name))
        return f"{whole(shown_rate(line.kg_ha, units))} {marks[line.mark]}" if line else ""

    rows = [(name, *(cell(block, name) for block in blocks)) for name in names]
    totals = [sum(line.kg_ha for line in result.ledger if line.block == block) for block in blocks]
    return [
        ("Line", *blocks),
        *rows,
        ("still to spread", *(whole(shown_rate(max(0.0, total), units)) for total in totals)),
    ]


def _loads_and_stages(result: Result, width: float) -> Story:
    """The loads beside the stand by growth stage, and what waiting costs or brings."""
    loads: Story = []
    for one in result.applications:
        if one.spread.loads and not one.application.through_drip:
            rows = [LOAD_COLUMNS, *load_rows(one, result.plan.units)[:LOADS_SHOWN]]
            if (more := len(one.spread.loads) - LOADS_SHOWN) > 0:
                rows.append(("…", f"{more} more", "in loads.csv"))
            of = f", application {one.application.number}" if len(result.applications) > 1 else ""
            loads += [text_line(f"Loads{of}", "heading"), table_of(rows, width * 0.4)]
    if not result.budget.stages:
        return loads
    chart = picture_of(stage_picture(result, width_in=0.55 * width / inch, height_in=1.35))
    beside = Table(
        [[loads, [text_line("The stand by growth stage", "heading"), chart]]],
        colWidths=[0.43 * width, 0.57 * width],
        style=[("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (0, 0), 0)],
    )
    return [beside, *(text_line(text, "small") for text in waiting_texts(result))]


def _doubt_page(result: Result, width: float) -> Story:
    half = width / inch / 2 - 0.05
    fit = result.stand.biomass.fit
    assert fit is not None  # noqa: S101 - biomass is always mapped from a fit
    units = result.plan.units
    errors = [whole(shown_rate(value, units)) for value in (fit.loo_rmse, fit.mean_only_rmse)]
    surfaces = [
        picture_of(
            surface_picture(result, raster, label=label, colormap=colormap, width_in=half, height_in=1.72)
        )
        for raster, label, colormap in (
            (result.stand.biomass.mean, "dry biomass", palette.STAND),
            (result.stand.biomass.se, "error of biomass", palette.DOUBT),
            (result.budget.credit.credit_kg_ha, "nitrogen credit", palette.STAND),
            (result.budget.credit.se_kg_ha, "error of credit", palette.DOUBT),
        )
    ]
    charts = [
        picture_of(picture(result, width_in=half, height_in=1.72))
        for picture in (leave_one_out_picture, variogram_picture, residual_picture, loss_picture)
    ]
    return [
        text_line("How sure", "heading"),
        text_line(biomass_says(result) + "."),
        Table([surfaces[:2], surfaces[2:]], colWidths=[width / 2] * 2),
        text_line(
            pattern_text(result.stand, units)
            or f"Left out in turn, a sample is predicted from the others to {errors[0]} {rate_unit(units)}; the "
            f"field average alone misses by {errors[1]}."
        ),
        Table([charts[:2], charts[2:]], colWidths=[width / 2] * 2),
        text_line(
            "Top: each sample against its prediction from the others; the samples' variogram and the models "
            "averaged. Below: left-out samples heavier (dark) or lighter (open) than predicted, larger for larger "
            "errors, and + where the next three samples would help most; how well 1, 2, … zones could serve at best, "
            "before they are shaped.",
            "small",
        ),
        text_line(verdict_text(result.verdict, units)),
        *(
            text_line(
                f"{application_name(one) + ', d' if len(result.applications) > 1 else 'D'}riven on paper, "
                f"{one.spread.delivery.within_tenth * 100:.0f} % of the area receives its rate within 10 %. "
                + received_above_says(one, result.field, units)
            )
            for one in result.applications
            if not one.application.through_drip
        ),
    ]


def _season(result: Result, width: float) -> Story:
    """The weeks of every block, three beside each other."""
    if not result.budget.seasons:
        return []
    third = width / inch / 3 - 0.05
    charts = [
        picture_of(season_picture(result, one, width_in=third, height_in=1.6))
        for one in result.budget.seasons
    ]
    rows: list[list[Any]] = [[*charts[k : k + 3], "", ""][:3] for k in range(0, len(charts), 3)]
    return [
        text_line("The season", "heading"),
        Table(rows, colWidths=[width / 3] * 3),
        text_line(
            "What the mean credit leaves before anything is spread: above, what lies spare in the soil at the end of "
            "each week; below, what the crop is short in each week.",
            "small",
        ),
    ]


def _sources_page(result: Result, page: tuple[float, float]) -> Story:
    """Notes, cautions and sources; the sources smaller where there is much to say."""
    for style in ("source", "fine"):
        story = _sources_set_in(result, style)
        if fits(story, page):
            break
    return story


def _sources_set_in(result: Result, style: str) -> Story:
    sources = [agronomy.sources()[key] for key in result.sources]
    return [
        *(
            [text_line("Notes on this plan", "heading"), *map(text_line, result.warnings)]
            if result.warnings
            else []
        ),
        text_line("Before you spread", "heading"),
        *map(text_line, result.cautions),
        text_line("Sources", "heading"),
        text_line(
            " · ".join(f"[{source.mark}] {source.citation}" for source in sources),
            style,
        ),
        Spacer(0, 8),
        text_line(f"Plan {result.plan_hash[:16]}, fieldmap {version('fieldmap')}.", "small"),
    ]
