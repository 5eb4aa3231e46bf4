"""Nitrogen from elsewhere, against published figures; nothing twice."""

import tomllib

import numpy as np
import pytest
from support.small_fields import PLAN

from fieldmap.advice.season import credit_warnings
from fieldmap.budget.other_credits import Doubt, Note, other_credits, soil_nitrate_kg_ha, water_nitrogen_kg_ha
from fieldmap.errors import InputError
from fieldmap.plan.parse import parse_plan
from fieldmap.units import KG_HA_PER_LB_AC


def plan(extra, *edits):
    text = PLAN
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    return parse_plan(tomllib.loads(text + extra), "folder")


def one(body, *edits, water_use_mm=None):
    found = other_credits(plan(f"\n[[other_credits]]\n{body}\n", *edits), "field", water_use_mm=water_use_mm)
    assert len(found) == 1
    return found[0]


def test_soil_nitrate_of_ten_ppm_in_a_foot():
    # Geisseler & Horwath, CDFA guidelines: about 35 lb/ac; with bulk density 1.3 exactly 35.35 lb/ac, 39.62 kg/ha.
    found = soil_nitrate_kg_ha(10.0, 0.3048, 1300.0)
    assert found == pytest.approx(39.62, abs=0.01)
    assert found / KG_HA_PER_LB_AC == pytest.approx(35.35, rel=1e-3)


def test_irrigation_water_of_twenty_ppm():
    # UC ANR: 20 ppm nitrate-N in 24 acre-inches an acre carry 109 lb/ac (121.9 kg/ha).
    found = water_nitrogen_kg_ha(20.0, 24 * 25.4)
    assert found == pytest.approx(121.9, rel=5e-3)
    assert found / KG_HA_PER_LB_AC == pytest.approx(109.0, rel=5e-3)


def test_nitrate_is_turned_into_nitrate_n():
    # UC ANR and CDFA: × 0.226.
    as_nitrate = one('source = "irrigation water"\nnitrate = "100 ppm"\nwater = "100 mm"')
    assert as_nitrate.kg_ha == pytest.approx(22.6)


def test_water_counts_up_to_what_the_crop_uses():
    body = 'source = "irrigation water"\nnitrate_n = "10 ppm"\nwater = "800 mm"'
    assert one(body).kg_ha == pytest.approx(80.0)
    assert one(body).notes == (Note(Doubt.WATER_USE_NOT_KNOWN),)
    assert "not known" in credit_warnings([one(body)], "us")[0]
    capped = one(body, water_use_mm=500.0)
    assert capped.kg_ha == pytest.approx(50.0)
    assert capped.notes == (Note(Doubt.WATER_BEYOND_USE, water_mm=500.0),)
    assert credit_warnings([capped], "metric") == (
        "Irrigation water is credited up to what the crop uses, 500 mm.",
    )
    assert "up to what the crop uses, 19.7 in" in credit_warnings([capped], "us")[0]


def test_organic_matter():
    # Grubinger, Univ. of Vermont: 10 lb/ac for each 1 % of organic matter.
    assert one('source = "soil organic matter"\norganic_matter = "3 %"').kg_ha == pytest.approx(
        30 * KG_HA_PER_LB_AC
    )


def test_compost_by_its_first_year_share():
    # Hartz: 5 to 10 % of total N in the first year.
    body = 'source = "compost"\ntotal_n = "200 kg/ha"\napplied = 2026-05-15'
    assert 10.0 <= one(body).kg_ha <= 20.0
    assert one(body + "\nshare = 0.3").kg_ha == pytest.approx(60.0)


def test_what_was_spread_before_the_cover_crop_already_stands_in_it():
    body = 'source = "manure"\ntotal_n = "200 kg/ha"\nshare = 0.4\napplied = 2025-09-01'
    before = one(body)
    assert before.kg_ha == 0.0
    assert "The manure of 2025-09-01 was spread before" in credit_warnings([before], "metric")[0]
    assert one(body + "\nconfirmed = true").kg_ha == pytest.approx(80.0)


@pytest.mark.parametrize(
    ("applied", "touches", "days"), [("2026-05-15", True, 91), ("2026-06-01", False, 74)]
)
def test_raw_manure_too_near_the_harvest_is_refused(applied, touches, days):
    # 7 CFR 205.203: 120 days where the edible part touches the soil, 90 elsewhere.
    body = (
        f'source = "manure"\ntotal_n = "200 kg/ha"\nshare = 0.4\napplied = {applied}\nraw = true\n'
        f"touches_soil = {str(touches).lower()}"
    )
    with pytest.raises(InputError, match=rf"is {days} days before the harvest.*7 CFR 205.203"):
        one(body)


def test_raw_manure_in_time_is_taken():
    body = 'source = "manure"\ntotal_n = "100 kg/ha"\nshare = 0.4\napplied = 2026-05-10\nraw = true'
    body += "\ntouches_soil = false"
    assert one(body).kg_ha == pytest.approx(40.0)


def test_this_cover_crop_is_not_credited_as_a_previous_legume():
    body = 'source = "previous legume"\ncrop = "hairy vetch"\nended = 2026-05-04\nnitrogen = "80 kg/ha"'
    with pytest.raises(InputError, match="hairy vetch, ended 2026-05-04, is this cover crop"):
        one(body)
    assert one(body.replace("2026-05-04", "2024-05-04")).kg_ha == 80.0
    with pytest.raises(InputError, match="vetch, ended 2026-05-01, is this cover crop"):
        one(body.replace('"hairy vetch"', '"vetch"').replace("2026-05-04", "2026-05-01"))
    sown = ('placement = "incorporated"', 'placement = "incorporated"\nsown = 2025-09-20')
    assert one(body.replace("2026-05-04", "2025-09-10"), sown).kg_ha == 80.0


