"""Repeated samplings over the spring: the last makes the map, all the trend, and growth only when asked for."""

import json

import numpy as np
import pytest
from support.small_fields import random_places, samples_csv, trend

from fieldmap import InputError, read_plan, run
from fieldmap.cli.main import main
from fieldmap.export.formats.result_json import figures

XY = random_places(24, 1)
OTHER = random_places(12, 7)
PINK = ('stage = "bud"', 'stage = "bud"\nnodules = "pink"')
GROWTH = ('file = "samples.csv"', 'file = "samples.csv"\ngrowth = "from samplings"')


def rounds(dates=("2026-04-06", "2026-04-27"), earlier=0.5, pct=(4.2, 3.6)):
    """Samples of two dates: the earlier ones at other places, and at a share of the later mean."""
    later = trend(XY)
    first = earlier * later.mean() * np.linspace(0.9, 1.1, len(OTHER))
    columns = {"sampled": [dates[0]] * len(OTHER) + [dates[1]] * len(XY)}
    if pct:
        columns["nitrogen_pct"] = [pct[0]] * len(OTHER) + [pct[1]] * len(XY)
    return samples_csv(np.vstack([OTHER, XY]), np.concatenate([first, later]), **columns)


@pytest.fixture
def result_of(plan_folder):
    def make(text, *edits, name="plan", extra=""):
        return run(
            read_plan(plan_folder(edits=[PINK, *edits], files={"samples.csv": text}, name=name, extra=extra))
        )

    return make


def test_the_last_sampling_makes_the_map(result_of):
    both = result_of(rounds(), name="both")
    last = result_of(samples_csv(XY, trend(XY), nitrogen_pct=[3.6] * len(XY)), name="last")
    assert len(both.stand.samples) == len(XY)
    inside = both.field.inside
    assert both.stand.biomass.mean[inside] == pytest.approx(last.stand.biomass.mean[inside])
    assert both.budget.supplemental_kg_ha[inside] == pytest.approx(last.budget.supplemental_kg_ha[inside])


def test_all_samplings_make_the_trend(result_of):
    result = result_of(rounds())
    later = trend(XY).mean()
    told = figures(result)["trend"]
    assert [one["sampled"] for one in told] == ["2026-04-06", "2026-04-27"]
    assert [one["samples"] for one in told] == [12, 24]
    assert [one["biomass_kg_ha"] for one in told] == pytest.approx([later / 2, later], abs=0.01)
    assert [one["total_n_kg_ha"] for one in told] == pytest.approx(
        [later / 2 * 0.042, later * 0.036], abs=0.01
    )
    assert any(
        "The stand over the spring, mean of each sampling: 2026-04-06" in text
        and f"gained {later / 2:,.0f} kg/ha in the last 21 days" in text
        for text in result.warnings
    )


def test_growth_is_never_applied_unasked(result_of):
    result = result_of(rounds())
    assert figures(result)["growth"] == []
    assert not any("at the pace of the last two samplings" in text for text in result.warnings)


def test_days_of_one_round_are_one_sampling(result_of):
    text = samples_csv(XY, trend(XY), sampled=["2026-05-01"] * 12 + ["2026-05-03"] * 12)
    result = result_of(text)
    assert len(result.stand.samples) == 24
    assert figures(result)["trend"] == []


