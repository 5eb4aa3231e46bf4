"""The index page of many fields in a browser: no network, no script error, a bubble that tells a field."""

import pytest
from support.small_fields import PLAN

from fieldmap import read_plan, run
from fieldmap.batch.fields import field_rows, summarise
from fieldmap.batch.files import write_together
from fieldmap.export.folder import write_folder
from fieldmap.export.read_back import read_field_folder

pytestmark = pytest.mark.browser


@pytest.fixture
def index(plan_folder, tmp_path):
    assert 'name = "Test field"' in PLAN
    folder = plan_folder(name="piece", edits=[('name = "Test field"', 'name = "Piece <b>one</b>"')])
    output = tmp_path / "out"
    write_folder(run(read_plan(folder)), output / "piece")
    rows = [field_rows("piece", read_field_folder(output / "piece"))]
    write_together(output, rows, summarise(rows, failed=1), [("other", "no samples")], linked=True)
    return output / "index.html"


@pytest.mark.parametrize("screen", ["1440", "390"])
def test_a_field_tells_its_numbers_and_opens_its_map(index, opened, screen):
    seen = opened(index, screen)
    page = seen.page
    page.locator("#map").click()  # one field, in the middle
    bubble = page.locator(".leaflet-popup-content")
    assert "Piece <b>one</b>" in bubble.inner_text()
    for word in ("Area", "Order", "Nitrogen", "Varying"):
        assert word in bubble.inner_text()
    width = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert width <= 0
    page.get_by_role("link", name="Open this field's map").click()
    page.wait_for_url("**/piece/map.html")
    assert seen.requests == []
    assert seen.messages == []


def test_an_index_without_a_field_still_opens(tmp_path, opened):
    write_together(tmp_path, [], summarise([], failed=1), [("other", "no samples")], linked=True)
    seen = opened(tmp_path / "index.html", "1440")
    assert "no samples" in seen.page.locator("main").inner_text()
    assert seen.messages == []
