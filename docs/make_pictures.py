"""The pictures of guide.md, from the invented farm: charts, the map on a phone, pages of the report.

The map needs a Chromium on this machine; it is sent nowhere.
"""

from __future__ import annotations

import shutil
import tempfile
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pypdfium2
from PIL import Image
from playwright.sync_api import sync_playwright

from fieldmap import Plan, read_plan, run
from fieldmap.report import palette
from fieldmap.report.pdf import build_card, build_report
from fieldmap.report.pictures import (
    leave_one_out_picture,
    rate_picture,
    season_picture,
    stage_picture,
    surface_picture,
)
from fieldmap.webmap.page import write_map

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from fieldmap.pipeline import Result

FARM = Path(__file__).parents[1] / "sample_geo" / "kettle-bend"
DAY = date(2026, 5, 8)  # of the report shown
BYTES_MAX = 150_000
WIDTH_IN, DPI = 7.0, 110
PHONE = {"viewport": {"width": 390, "height": 720}, "device_scale_factor": 1.5}


def draw_pictures(folder: Path) -> None:
    """Draw every picture into a folder.

    Raises
    ------
    RuntimeError
        Where a picture is larger than a page should carry.
    """
    folder.mkdir(exist_ok=True)
    plan: Plan = read_plan(FARM)
    result = run(plan)
    for name, figure in _charts(result).items():
        figure.savefig(folder / f"{name}.png", dpi=DPI, metadata={"Software": None})
    _page(build_report(result, date=DAY), folder / "report.png")
    _page(build_card(result, date=DAY), folder / "card.png")
    _map_on_a_phone(result, folder)
    for path in sorted(folder.glob("*.png")):
        _slim(path)
        if path.stat().st_size > BYTES_MAX:
            raise RuntimeError(f"{path.name} has {path.stat().st_size} bytes; at most {BYTES_MAX} are wanted")


def _charts(result: Result) -> dict[str, Figure]:
    size = {"width_in": WIDTH_IN, "height_in": 3.6}
    biomass, credit = result.stand.biomass.mean, result.budget.credit.credit_kg_ha
    return {
        "stand": surface_picture(result, biomass, label="dry biomass", colormap=palette.STAND, **size),
        "credit": surface_picture(result, credit, label="nitrogen credit", colormap=palette.STAND, **size),
        "zones": rate_picture(result, result.applications[0], **size),
        "sure": leave_one_out_picture(result, width_in=4.6, height_in=4.2),
        "stages": stage_picture(result, width_in=WIDTH_IN, height_in=2.6),
        "season": season_picture(result, result.budget.seasons[1], width_in=WIDTH_IN, height_in=3.2),
    }


def _page(pdf: bytes, path: Path) -> None:
    """The first page of a PDF."""
    with pypdfium2.PdfDocument(pdf) as document:
        document[0].render(scale=1.4).to_pil().save(path)


def _map_on_a_phone(result: Result, folder: Path) -> None:
    chromium = shutil.which("chromium")
    if chromium is None:
        raise RuntimeError("no chromium on this machine: install it to draw the pictures of the map")
    with tempfile.TemporaryDirectory() as temporary, sync_playwright() as playwright:
        page_file = Path(temporary, "map.html")
        write_map(result, page_file)
        browser = playwright.chromium.launch(
            executable_path=chromium,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        context = browser.new_context(**PHONE, has_touch=True, is_mobile=True, offline=True)
        page = context.new_page()
        page.goto(page_file.as_uri())
        page.wait_for_timeout(800)  # until the map has fitted itself to the screen
        page.screenshot(path=folder / "map.png")
        page.evaluate("document.querySelector('.canvas').scrollIntoView({block: 'center'})")
        page.wait_for_timeout(300)
        label = page.locator(".zone-label:not(.gone)").first.bounding_box()
        assert label is not None  # noqa: S101 - rates are written on the zones
        page.touchscreen.tap(label["x"] + label["width"] / 2, label["y"] + label["height"] + 6)
        page.wait_for_selector(".leaflet-popup")
        page.wait_for_timeout(800)
        page.screenshot(path=folder / "zone.png")
        browser.close()


def _slim(path: Path) -> None:
    """As many colours as the eye needs."""
    with Image.open(path) as picture:
        flat = picture.convert("RGB").quantize(128, dither=Image.Dither.NONE)
    flat.save(path, optimize=True)


if __name__ == "__main__":
    draw_pictures(Path(__file__).parent / "pictures")
