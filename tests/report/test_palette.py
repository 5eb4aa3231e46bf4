"""A class of a surface has one colour, on the map and in print, and darker is more on both."""

import re

import numpy as np
import pytest
from matplotlib.colors import to_hex

from fieldmap.report import pdf
from fieldmap.report.palette import DOUBT, RATE, STAND, colour_steps
from fieldmap.webmap.views import map_views

SURFACES = ("biomass", "biomass_doubt", "credit", "doubt")  # in the order of the report's page


@pytest.mark.parametrize("colormap", [RATE, STAND, DOUBT])
def test_darker_is_more(colormap):
    rgb = np.array([[int(c[k : k + 2], 16) for k in (1, 3, 5)] for c in colour_steps(colormap, 6)])
    assert (np.diff(rgb @ [0.2126, 0.7152, 0.0722]) < -10).all()


def test_print_has_the_classes_and_colours_of_the_map(kettle_bend_result, monkeypatch):
    drawn = []

    def keep(*args, **options):
        drawn.append(surface_picture(*args, **options))
        return drawn[-1]

    surface_picture = pdf.surface_picture
    monkeypatch.setattr(pdf, "surface_picture", keep)
    pdf._doubt_page(kettle_bend_result, 500.0)
    views = {view.key: view for view in map_views(kettle_bend_result)}
    assert len(drawn) == len(SURFACES)
    for key, figure in zip(SURFACES, drawn, strict=True):
        (image,) = figure.axes[0].images
        for swatch in views[key].legend:
            low, high = (float(end.replace(",", "")) for end in re.findall(r"-?[\d,]+", swatch.text))
            assert to_hex(image.cmap(image.norm((low + high) / 2))) == swatch.colours[0]
        assert image.norm.boundaries[[0, -1]].tolist() == [
            float(re.findall(r"-?[\d,]+", views[key].legend[end].text)[end].replace(",", ""))
            for end in (0, -1)
        ]
