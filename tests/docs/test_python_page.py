"""docs/python.md is run: its lines, one after the other, on the invented farm."""

import re
import shutil
from pathlib import Path

import geopandas as gpd
import pytest
import xarray as xr

ROOT = Path(__file__).parents[2]
BLOCKS = re.findall(
    r"^```python\n(.*?)^```", (ROOT / "docs" / "python.md").read_text(), re.MULTILINE | re.DOTALL
)


@pytest.mark.filterwarnings("ignore:Use `@` matmul:PendingDeprecationWarning")  # within rioxarray
def test_the_page_runs_from_top_to_bottom(tmp_path, monkeypatch, capsys):
    shutil.copytree(ROOT / "sample_geo", tmp_path / "sample_geo")
    monkeypatch.chdir(tmp_path)
    assert len(BLOCKS) == 6
    names = {}
    for block in BLOCKS:
        exec(compile(block, "docs/python.md", "exec"), names)  # noqa: S102 - the page's own lines
    assert isinstance(names["zones"], gpd.GeoDataFrame)
    assert names["zones"]["zone"].nunique() <= 4
    assert isinstance(names["credit"], xr.DataArray)
    assert (tmp_path / "out-python" / "zones.geojson").is_file()
    assert (names["wrong"].section, names["wrong"].key) == ("crop", "need")
    assert names["own"].field.area_ha == pytest.approx(names["result"].field.area_ha, rel=1e-6)
    assert names["again"].stand is names["result"].stand
    assert names["n_kg"] > 0
    printed = capsys.readouterr().out
    assert "Order: " in printed
    assert 'plan.toml, [crop] need: found "lots"; ' in printed
    lines = [line for line in BLOCKS[0].splitlines() if line and not line.startswith("import")]
    assert len(lines) <= 10  # from the sample folder to zones, surfaces and files
