"""docs/results.md names every file, key, column, band and layer that is written, and none that is not."""

import re
from pathlib import Path

import pytest
from support.small_fields import random_places, samples_csv, trend
from support.written import json_paths, names_written

from fieldmap import read_plan, run
from fieldmap.batch.fields import field_rows, summarise
from fieldmap.batch.files import write_together
from fieldmap.export import read_field_folder, registry, write_folder

PAGE = (Path(__file__).parents[2] / "docs" / "results.md").read_text()
ONLY = "only with"


def sections():
    """The rows (name, all that is said of it) of each table, by heading."""
    found = {}
    for part in re.split(r"^## ", PAGE, flags=re.MULTILINE)[1:]:
        heading, _, body = part.partition("\n")
        found[heading] = re.findall(r"^\| `([^`]+)` \|(.*)$", body.partition("\n# ")[0], flags=re.MULTILINE)
    return found


SECTIONS = sections()
ROWS = {"#a-zones-row": "A zone's row", "#a-check-strips-row": "A check strip's row"}


def documented(heading, before="", *, only=False):
    """Every name of a section with whether it is there in some runs only; `…` stands for another section's rows."""
    for name, said in SECTIONS[heading]:
        rare = only or ONLY in said
        if name.endswith("…"):
            other = ROWS[re.search(r"\((#[^)]+)\)", said)[1]]
            yield from documented(other, before + name.removesuffix("…"), only=rare)
        else:
            yield before + name, rare


def always_and_all(file):
    names = list(documented(file))
    assert len(names) == len(dict(names)), "a name stands there twice"
    return {name for name, rare in names if not rare}, {name for name, _ in names}


@pytest.fixture(scope="module")
def sample_runs(tmp_path_factory, kettle_bend_result, lower_plot_result):
    runs = []
    for result in (kettle_bend_result, lower_plot_result):
        folder = tmp_path_factory.mktemp("samples") / "out"
        write_folder(result, folder, data_only=True)
        runs.append(names_written(folder))
    return runs


LIQUID = 'product = { name = "my litter", nitrogen = "4 %", p2o5 = "3 %", k2o = "2 %" }'
APPLICATIONS = """
[[application]]
date = 2026-05-20
share = 0.5

[[application]]
date = 2026-07-01
share = 0.5
method = "through drip"
product = "calcium nitrate"

[sidedress_test]
sampled = 2026-06-28
nitrate_n = "12 ppm"

[strips]
number = 3
"""
RESPONSE = """
[response]
a = 10.0
b = 0.10
c = -0.00025

[strips]
number = 2
"""
MONEY = """
pan_test = { spacing = "3 m", weights = [1, 2, 5, 6, 6, 6, 5, 2, 1] }
rate_change = "60 s"

[response]
a = 10.0
b = 0.10
c = -0.00025

[prices]
product = "620 USD/t"
crop = "0.45 USD/kg"
"""


@pytest.fixture
def rich_runs(plan_folder, tmp_path):
    """Plans that between them bring up all that only some runs write."""
    xy = random_places(24, 1)
    earlier = samples_csv(xy, 0.6 * trend(xy), sampled=["2026-04-10"] * 24)
    later = samples_csv(xy, trend(xy), sampled=["2026-05-01"] * 24).partition("\n")[2]
    several = plan_folder(
        name="several",
        extra=APPLICATIONS,
        edits=[
            ('units = "metric"', 'units = "us"'),
            ('file = "samples.csv"', 'file = "samples.csv"\ngrowth = "from samplings"'),
            ('product = "urea"', LIQUID),
            ('rate_max = "600 kg/ha"', 'rate_max = "1500 kg/ha"'),
        ],
    )
    (several / "samples.csv").write_text(earlier + later)
    money = plan_folder(name="money", extra=MONEY, edits=[('"600 kg/ha"', '"300 kg/ha"')])
    strips = plan_folder(name="strips", extra=RESPONSE)
    found = []
    for folder in (several, money, strips):
        out = tmp_path / f"{folder.name}-out"
        write_folder(run(read_plan(folder)), out, data_only=True)
        found.append(names_written(out))
    return found


def test_every_file_is_named():
    assert [name for name, _ in SECTIONS["The files"]] == [one.name for one in registry.FORMATS]
    assert set(SECTIONS) >= {one.name for one in registry.FORMATS} - {"map.html", "report.pdf", "card.pdf"}


def test_what_the_sample_plans_write_is_what_the_page_says(sample_runs):
    for file in sample_runs[0]:
        written = set().union(*(run[file] for run in sample_runs))
        always, named = always_and_all(file)
        assert written - named == set(), f"{file}: written and not named"
        missing = {
            name for name in always - written if not any(one.startswith(f"{name}[]") for one in written)
        }
        assert missing == set(), f"{file}: named and not written"


def test_what_only_some_runs_write_is_named_and_written_by_some(sample_runs, rich_runs):
    written = {}
    for one in (*sample_runs, *rich_runs):
        for path, names in one.items():
            written.setdefault(path.rpartition("/")[2], set()).update(names)
    assert "drip.csv" in written
    for file, names in written.items():
        _, named = always_and_all(file)
        assert names - named == set(), f"{file}: written and not named"
        missing = {name for name in named - names if not any(one.startswith(f"{name}[]") for one in names)}
        assert missing == set(), f"{file}: named and never written"


def test_what_a_batch_writes_is_what_the_page_says(tmp_path, kettle_bend_result):
    import json

    import geopandas as gpd

    folder = tmp_path / "kettle-bend"
    write_folder(kettle_bend_result, folder, data_only=True)
    rows = [field_rows("kettle-bend", read_field_folder(folder))]
    farm = summarise(rows, failed=1)
    write_together(tmp_path, rows, farm, [("other", "no plan")], linked=False)
    for file in ("fields.parquet", "zones.parquet"):
        columns = set(gpd.read_parquet(tmp_path / file).columns) - {"geometry", "bbox"}
        assert columns == always_and_all(file)[1]
    assert (
        set((tmp_path / "problems.csv").read_text().splitlines()[0].split(","))
        == always_and_all("problems.csv")[1]
    )
    told = set(json_paths(json.loads((tmp_path / "summary.json").read_text())))
    assert told - {"more_samples", "worth_it"} <= always_and_all("summary.json")[1]
