"""Clipped frames → dry biomass; duplicates, outliers, positions."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from fieldmap import agronomy
from fieldmap.errors import InputError, Problem
from fieldmap.field import WGS84
from fieldmap.stand.weighing import LIMITS, dry_biomass, dry_share, numbers_of, texts_of

if TYPE_CHECKING:
    import datetime as dt

    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from fieldmap.errors import Counted
    from fieldmap.field import Field
    from fieldmap.read import SampleTable


SAMPLES_MIN = 3  # fewer do not even give a mean with an error
GPS_ERROR_M = 10.0  # a sample this far outside the boundary is still taken as a sample of the field
SAME_PLACE_M = 0.5
DENSE = 2_000  # samples; nobody clips as many
DRY_LOW_KG_HA = LIMITS[
    "dry_low_kg_ha"
]  # a stand whose median weighs less than this was weighed in other units
ONE_ROUND_D = agronomy.values_of("dates")[
    "one_sampling_d"
]  # no farther apart, and it is one sampling of the field
NITROGEN_LOW_PCT = agronomy.values_of("nitrogen")["low_pct"]  # even straw holds more


@dataclass(frozen=True)
class Samples:
    """The samples of a field, n of them, in its CRS.

    Parameters
    ----------
    place, number
        What their file counts, ``"row"`` or ``"feature"``, and the number of each, shape (n,).
    label
        The name the user gave it, or its number, shape (n,).
    coords_m
        Easting and northing, shape (n, 2).
    dry_kg_ha
        Dry biomass, shape (n,).
    nitrogen_pct, legume_pct, weed_pct
        % of dry weight, NaN where not given, shape (n,).
    dry_share
        Dry over fresh weight of what was dried, NaN where a frame was not weighed fresh, shape (n,).
    species, stage
        The sample's own species and stage, "" where not given, shape (n,).
    block
        Number of the block each belongs to, shape (n,).
    warnings
        What a person should know about them.
    sampled
        The last day on which they were clipped; None where their file has no dates.
    earlier
        The samplings of the same field before this one, oldest first.
    """

    place: Counted
    number: tuple[int, ...]
    label: tuple[str, ...]
    coords_m: NDArray[np.float64]
    dry_kg_ha: NDArray[np.float64]
    nitrogen_pct: NDArray[np.float64]
    legume_pct: NDArray[np.float64]
    weed_pct: NDArray[np.float64]
    dry_share: NDArray[np.float64]
    species: tuple[str, ...]
    stage: tuple[str, ...]
    block: NDArray[np.int64]
    warnings: tuple[str, ...]
    sampled: dt.date | None = None
    earlier: tuple[Samples, ...] = ()

    def __len__(self) -> int:
        return len(self.number)


def place_samples(table: SampleTable, field: Field) -> Samples:
    """Weigh and place the samples of a field: those of the last sampling, the earlier ones beside them.

    Raises
    ------
    InputError
        With a problem for every row whose weights, shares, date or position cannot be right.
    """
    rounds, problems = _rounds(table)
    placed = []
    for part in rounds:
        samples, faults = _place(part, field)
        placed.append(samples)
        problems += faults
    problems += _too_few(rounds[-1])
    if problems:
        raise InputError(*problems)
    latest, earlier = placed[-1], tuple(placed[:-1])
    missing = {int(k) for one in earlier for k in one.block} - {int(k) for k in latest.block}
    left_out = tuple(
        f"Block {field.blocks[number].name} has samples of an earlier date only: the map takes those of "
        f"{latest.sampled}, from the other blocks."
        for number in sorted(missing)
    )
    return replace(latest, earlier=earlier, warnings=(*latest.warnings, *left_out))


def _rounds(table: SampleTable) -> tuple[list[SampleTable], list[Problem]]:
    """The samplings of a table, oldest first, and rows that leave open to which they belong."""
    days = table.frame["sampled"]
    if days.isna().all():
        return [table], []
    undated = [
        table.problem(
            row,
            "sampled is empty, and other samples have a date",
            "a date for every sample is expected",
            "Fill it in",
        )
        for row in table.frame.index[days.isna()]
    ]
    known = days.dropna().sort_values()
    number = (known.diff() > pd.Timedelta(days=ONE_ROUND_D)).cumsum().reindex(table.frame.index)
    return [
        replace(table, frame=table.frame[number == each]) for each in sorted(number.dropna().unique())
    ], undated


def _place(table: SampleTable, field: Field) -> tuple[Samples, list[Problem]]:
    """Weigh and place one sampling, with what cannot be right."""
    frame = table.frame.to_crs(field.crs)
    coords_m = shapely.get_coordinates(frame.geometry.to_numpy())
    dry_kg_ha, weight_problems = dry_biomass(table)
    block, place_problems, place_warnings = _blocks_of(table, coords_m, field)
    problems = [
        *weight_problems,
        *_share_problems(table),
        *_too_light(table, dry_kg_ha),
        *_fractions(table),
        *place_problems,
        *_same_place(table, coords_m),
    ]
    days = frame["sampled"].dropna()
    samples = Samples(
        place=table.place,
        number=tuple(frame.index.tolist()),
        label=tuple(
            text or str(number) for text, number in zip(texts_of(frame, "sample"), frame.index, strict=True)
        ),
        coords_m=coords_m,
        dry_kg_ha=dry_kg_ha,
        nitrogen_pct=numbers_of(frame, "nitrogen_pct"),
        legume_pct=numbers_of(frame, "legume_pct"),
        weed_pct=numbers_of(frame, "weed_pct"),
        dry_share=dry_share(table),
        species=texts_of(frame, "species"),
        stage=texts_of(frame, "stage"),
        block=block,
        warnings=(*table.warnings, *place_warnings, *([] if problems else _outliers(table, dry_kg_ha))),
        sampled=days.max().date() if len(days) else None,
    )
    return samples, problems


def _too_few(table: SampleTable) -> list[Problem]:
    if len(table.frame) >= SAMPLES_MIN:
        return []
    return [
        Problem(
            table.file,
            f"it holds {len(table.frame)} samples",
            f"at least {SAMPLES_MIN} are expected, 8 for a map and some 20 for a good one",
            "Clip more samples",
        )
    ]


def _too_light(table: SampleTable, dry_kg_ha: NDArray[np.float64]) -> list[Problem]:
    """A whole stand of next to nothing, but not nothing: grams in a column of kilograms or the like."""
    weighed = dry_kg_ha[dry_kg_ha > 0]
    if len(weighed) == 0 or np.median(weighed) >= DRY_LOW_KG_HA:
        return []
    return [
        Problem(
            table.file,
            f"the samples come to {np.median(weighed):.2g} kg/ha of dry biomass at the median",
            f"a stand of at least {DRY_LOW_KG_HA:.0f} kg/ha is expected",
            "Check the units of the weights and of the frame",
        )
    ]


def _fractions(table: SampleTable) -> list[Problem]:
    """%N given as a fraction of one."""
    return [
        table.problem(
            row,
            f"nitrogen_pct is {value:g}",
            "per cent of dry weight is expected, such as 2.7",
            "Multiply fractions by 100",
        )
        for row, value in zip(table.frame.index, numbers_of(table.frame, "nitrogen_pct"), strict=True)
        if 0 < value < NITROGEN_LOW_PCT
    ]


def _share_problems(table: SampleTable) -> list[Problem]:
    total = np.nan_to_num(numbers_of(table.frame, "legume_pct")) + np.nan_to_num(
        numbers_of(table.frame, "weed_pct")
    )
    return [
        table.problem(
            row,
            f"legume_pct and weed_pct add up to {share:g} %",
            "shares of dry weight add up to at most 100 %",
            "Correct the shares",
        )
        for row, share in zip(table.frame.index, total, strict=True)
        if share > 100.0001
    ]


def _blocks_of(
    table: SampleTable, coords_m: NDArray[np.float64], field: Field
) -> tuple[NDArray[np.int64], list[Problem], list[str]]:
    """The block of each sample, by name where given, else by position; far ones are problems."""
    points = shapely.points(coords_m)
    distance_m = np.array([shapely.distance(block.geometry, points) for block in field.blocks])
    nearest_m = distance_m.min(axis=0)
    names = [block.name for block in field.blocks]
    block = distance_m.argmin(axis=0)
    swapped = _swapped(table, nearest_m, field)
    problems, warnings = list(swapped), []
    for i, (row, given) in enumerate(zip(table.frame.index, texts_of(table.frame, "block"), strict=True)):
        if given and given not in names:
            problems.append(
                table.problem(
                    row,
                    f'block "{given}" is not in the boundary',
                    f"one of {', '.join(names)} is expected",
                    "Correct the name or leave it empty",
                )
            )
        elif nearest_m[i] > GPS_ERROR_M and not swapped:
            problems.append(
                table.problem(
                    row,
                    f"the sample lies {_distance(nearest_m[i])} outside the boundary",
                    f"samples inside it, or within {GPS_ERROR_M:g} m for the GPS's error, are expected",
                    "Correct its position or remove it",
                )
            )
        elif 0 < nearest_m[i] <= GPS_ERROR_M:
            warnings.append(
                f"{table.file}, {table.place} {row}: the sample lies {nearest_m[i]:.1f} m outside the boundary, "
                "within the GPS's error; it is kept."
            )
        if given in names:
            block[i] = names.index(given)
    return block, problems, warnings


def _distance(metres: float) -> str:
    return f"{metres / 1000:,.0f} km" if metres >= 10_000 else f"{metres:,.0f} m"


def _swapped(table: SampleTable, nearest_m: NDArray[np.float64], field: Field) -> list[Problem]:
    """Longitude and latitude exchanged: every sample is far, and exchanging them brings all home."""
    frame: GeoDataFrame = table.frame
    if len(frame) == 0 or nearest_m.min() < 1000.0:
        return []
    lonlat = shapely.get_coordinates(frame.to_crs(WGS84).geometry.to_numpy())
    if np.abs(lonlat[:, 0]).max() > 90.0:
        return []
    exchanged = pd.Series(shapely.points(lonlat[:, ::-1]))
    points = type(frame)(geometry=exchanged, crs=WGS84).to_crs(field.crs).geometry.to_numpy()
    if shapely.distance(field.outline, points).max() > GPS_ERROR_M:
        return []
    return [
        Problem(
            table.file,
            "longitude and latitude are swapped here or in the boundary: exchanged, all samples fall into the field",
            "longitude is the position east or west, latitude north or south, in both files",
            "See which of the two files has them the wrong way round, and exchange them there",
        )
    ]


def _same_place(table: SampleTable, coords_m: NDArray[np.float64]) -> list[Problem]:
    if len(coords_m) > DENSE:
        return []  # a sensor's layer, whose points may well lie on one another
    pairs = cKDTree(coords_m).query_pairs(SAME_PLACE_M)
    return [
        Problem(
            table.file,
            f"two samples stand within {SAME_PLACE_M:g} m of each other",
            "every sample has its own position",
            "Correct the position, or average frames clipped at one place into one row",
            part=f"{table.place}s {table.frame.index[i]} and {table.frame.index[j]}",
        )
        for i, j in sorted(pairs)
    ]


def _outliers(table: SampleTable, dry_kg_ha: NDArray[np.float64]) -> list[str]:
    """Samples far from the rest: kept, but a person should look (median ± 4 robust standard deviations)."""
    middle = np.median(dry_kg_ha)
    spread = 1.4826 * np.median(np.abs(dry_kg_ha - middle))
    if len(dry_kg_ha) < 8 or spread == 0:
        return []
    return [
        f"{table.file}, {table.place} {row}: {value:,.0f} kg/ha of dry biomass is far from the median "
        f"{middle:,.0f} kg/ha; it is kept: check the weighing."
        for row, value in zip(table.frame.index, dry_kg_ha, strict=True)
        if abs(value - middle) > 4 * spread
    ]
