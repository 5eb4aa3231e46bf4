"""From a clipped and weighed frame to dry biomass."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldmap import agronomy
from fieldmap.units import KG_HA_PER_LB_AC, KG_PER_LB, M_PER_FOOT

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from fieldmap.errors import Problem
    from fieldmap.read import SampleTable


LIMITS = agronomy.values_of("weighing")
DRY_MAX_KG_HA = LIMITS["dry_max_kg_ha"]  # no cover crop stands heavier: a slip of units (from memory)
FRAME_MAX_M2 = LIMITS["frame_max_m2"]


def dry_biomass(table: SampleTable) -> tuple[NDArray[np.float64], list[Problem]]:
    """Dry biomass of each row, kg/ha, from whichever weighing its columns give, and what cannot be right.

    The dry weight of a fresh-weighed frame is ``fresh × subsample dry / subsample fresh``. Not for air-dry or wilted
    clippings, whose moisture nobody knows, nor with roots and soil on them.

    Parameters
    ----------
    table
        Samples as written; where a row has several weighings, dry biomass comes before dry weight, that before fresh.

    Returns
    -------
    dry_kg_ha
        (rows,), kg/ha of dry matter; NaN where a weighing is incomplete, which is among the problems.
    problems
        At most one a row: what was found, what is expected, what to do.

    References
    ----------
    By definition (definition); the most that is believed, 30,000 kg/ha and frames of 25 m², is from memory.

    Examples
    --------
    The extension worksheet (worksheet): two frames of 2 × 2 ft are 8 ft², 1.2 lb dry: 6,534 lb/ac or 7,324 kg/ha.
    A frame of 1 m² with 2,000 g fresh, of which 250 g dried to 40: 320 g, 3,200 kg/ha.

    >>> import pandas as pd
    >>> from fieldmap.read import SampleTable
    >>> rows = pd.DataFrame({
    ...     "frame_ft2": [8.0, np.nan], "dry_lb": [1.2, np.nan], "frame_m2": [np.nan, 1.0],
    ...     "fresh_g": [np.nan, 2000.0], "subsample_fresh_g": [np.nan, 250.0], "subsample_dry_g": [np.nan, 40.0],
    ... })
    >>> dry_kg_ha, problems = dry_biomass(SampleTable("samples.csv", "row", rows, ()))
    >>> dry_kg_ha.round().tolist(), problems
    ([7324.0, 3200.0], [])
    """
    frame = table.frame
    direct = numbers_of(frame, "dry_kg_ha", "dry_lb_ac", KG_HA_PER_LB_AC)
    frame_m2 = numbers_of(frame, "frame_m2", "frame_ft2", M_PER_FOOT**2)
    dry_g = numbers_of(frame, "dry_g", "dry_lb", KG_PER_LB * 1000)
    fresh_g = numbers_of(frame, "fresh_g", "fresh_lb", KG_PER_LB * 1000)
    part_fresh_g = numbers_of(frame, "subsample_fresh_g")
    part_dry_g = numbers_of(frame, "subsample_dry_g")
    with np.errstate(divide="ignore", invalid="ignore"):
        from_fresh_g = fresh_g * part_dry_g / part_fresh_g
        weighed_g = np.where(np.isnan(dry_g), from_fresh_g, dry_g)
        dry_kg_ha = np.where(np.isnan(direct), weighed_g / frame_m2 * 10.0, direct)  # g/m² × 10 = kg/ha
    faults = (
        _weighing_fault(*values)
        for values in zip(frame_m2, fresh_g, part_fresh_g, part_dry_g, dry_kg_ha, strict=True)
    )
    return dry_kg_ha, [
        table.problem(row, *fault) for row, fault in zip(frame.index, faults, strict=True) if fault
    ]


def dry_share(table: SampleTable) -> NDArray[np.float64]:
    """Dry over fresh weight of what was dried of each row: of its subsample, or of the whole frame.

    Parameters
    ----------
    table
        Samples as written.

    Returns
    -------
    NDArray
        (rows,), 0 to 1; NaN where a row has no pair of weights, or its biomass itself.

    References
    ----------
    By definition (definition).

    Examples
    --------
    40 g are left of 250.

    >>> import pandas as pd
    >>> from fieldmap.read import SampleTable
    >>> rows = pd.DataFrame({"subsample_fresh_g": [250.0], "subsample_dry_g": [40.0]})
    >>> dry_share(SampleTable("samples.csv", "row", rows, ())).tolist()
    [0.16]
    """
    frame = table.frame
    dry_g, fresh_g = (
        numbers_of(frame, f"{state}_g", f"{state}_lb", KG_PER_LB * 1000) for state in ("dry", "fresh")
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        part = numbers_of(frame, "subsample_dry_g") / numbers_of(frame, "subsample_fresh_g")
        share = np.where(np.isnan(part), dry_g / fresh_g, part)
    return np.where(np.isnan(numbers_of(frame, "dry_kg_ha", "dry_lb_ac")), share, np.nan)


def _weighing_fault(
    frame_m2: float, fresh_g: float, part_fresh_g: float, part_dry_g: float, dry_kg_ha: float
) -> tuple[str, str, str] | None:
    """What cannot be right in one weighing: found, expected, action. NaN, where not given, never compares."""
    if part_dry_g > part_fresh_g:
        return (
            f"subsample_dry_g {part_dry_g:g} is more than subsample_fresh_g {part_fresh_g:g}",
            "a dried subsample cannot be heavier",
            "Swap the two or weigh again",
        )
    if part_fresh_g > fresh_g * 1.0001:
        return (
            f"subsample_fresh_g {part_fresh_g:g} is more than the frame's fresh weight of {fresh_g:g} g",
            "a subsample is part of the frame's clipping",
            "Correct the weight or its unit",
        )
    if frame_m2 <= 0 or frame_m2 > FRAME_MAX_M2:
        return (
            f"the frame measures {frame_m2:g} m²",
            f"a clipped frame of more than 0 and at most {FRAME_MAX_M2:g} m² is expected",
            "Correct the frame's area or its unit",
        )
    if not np.isfinite(dry_kg_ha):
        return (
            "the weighing is incomplete",
            (
                "dry_kg_ha (or dry_lb_ac), or a frame with dry_g, or a frame with fresh_g, "
                "subsample_fresh_g and subsample_dry_g is expected"
            ),
            "Fill in what is missing or remove the row",
        )
    if dry_kg_ha > DRY_MAX_KG_HA:
        return (
            f"the sample comes to {dry_kg_ha:,.0f} kg/ha of dry biomass",
            f"no cover crop stands above {DRY_MAX_KG_HA:,.0f} kg/ha",
            "Check the frame's area and the units of the weights",
        )
    return None


def numbers_of(
    frame: GeoDataFrame, column: str, other: str | None = None, factor: float = 1.0
) -> NDArray[np.float64]:
    """A column of numbers, and where it is empty another in another unit.

    Parameters
    ----------
    frame
        Rows with any of the columns.
    column, other
        The column wanted, and the one to fill it from.
    factor
        What a number of `other` is multiplied by.

    Returns
    -------
    NDArray
        (rows,); NaN where neither column has a number.

    Examples
    --------
    1 lb/ac is 1.121 kg/ha; what stands in kg/ha already is kept.

    >>> import pandas as pd
    >>> rows = pd.DataFrame({"dry_kg_ha": [5000.0, np.nan], "dry_lb_ac": [np.nan, 1000.0]})
    >>> numbers_of(rows, "dry_kg_ha", "dry_lb_ac", KG_HA_PER_LB_AC).round(1).tolist()
    [5000.0, 1120.9]
    """
    values = np.full(len(frame), np.nan)
    if column in frame:
        values = frame[column].to_numpy(dtype=np.float64)
    if other is not None and other in frame:
        values = np.where(np.isnan(values), frame[other].to_numpy(dtype=np.float64) * factor, values)
    return values


def texts_of(frame: GeoDataFrame, column: str) -> tuple[str, ...]:
    """A column as text, stripped.

    Parameters
    ----------
    frame
        Rows with or without the column.
    column
        Its name.

    Returns
    -------
    tuple of str
        One a row; empty texts where there is no such column.
    """
    return tuple(str(text).strip() for text in frame[column]) if column in frame else ("",) * len(frame)
