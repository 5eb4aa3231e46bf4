"""What `fieldmap tables` prints: every number of the tables of vegetables and cover crops, with its mark."""

import pytest

from fieldmap.agronomy.sources import table_rows
from fieldmap.cli.tables import TABLE_ROWS

PRINTED_IN = {"crops": ("crops", "crop_tests"), "cover_crops": ("cover_crops",)}
IN_CM = {"sample_depth_m", "nmin_depth_m", "sidedress_depth_m"}
ONCE = {"seeded": 2, "transplanted": 2}  # the season's length stands with the curve's source, not in the row


def numbers_of(value):
    if isinstance(value, dict):
        value = value.values()
    if isinstance(value, list) or not isinstance(value, int | float | str):
        return [number for item in value for number in numbers_of(item)]
    return [] if isinstance(value, str | bool) else [value]


@pytest.mark.parametrize("table", PRINTED_IN)
def test_every_number_of_a_table_is_printed(table):
    printed: dict[str, str] = {}
    for name in PRINTED_IN[table]:
        for cells in TABLE_ROWS[name]()[1]:
            printed[cells[0]] = f"{printed.get(cells[0], '')} {' '.join(cells)}"
    for row in table_rows(table)[table.removesuffix("s")]:
        words = printed[row["name"]].replace(":", " ").replace(",", " ").replace(";", " ").split()
        for key, value in row.items():
            numbers = numbers_of(value)[: ONCE.get(key)]
            for number in numbers if key not in ("name", "sources") else ():
                assert f"{number * 100 if key in IN_CM else number:g}" in words, (row["name"], key, number)
