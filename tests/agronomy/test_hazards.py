"""What residue does to the next crop: said within its days, of its crops and covers, and not beyond them."""

import pytest

from fieldmap.agronomy import hazards

VETCH = ("hairy vetch",)


def said(crop, covers, placement, started, days):
    return [
        one.name for one in hazards.hazards_of(crop, covers, placement=placement, started=started, days=days)
    ]


@pytest.mark.parametrize(
    ("crop", "covers", "placement", "started", "days", "names"),
    [
        ("sweet corn", VETCH, "incorporated", "seeded", 20, ["seedcorn maggot"]),
        ("sweet corn", VETCH, "incorporated", "seeded", 21, []),
        ("sweet corn", VETCH, "incorporated", "seeded", 13, ["seedcorn maggot", "vetch and seedlings"]),
        (
            "sweet corn",
            VETCH,
            "incorporated",
            "seeded",
            6,
            ["seedcorn maggot", "cutworm", "vetch and seedlings"],
        ),
        ("pepper", VETCH, "incorporated", "transplanted", 7, []),
        ("pepper", VETCH, "incorporated", "transplanted", 6, ["cutworm", "vetch and transplants"]),
        ("carrot", ("cereal rye",), "incorporated", "seeded", 20, ["rye before small seed"]),
        ("carrot", ("crimson clover",), "incorporated", "seeded", 20, []),
        ("pepper", VETCH, "surface", "transplanted", 20, ["slugs and voles"]),
        ("pepper", VETCH, "incorporated", "transplanted", -1, []),
    ],
)
def test_a_hazard_is_said_where_it_applies(crop, covers, placement, started, days, names):
    assert said(crop, covers, placement, started, days) == names


def test_every_name_is_in_the_tables():
    from fieldmap.agronomy import cover_crops, crops

    crop_names, cover_names = ({one.name for one in table()} for table in (crops, cover_crops))
    for one in hazards.hazards():
        assert set(one.crops) <= crop_names, one.name
        assert set(one.covers) <= cover_names, one.name
    assert set(hazards.fodder_harms()) <= cover_names


def test_the_demo_is_warned_where_its_days_are_few(kettle_bend_result, plan_folder):
    from fieldmap import read_plan, run

    told = " ".join(kettle_bend_result.cautions)
    assert "Planted soon after the cover crop (sweet corn in middle, 20 days): seedcorn maggot" in told
    assert "Urea on residue" not in told
    mulched = run(read_plan(plan_folder(edits=[('placement = "incorporated"', 'placement = "surface"')])))
    assert any(text.startswith("Urea on residue") for text in mulched.cautions)
