"""The lists of ten plans, read line by line before they were kept; what changes them is read again."""

from pathlib import Path

import pytest
from support.ten_plans import PLANS, XY, list_of

from fieldmap import read_plan, run

KEPT = Path(__file__).parent / "lists"


@pytest.mark.parametrize("name", PLANS)
def test_the_list_is_the_one_that_was_read(plan_folder, name, tmp_path):
    told = list_of(run(read_plan(plan_folder(xy=XY, **PLANS[name]))))
    (tmp_path / "now.txt").write_text(told)
    kept = (KEPT / f"{name.replace(' ', '-').replace(',', '')}.txt").read_text()
    assert told == kept, f"read {tmp_path / 'now.txt'} line by line before it is kept"


def test_no_list_is_left_over():
    assert {file.stem for file in KEPT.iterdir()} == {
        name.replace(" ", "-").replace(",", "") for name in PLANS
    }