def test_growth_from_samplings_by_hand(result_of):
    # 21 days apart, 7 days to the end: a third of the step. Biomass 1 + (1 - 0.5) / 3 = 1.16667; nitrogen was
    # 0.5 × 4.2 and is 3.6: 1 + (1 - 2.1 / 3.6) / 3 = 1.13889, so %N is 0.97619 of what it was.
    without, grown = result_of(rounds(), name="without"), result_of(rounds(), GROWTH, name="grown")
    found = figures(grown)["growth"]
    assert [(one["block"], one["days"]) for one in found] == [("field", 7)]
    assert (found[0]["biomass"], found[0]["nitrogen_pct"]) == pytest.approx((1.16667, 0.97619), abs=1e-4)
    inside = grown.field.inside
    biomass = without.stand.biomass.mean[inside] / 1000.0
    assert grown.stand.biomass.mean[inside] == pytest.approx(without.stand.biomass.mean[inside])  # as sampled
    by_hand = biomass * 1.16667 * 5.0 * (3.6 * 0.97619)  # PNW 636: above 3.5 %N half of total nitrogen
    assert grown.budget.credit.credit_kg_ha[inside] == pytest.approx(by_hand, rel=1e-4)
    assert grown.budget.credit.release_error[inside].min() > without.budget.credit.release_error[inside].max()
    assert any("+17 % of dry weight and -2 % of its %N" in text for text in grown.warnings)
    lines = {line.line: line.kg_ha for line in grown.ledger}
    assert sum(lines.values()) == pytest.approx(grown.budget.supplemental_kg_ha[inside].mean(), abs=1e-6)


def test_a_sampling_without_nitrogen_is_told_of(result_of):
    result = result_of(rounds(pct=None), GROWTH)
    assert figures(result)["trend"][0]["total_n_kg_ha"] is None
    assert figures(result)["growth"][0]["nitrogen_pct"] == 1.0
    assert any("the sampling before has none" in text for text in result.warnings)


@pytest.mark.parametrize(
    ("text", "edits", "words"),
    [
        (
            samples_csv(XY, trend(XY)),
            [GROWTH],
            r"samples.csv holds one sampling; samples of at least two dates",
        ),
        (
            rounds(("2026-04-10", "2026-04-16")),
            [GROWTH],
            r"ended 18 days after the last sampling of 2026-04-16; at most the 6 days",
        ),
        (
            rounds(),
            [('file = "samples.csv"', 'file = "samples.csv"\nsampled = 2026-05-01')],
            r"found 2026-05-01, but the last date in samples.csv is 2026-04-27",
        ),
        (
            rounds(("2026-04-27", "2026-05-09")),
            [],
            r"samples of 2026-05-09 were clipped after the cover crop",
        ),
        (
            samples_csv(XY, trend(XY), sampled=["2026-05-01"] * 23 + [""]),
            [],
            r"row 25: sampled is empty, and other samples have a date",
        ),
        (
            samples_csv(XY, trend(XY), sampled=["2026-05-01"] * 23 + ["01/05/2026"]),
            [],
            r'row 25: sampled is "01/05/2026"; a date such as 2026-05-04, from 1900 to 2100, is expected',
        ),
    ],
)
def test_what_cannot_be_right_is_refused(result_of, text, edits, words):
    with pytest.raises(InputError, match=words):
        result_of(text, *edits)


def test_check_finds_it_too(plan_folder, capsys):
    folder = plan_folder(edits=[GROWTH])
    assert main(["check", str(folder)]) == 2
    assert "samples of at least two dates" in capsys.readouterr().err


def test_samples_that_are_old_are_known_by_their_own_date(result_of):
    old = samples_csv(XY, trend(XY), sampled=["2026-04-10"] * len(XY))
    assert any("24 days before the cover crop ended" in text for text in result_of(old).warnings)


def test_dates_of_a_layer_of_points(plan_folder):
    import shapely
    from shapely.geometry import mapping
    from support.small_fields import lonlat

    features = [
        {
            "type": "Feature",
            "properties": {"dry_kg_ha": float(dry), "sampled": "2026-05-01"},
            "geometry": mapping(lonlat(shapely.Point(*xy))),
        }
        for xy, dry in zip(XY, trend(XY), strict=True)
    ]
    layer = json.dumps({"type": "FeatureCollection", "features": features})
    folder = plan_folder(edits=[('"samples.csv"', '"samples.geojson"')], files={"samples.geojson": layer})
    assert run(read_plan(folder)).stand.samples.sampled.isoformat() == "2026-05-01"
