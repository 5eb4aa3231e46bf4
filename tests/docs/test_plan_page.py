"""docs/plan.md is what `make docs` makes of the plan's schema."""

import importlib.util
from pathlib import Path

from fieldmap.plan.keys import plan_keys

DOCS = Path(__file__).parents[2] / "docs"


def test_the_page_of_keys_is_not_stale():
    spec = importlib.util.spec_from_file_location("make_docs", DOCS / "make_docs.py")
    make_docs = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(make_docs)
    page = (DOCS / "plan.md").read_text()
    assert page == make_docs.plan_page(), "run make docs"
    for key in plan_keys():
        assert f"| `{key.key}` |" in page
