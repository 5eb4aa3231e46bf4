"""What the charts show, and on which axes."""

import pytest

from fieldmap.report.pictures import season_picture


@pytest.mark.parametrize("height_in", [1.6, 3.0])
def test_a_stock_and_a_flow_have_axes_of_their_own(kettle_bend_result, height_in):
    season = kettle_bend_result.budget.seasons[1]
    soil, week = season_picture(kettle_bend_result, season, width_in=3.0, height_in=height_in).axes
    assert [axes.get_title(loc="left") for axes in (soil, week)] == [
        "spare in the soil",
        "short in each week",
    ]
    grown = season.weeks.week >= 1
    assert soil.lines[0].get_ydata() == pytest.approx(season.weeks.spare_kg_ha[grown] / 1.12085116)
    bars = [bar.get_height() for bar in week.patches]
    assert bars == pytest.approx(season.weeks.short_kg_ha[grown] / 1.12085116)
