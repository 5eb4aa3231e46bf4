"""Samples typed into the app at any pace, pasted, deleted and put back: nothing is lost, and the table stands."""

import contextlib
import csv

import pytest
from playwright.sync_api import expect

from fieldmap.app.plans.sample_rows import start_rows
from fieldmap.app.plans.workspace import new_plan

pytestmark = pytest.mark.browser
expect.set_options(timeout=30_000)


@pytest.fixture
def table(chromium, address, workspace, request):
    """A plan with a table to type into, and the page that shows it."""
    with contextlib.ExitStack() as stack:
        context = stack.enter_context(chromium.new_context(viewport={"width": 1440, "height": 1200}))
        context.grant_permissions(["clipboard-read", "clipboard-write"], origin=address)
        context.set_default_timeout(30_000)
        folder = new_plan(
            workspace, request.node.callspec.id if hasattr(request.node, "callspec") else "table"
        )
        start_rows(folder)
        page = context.new_page()
        page.goto(f"{address}/upload?plan={folder.name}")
        page.get_by_role("button", name="Samples · ").click()
        page.get_by_label("sample, row 2").wait_for()
        yield folder, page


def cells_in(folder):
    """The cells of the file that hold anything, row by row."""
    with (folder / "samples.csv").open(encoding="utf-8", newline="") as file:
        return [[cell for cell in row if cell] for row in csv.reader(file)][1:]


def wait_for_rows(page, folder, wanted):
    """Wait until the file holds these cells, row by row."""
    for _ in range(300):
        if cells_in(folder) == wanted:
            return
        page.wait_for_timeout(100)
    assert cells_in(folder) == wanted


def samples(count, first=1):
    return [
        [f"S{number}", f"9.{8725 + number}", f"44.{9862 + number}", "0.5", f"{400 + number}"]
        for number in range(first, first + count)
    ]


def paste(page, box, rows):
    page.evaluate("text => navigator.clipboard.writeText(text)", "\n".join("\t".join(row) for row in rows))
    box.focus()
    page.keyboard.press("Control+V")


@pytest.mark.parametrize("pause_ms", [0, 70], ids=["machine", "person"])
def test_thirty_samples_typed_cell_after_cell(table, pause_ms):
    folder, page = table
    standing = page.get_by_label("sample, row 2").element_handle()
    wanted = samples(30)
    for number, cells in enumerate(wanted):
        first = page.get_by_label(f"sample, row {number + 2}", exact=True)
        first.focus()
        first.select_text()
        for cell in cells:
            page.keyboard.type(cell, delay=pause_ms)
            page.keyboard.press("Tab")
        assert page.evaluate("() => document.activeElement.shadowRoot.activeElement.ariaLabel") == (
            f"subsample_fresh_g, row {number + 2}"
        )
    wait_for_rows(page, folder, wanted)
    assert standing.evaluate("box => box.isConnected && box.value") == "S1"
    page.reload()
    page.get_by_role("button", name="Samples · ").click()
    expect(page.get_by_label("fresh_g, row 31", exact=True)).to_have_value("430")


def test_down_a_column_with_enter_and_with_the_part_closed_and_opened(table):
    folder, page = table
    page.get_by_label("fresh_g, row 2", exact=True).focus()
    for number in range(12):  # four more than there are rows
        page.keyboard.type(f"{500 + number}")
        page.keyboard.press("Enter")
    wanted = [[str(n + 1)] * (n < 8) + [f"{500 + n}"] for n in range(12)]
    wait_for_rows(page, folder, wanted)
    for _ in range(2):
        page.get_by_role("button", name="Samples · ").click()
        page.wait_for_timeout(1000)
    expect(page.get_by_label("fresh_g, row 13", exact=True)).to_have_value("511")
    page.get_by_label("note, row 13", exact=True).fill("wet")
    wanted[-1].append("wet")
    wait_for_rows(page, folder, wanted)


def test_a_block_is_pasted_and_one_that_does_not_fit_is_not(table):
    folder, page = table
    wanted = samples(30)
    paste(page, page.get_by_label("sample, row 2", exact=True), wanted)
    wait_for_rows(page, folder, wanted)
    paste(page, page.get_by_label("note, row 3", exact=True), [["one", "two", "three"]])
    page.get_by_text("Nothing was pasted: the block is 2 columns too wide to start here.").wait_for()
    page.get_by_label("note, row 32", exact=True).fill("after the blank row")  # a blank row keeps its place
    wait_for_rows(page, folder, [*wanted, ["after the blank row"]])


def test_rows_are_deleted_and_put_back_also_after_a_reload(table):
    folder, page = table
    wanted = samples(6)
    for _ in range(8):
        page.get_by_label("Delete row 2", exact=True).click()
    wait_for_rows(page, folder, [])
    paste(page, page.get_by_label("sample, row 2", exact=True), wanted)
    wait_for_rows(page, folder, wanted)
    page.get_by_label("Delete row 3", exact=True).click()
    page.get_by_label("Delete row 6", exact=True).click()
    wait_for_rows(page, folder, [wanted[0], *wanted[2:5]])
    page.reload()
    page.get_by_role("button", name="Samples · ").click()
    back = page.get_by_role("button", name="Put back")
    back.click()
    page.get_by_label("note, row 2", exact=True).fill("kept")
    back.click()
    wait_for_rows(page, folder, [[*wanted[0], "kept"], *wanted[1:]])


def test_what_is_typed_while_the_page_is_drawn_stays_and_its_row_is_named(table):
    folder, page = table
    box = page.get_by_label("longitude, row 2", exact=True)
    box.fill("far")
    page.get_by_label("latitude, row 2", exact=True).fill("44.9")
    page.get_by_role("cell", name='longitude is "far"; a number in degrees is expected').wait_for()
    standing = box.element_handle()
    page.get_by_role("radio", name="US").click()  # draws the whole page anew
    box.focus()
    box.select_text()
    page.keyboard.type("9.8725", delay=150)
    expect(page.get_by_role("cell", name='longitude is "far"')).to_have_count(0)
    assert standing.evaluate("box => box.isConnected && box.value") == "9.8725"
    assert cells_in(folder)[0] == ["1", "9.8725", "44.9"]


def test_another_tab_changes_the_table(table, address):
    folder, page = table
    other = page.context.new_page()
    other.goto(f"{address}/upload?plan={folder.name}")
    other.get_by_role("button", name="Samples · ").click()
    other.get_by_label("note, row 4", exact=True).fill("from the other")
    numbered = [[str(number)] for number in range(1, 9)]
    numbered[2].append("from the other")
    wait_for_rows(page, folder, numbered)
    page.get_by_label("note, row 2", exact=True).fill("from the first")
    numbered[0].append("from the first")
    wait_for_rows(page, folder, numbered)
    expect(page.get_by_label("note, row 4", exact=True)).to_have_value("from the other")
