"""What a nitrate strip in an extract of soil says of the nitrate-N in the soil."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap import agronomy

if TYPE_CHECKING:
    from fieldmap.plan import SidedressTest


STRIP = agronomy.values_of("nitrate_strip")


def strip_nitrate_n_mg_kg(test: SidedressTest) -> tuple[float, tuple[str, ...]]:
    """Nitrate-N of dry soil, mg/kg, from the strip of a test, and its sources.

    Not for a strip dipped into water squeezed from the soil, nor for one read in the sun or after its minute.

    Parameters
    ----------
    test
        With what the strip reads, nitrate or nitrate-N, mg/l; and texture and moisture of the soil, for 1 part of it
        to 3 of 0.01 M calcium chloride by volume, or the millilitres of solution for each gram of dry soil.

    Returns
    -------
    nitrate_n_mg_kg, sources
        By volume the strip's nitrate over a factor of 1.7 to 2.6; by weight nitrate-N times the millilitres.

    References
    ----------
    By weight: by definition (definition). By volume: from memory (strip_memory), beside the published rule that
    5-30 mg/kg are roughly 10-60 mg/l of nitrate. A strip is good to 20 % (from memory).

    Examples
    --------
    40 mg/l of nitrate in the extract of a moist loam are 20 mg/kg of nitrate-N. By weight, 2 ml to a gram: 18.

    >>> import datetime as dt
    >>> from fieldmap.plan import SidedressTest
    >>> told = {"sampled": dt.date(2026, 6, 20), "strip": "40 ppm", "strip_reads": "nitrate"}
    >>> moist = SidedressTest.model_validate(told | {"texture": "loam", "moisture": "moist"})
    >>> weighed = SidedressTest.model_validate(told | {"solution_per_soil": 2.0})
    >>> [round(strip_nitrate_n_mg_kg(test)[0], 1) for test in (moist, weighed)]
    [20.0, 18.1]
    """
    reading = test.strip_ppm or 0.0
    nitrate = reading * STRIP["nitrate_per_n"] if test.strip_reads == "nitrate-N" else reading
    if test.solution_per_soil is not None:
        return nitrate / STRIP["nitrate_per_n"] * test.solution_per_soil, ("definition", "strip_memory")
    return nitrate / STRIP[f"{test.texture}_{test.moisture}"], ("strip_memory",)