def test_a_soil_test_in_the_growing_stand_is_warned_of():
    body = 'source = "soil nitrate"\nnitrate_n = "10 ppm"\ndepth = "30 cm"\nsampled = 2026-04-02'
    (said,) = credit_warnings([one(body)], "metric")
    assert "The soil nitrate test of 2026-04-02 was taken while the cover crop stood" in said


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ('source = "irrigation water"\nnitrate_n = "8 ppm"', "for irrigation water nitrate_n and water, or"),
        (
            'source = "soil nitrate"\nnitrate_n = "8 ppm"\nnitrate = "8 ppm"\ndepth = "30 cm"',
            "found depth, nitrate, nitrate_n",
        ),
        (
            'source = "manure"\ntotal_n = "100 kg/ha"\napplied = 2026-05-10',
            "applied, share and total_n, or nitrogen is expected",
        ),
        ('source = "previous legume"\nnitrogen = "40 kg/ha"', "crop, ended and nitrogen is expected"),
        ('source = "starter"', "found no amount; for starter nitrogen is expected"),
        (
            'source = "soil nitrate"\nnitrate_n = "8 kg/ha"\ndepth = "30 cm"',
            'the unit "kg/ha" does not do here',
        ),
    ],
)
def test_what_is_missing_is_named(body, message):
    with pytest.raises(InputError, match=message):
        one(body)


def test_a_guide_rate_beside_a_soil_credit_is_asked_about(plan_folder):
    from fieldmap import read_plan, run

    organic = '\n[[other_credits]]\nsource = "soil organic matter"\norganic_matter = "2 %"\n'
    asked = run(read_plan(plan_folder(extra=organic, name="asked")))
    assert any(
        "is a guide rate, which usually contains what an average soil supplies, and soil organic matter is credited"
        in text
        for text in asked.warnings
    )
    edit = ('need = "220 kg/ha"', 'need = "220 kg/ha"\nneed_allows_for = ["organic matter"]')
    counted = run(read_plan(plan_folder(edits=[edit], extra=organic, name="counted")))
    assert not any("is a guide rate" in text for text in counted.warnings)


def test_a_soil_test_without_weather_is_not_counted_twice(plan_folder):
    from fieldmap import read_plan, run
    from fieldmap.season.release import nitrogen_left

    test = '\n[[other_credits]]\nsource = "soil nitrate"\nnitrate_n = "10 ppm"\ndepth = "30 cm"\n'
    test += "sampled = 2026-05-22\n"
    result = run(read_plan(plan_folder(extra=test)))
    lines = {line.line: line.kg_ha for line in result.ledger}
    # 19 days at the reference temperature (20 °C), 3.9 %N, of what 70 days release.
    released = [1.0 - float(nitrogen_left(np.array(days), 3.9)) for days in (19.0, 70.0)]
    assert lines["in the soil test"] == pytest.approx(
        -lines["cover crop"] * released[0] / released[1], rel=1e-6
    )
    inside = result.field.inside
    assert sum(lines.values()) == pytest.approx(result.budget.supplemental_kg_ha[inside].mean(), abs=1e-6)
    assert any("without weather that is taken for soil at 20 °C" in text for text in result.warnings)
    assert result.budget.seasons == ()


def test_every_kind_in_one_ledger_worked_out_by_hand(plan_folder):
    from fieldmap import read_plan, run

    bodies = [
        'source = "irrigation water"\nnitrate_n = "8 ppm"\nwater = "200 mm"',  # 8 × 200 × 0.01 = 16
        'source = "soil nitrate"\nnitrate_n = "5 ppm"\ndepth = "30 cm"\nbulk_density = "1400 kg/m3"',  # 21
        'source = "soil organic matter"\norganic_matter = "2 %"',  # 2 × 11.2085 = 22.417
        'source = "compost"\ntotal_n = "100 kg/ha"\nshare = 0.1\napplied = 2026-05-10',  # 10
        'source = "manure"\ntotal_n = "50 kg/ha"\nshare = 0.4\napplied = 2026-05-10',  # 20
        'source = "previous legume"\ncrop = "alfalfa"\nended = 2024-10-01\nnitrogen = "12 kg/ha"',
        'source = "starter"\nnitrogen = "15 kg/ha"',
        'source = "earlier years"\nnitrogen = "6 kg/ha"',
    ]
    extra = "".join(f"\n[[other_credits]]\n{body}\n" for body in bodies)
    extra += '\n[credit]\nmethod = "share"\nshare = 0.5\n'
    result = run(read_plan(plan_folder(edits=[('"220 kg/ha"', '"400 kg/ha"')], extra=extra)))
    by_hand = {
        "need": 400.0, "irrigation water": -16.0, "soil nitrate": -21.0, "soil organic matter": -22.417,
        "compost": -10.0, "manure": -20.0, "previous legume": -12.0, "starter": -15.0, "earlier years": -6.0,
    }  # fmt: skip
    lines = {line.line: line.kg_ha for line in result.ledger}
    for name, kg_ha in by_hand.items():
        assert lines[name] == pytest.approx(kg_ha, abs=0.01), name
    # Half of the nitrogen in the mean stand, at 3.9 %N (hairy vetch at bud, from memory).
    biomass = result.stand.biomass.mean[result.field.inside].mean()
    assert lines["cover crop"] == pytest.approx(-biomass * 0.039 * 0.5, rel=1e-9)
    assert set(lines) == {*by_hand, "cover crop"}
    missing = result.budget.supplemental_kg_ha[result.field.inside].mean()
    assert sum(lines.values()) == pytest.approx(missing, abs=1e-6)
