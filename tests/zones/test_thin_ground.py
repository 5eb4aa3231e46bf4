"""The zone with the thinnest stand: asked about, capped only where the plan says so."""

import numpy as np
import pytest
from shapely.geometry import box
from support.small_fields import random_places

from fieldmap import read_plan, run
from fieldmap.errors import InputError
from fieldmap.export.formats.result_json import figures
from fieldmap.units import rate_text


def ran(plan_folder, text="", more="", **keys):
    told = f"\n[thin_ground]\n{text}\n" if text else ""
    return run(read_plan(plan_folder(extra=told + more, name=f"p{hash(text)}", **keys)))


def test_unknown_is_asked_and_not_capped(plan_folder):
    result = ran(plan_folder)
    told = figures(result)["thin_ground"]
    assert (told["cause"], told["capped"]) == ("unknown", False)
    assert told["text"] not in result.warnings  # the list of what to do says it
    (dig,) = [text for text in result.action_texts if text.what.startswith("Walk and dig in zone ")]
    assert dig.change == "If so, hold it back: [thin_ground] cap = true."
    assert "and its cause is unknown: look, dig and test there, or hold it at the flat rate" in told["text"]
    assert told["asked_rate_n_kg_ha"] == max(zone.rate_n_kg_ha for zone in result.spread.zone_map.zones)
    assert told["flat_rate_n_kg_ha"] == pytest.approx(result.spread.flat.mean_rate_n_kg_ha)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("cap = true", "its cause is unknown, and may hold the vegetable back too"),
        ('cause = "wet"\ncap = true', "its cause is given as wet, and may"),
    ],
)
def test_capped_at_the_flat_rate(plan_folder, text, why):
    free, held = ran(plan_folder), ran(plan_folder, text)
    top = free.spread.zone_map.rate_n_kg_ha == np.nanmax(free.spread.zone_map.rate_n_kg_ha)
    assert held.spread.zone_map.rate_n_kg_ha[top] == pytest.approx(free.spread.flat.mean_rate_n_kg_ha)
    others = np.isfinite(free.spread.zone_map.rate_n_kg_ha) & ~top
    np.testing.assert_array_equal(
        held.spread.zone_map.rate_n_kg_ha[others], free.spread.zone_map.rate_n_kg_ha[others]
    )
    told = figures(held)["thin_ground"]
    assert told["capped"]
    assert told["asked_rate_n_kg_ha"] == pytest.approx(np.nanmax(free.spread.zone_map.rate_n_kg_ha), abs=0.01)
    assert (
        f"held at the flat rate, {told['flat_rate_n_kg_ha']:.0f} kg/ha of nitrogen instead of" in told["text"]
    )
    assert why in told["text"]
    rates = [zone.rate_n_kg_ha for zone in held.spread.zone_map.zones]
    assert rates == sorted(rates)  # numbers still rise with the rate


def test_a_cause_that_spares_the_vegetable_keeps_the_rate(plan_folder):
    told = figures(ran(plan_folder, 'cause = "seeding"'))["thin_ground"]
    assert not told["capped"]
    assert "its cause is given as seeding, which should not hold the vegetable back" in told["text"]


def test_a_cause_that_limits_is_pointed_at(plan_folder):
    text = figures(ran(plan_folder, 'cause = "acid"'))["thin_ground"]["text"]
    assert "its cause is given as acid: look, dig and test there, or hold it at the flat rate" in text


def test_a_cap_without_a_reason_is_refused(plan_folder):
    message = r'\[thin_ground\]: found cap = true with cause = "no nodules"; what thinned the cover crop'
    with pytest.raises(InputError, match=message):
        ran(plan_folder, 'cause = "no nodules"\ncap = true')


def test_a_thin_stand_in_a_zone_that_is_mostly_another_blocks_is_said(plan_folder):
    """The west needs more throughout; the south-east is thin and falls into the west's zone."""
    xy = random_places(24, 1)
    south_east = (xy[:, 0] > 180) & (xy[:, 1] < 80)
    result = ran(
        plan_folder,
        'cause = "wet"\ncap = true',
        xy=xy,
        dry_kg_ha=np.where(south_east, 1500.0, 5000.0),
        blocks={"west": box(0, 0, 150, 200), "east": box(150, 0, 300, 200)},
        edits=(
            ("zones_max = 4", "zones_max = 2"),
            ('need = "220 kg/ha"', 'need = "200 kg/ha"'),
            ('rate_step = "10 kg/ha"', 'rate_step = "60 kg/ha"'),
            ('rate_min = "20 kg/ha"', 'rate_min = "60 kg/ha"'),
        ),
        more='\n[[block]]\nblock = "west"\ncrop = { need = "240 kg/ha" }\n',
    )
    highest = result.spread.zone_map.highest
    (text,) = [text for text in result.warnings if "thinnest" in text]
    assert (highest.block, highest.thin, highest.capped) == ("east", True, False)
    asked, flat = (rate_text(rate, "metric") for rate in (max(rates_of(result)), flats(result)[1]))
    assert text == (
        f"In block east the thinnest stand gets {asked} of nitrogen, where one rate would give {flat}, and its cause "
        "is given as wet: look, dig and test there before spreading more. It is not held back: the rest of its zone "
        "would go short."
    )


def rates_of(result):
    return [zone.rate_n_kg_ha for zone in result.spread.zone_map.zones]


@pytest.mark.parametrize("cap", [False, True])
def test_a_heavy_stand_poor_in_nitrogen_is_not_called_thin_and_not_held_back(plan_folder, cap):
    """In the east three times the mass, mostly ripe rye: it ties nitrogen up, so the east gets most."""
    xy = random_places(24, 1)
    rye = np.clip((xy[:, 0] - 100.0) / 100.0, 0.0, 1.0)
    result = ran(
        plan_folder,
        "cap = true" if cap else "",
        xy=xy,
        dry_kg_ha=3000.0 + 5000.0 * rye,
        nitrogen_pct=np.round(3.2 - 2.1 * rye, 2),
        edits=(
            ('species = "hairy vetch"', 'species = ["hairy vetch", "cereal rye"]'),
            ('stage = "bud"', 'stage = ["bud", "anthesis"]'),
        ),
    )
    told = figures(result)["thin_ground"]
    rate = result.spread.zone_map.rate_n_kg_ha
    most = rate == np.nanmax(rate)
    assert result.stand.biomass.mean[most].mean() > 1.2 * np.nanmean(result.stand.biomass.mean)
    assert (told["thin"], told["capped"]) == (False, False)
    assert told["asked_rate_n_kg_ha"] == pytest.approx(np.nanmax(rate), abs=0.01)
    assert "is not for a thin stand: what stands there is as heavy as elsewhere and poorer" in told["text"]
    assert ("It is not held back: [thin_ground] cap is for thin ground." in told["text"]) == cap
    assert not any("thinnest stand" in text for text in result.warnings)


def flats(result):
    """One rate for each block: its mean due, on the rate step."""
    return result.spread.flat.rate_n_kg_ha
