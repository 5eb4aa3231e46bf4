"""Column headers as people write them in six languages: what is taken for what, converted, and never guessed."""

import numpy as np
import pytest

from fieldmap.errors import InputError
from fieldmap.read.headers import read_header
from fieldmap.read.samples import read_samples

SHEETS = {
    "English": "Sample no.;Lat;Lon;Quadrat (m²);Fresh weight, total g;Fresh sub-sample (g);Dry sub-sample (g);"
    "% legume;Comments",
    "German": "Proben-Nr.;Breite;Länge;Rahmen [m²];Frischmasse gesamt (g);Teilprobe frisch (g);Teilprobe trocken (g);"
    "Leguminosenanteil in %;Bemerkungen",
    "French": "N° échantillon;Latitude;Longitude;Cadre (m2);Poids frais total (g);Sous-échantillon frais (g);"
    "Sous-échantillon sec (g);% légumineuses;Remarques",
    "Spanish": "Muestra n.º;Latitud;Longitud;Marco (m²);Peso fresco total, g;Submuestra fresca (g);"
    "Submuestra seca (g);% de leguminosas;Observaciones",
    "Italian": "Campione n.;Latitudine;Longitudine;Telaio (m²);Peso fresco totale (g);Sottocampione fresco (g);"
    "Sottocampione secco (g);Leguminose (%);Osservazioni",
    "Portuguese": "Amostra nº;Latitude;Longitude;Quadrado (m²);Peso fresco total (g);Subamostra fresca (g);"
    "Subamostra seca (g);% leguminosas;Observações",
}


def read(tmp_path, header, *rows, name="s.csv"):
    path = tmp_path / name
    path.write_text("\n".join([header, *rows]), encoding="utf-8")
    return read_samples(path)


def problem(tmp_path, header, row):
    with pytest.raises(InputError) as caught:
        read(tmp_path, header, row)
    return str(caught.value)


@pytest.mark.parametrize("language", SHEETS)
@pytest.mark.parametrize("backwards", [False, True])
def test_a_field_sheet_of_each_language_in_any_order(tmp_path, language, backwards):
    header, row = (
        SHEETS[language].split(";"),
        ["A1", "44,9862", "9,8725", "0,5", "812", "400", "61,5", "30", "wet"],
    )
    if backwards:
        header, row = header[::-1], row[::-1]
    table = read(tmp_path, ";".join(header), ";".join(row))
    sample = table.frame.iloc[0]
    assert (sample["sample"], sample["note"], sample.geometry.x, sample.geometry.y) == (
        "A1",
        "wet",
        9.8725,
        44.9862,
    )
    numbers = ["frame_m2", "fresh_g", "subsample_fresh_g", "subsample_dry_g", "legume_pct"]
    assert sample[numbers].tolist() == [0.5, 812, 400, 61.5, 30]
    unnamed = {"latitude", "longitude"} & {name.lower() for name in header}
    assert len(table.warnings) == len(header) - len(unnamed)
    assert all(" was read as " in warning for warning in table.warnings)


# One pound is 0.45359237 kg, one foot 0.3048 m, one acre 4046.8564224 m² (international units, exact).
@pytest.mark.parametrize(
    ("header", "column", "value"),
    [
        ("Dry weight (kg)", "dry_g", 2000.0),
        ("Dry weight, lb", "dry_lb", 2.0),
        ("Dry weight (oz)", "dry_g", 2 * 453.59237 / 16),
        ("Dry matter [g/m²]", "dry_kg_ha", 20.0),
        ("Dry matter g m-2", "dry_kg_ha", 20.0),
        ("Trockenmasse in t/ha", "dry_kg_ha", 2000.0),
        ("Matière sèche (t ha-1)", "dry_kg_ha", 2000.0),
        ("Dry biomass lbs/acre", "dry_lb_ac", 2.0),
        ("Peso seco (kg/ac)", "dry_kg_ha", 2 / 0.40468564224),
    ],
)
def test_units_of_dry_weight_are_converted_and_said(tmp_path, header, column, value):
    frame = "" if "ha" in column or "ac" in column else ";Frame (ft²)"
    table = read(tmp_path, f"lat;lon;{header}{frame}", "50;10;2" + (";1" if frame else ""))
    assert table.frame[column].iloc[0] == pytest.approx(value, rel=1e-9)
    told = next(warning for warning in table.warnings if column in warning)
    assert told.startswith(f's.csv: column "{header.lower()}" was read as {column}')
    assert ("converted from" in told) == (value != 2.0)


def test_frames_and_nitrogen_are_converted_and_empty_cells_stay_empty(tmp_path):
    header = "Lat (°);Lon (°);Frame (cm²);Fresh (oz);Fresh subsample (kg);Dry subsample (g);N (g/kg)"
    table = read(tmp_path, header, "50;10;2500;16;0,4;60;36", "50;10;2500;16;0,4;60;NA")
    first, second = (table.frame.iloc[row] for row in (0, 1))
    assert first["frame_m2"] == pytest.approx(0.25)
    assert first["fresh_g"] == pytest.approx(453.59237)
    assert first["subsample_fresh_g"] == pytest.approx(400.0)
    assert first["nitrogen_pct"] == pytest.approx(3.6)
    assert np.isnan(second["nitrogen_pct"])


@pytest.mark.parametrize(
    ("header", "words"),
    [
        (
            "Dry matter (ton/ac)",
            'column "dry matter (ton/ac)" can be read, but its unit is "ton/ac"; one of g, kg, lb,',
        ),
        ("Dry matter ton/ac", 'its unit is "ton/ac"; one of g, kg, lb, oz, kg/ha,'),
        ("Dry matter (tons)", 'its unit is "tons"; one of g,'),
        ("Dry matter %", 'its unit is "%"; one of g,'),
        ("Trockengewicht", 'column "trockengewicht" can be read, but it has no unit; one of g, kg,'),
        (
            "Weeds (g)",
            'column "weeds (g)" can be read, but its unit is "g"; % is expected. Convert the column',
        ),
        ("Quadrat (m)", 'its unit is "m"; one of m2, cm2, ft2, in2 is expected'),
    ],
)
def test_a_unit_that_is_missing_or_means_two_things_is_refused_by_name(tmp_path, header, words):
    assert words in problem(tmp_path, f"lat;lon;{header};dry_kg_ha", "50;10;2;4000")


def test_two_readings_are_asked_and_a_known_name_goes_before(tmp_path):
    told = problem(tmp_path, "lat;lon;Dry weight (g);Trockenmasse (kg);frame_m2", "50;10;2;2;1")
    assert (
        "s.csv: columns dry weight (g), trockenmasse (kg) could each be dry_g; one of them is expected. "
        "Name the right one dry_g and delete or rename the other." in told
    )
    table = read(tmp_path, "lat;lon;Dry weight (g);dry_g;frame_m2;note;Comments", "50;10;2;3;1;a;b")
    assert table.frame["dry_g"].tolist() == [3.0]
    assert "s.csv: columns not used: dry weight (g), comments." in table.warnings


@pytest.mark.parametrize(
    "header",
    ["Fresh weight of weeds (g)", "dry_kg", "frame_m", "Cows", "n", "id", "", "weight (g)", "(g)", "((", "%"],
)
def test_what_is_not_understood_whole_is_not_taken(header):
    found = read_header(header)
    assert found is None or found == ("nitrogen_pct", "")  # n alone: of what share?


def test_a_cell_that_is_no_number_is_told_as_it_was_written(tmp_path):
    assert 'row 2: dry_g is "heavy"' in problem(tmp_path, "lat;lon;Dry weight (kg);frame_m2", "50;10;heavy;1")
