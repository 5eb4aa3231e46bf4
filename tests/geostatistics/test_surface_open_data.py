"""The surface on a real field: Strickland's tomato uniformity trial (tests/reference/README.md)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pykrige.ok import OrdinaryKriging

from fieldmap.geostatistics.surface import fit_surface, predict

TABLE = Path(__file__).parents[1] / "reference" / "tomato_uniformity.csv"
pytestmark = pytest.mark.whole


@pytest.fixture(scope="module")
def errors():
    """Root mean squared errors at 150 plots from 30, over 60 thinnings: surface, field mean, pykrige."""
    table = pd.read_csv(TABLE)
    coords, values = table[["col", "row"]].to_numpy(float), table["yield"].to_numpy(float)
    rng = np.random.default_rng(1934)
    rows = []
    for _ in range(60):
        order = rng.permutation(len(table))
        kept, others = order[:30], order[30:]
        ours = predict(fit_surface(coords[kept], values[kept]), coords[others]).mean
        reference, _ = OrdinaryKriging(*coords[kept].T, values[kept]).execute("points", *coords[others].T)
        guesses = (ours, np.full(150, values[kept].mean()), np.asarray(reference))
        rows.append([np.sqrt(np.mean((guess - values[others]) ** 2)) for guess in guesses])
    return pd.DataFrame(rows, columns=["surface", "mean", "pykrige"])


def test_beats_the_field_mean(errors):
    assert (errors["surface"] / errors["mean"]).mean() <= 0.96


def test_beats_pykrige_with_its_defaults(errors):
    assert (errors["surface"] / errors["pykrige"]).mean() < 1.0
