"""Column headers as people write them: which column of a sample table is meant, and from which unit.

A header is understood whole or not at all: every word of it must be known, and together they must say one column.
Words are the usual ones of English, German, French, Spanish, Italian and Portuguese field sheets (common practice, no
source). A unit is read where it is set apart, as in ``Fresh weight (lb)``, ``Fresh weight, lb`` or ``% legume``; one
that is missing, unknown or means two things, as a ton does, is never guessed.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fieldmap.errors import Problem
from fieldmap.read.columns import COLUMNS, NUMBERS, POSITIONS, nearest_columns
from fieldmap.read.delimited import TextTable, parse_number
from fieldmap.read.files import names, quoted
from fieldmap.units import HA_PER_ACRE, KG_HA_PER_LB_AC, KG_PER_LB, M_PER_FOOT

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from typing import Final

    import pandas as pd


_WORDS: Final = {
    "fresh": "fresh wet green frisch frische frisches frais fraiche fraiches fresco fresca freschi umido umida",
    "dry": "dry dried trocken trockene trockenes sec seche seches seco seca secco secca essiccato essiccata",
    "subsample": "subsample aliquot teilprobe unterprobe sousechantillon submuestra sottocampione subcampione "
    "subamostra",
    "frame": "frame quadrat quadrats hoop rahmen zahlrahmen cadre quadro quadrado cuadro cuadrado cuadrante marco "
    "riquadro telaio moldura cadrat",
    "area": "area size flache grosse surface superficie",
    "sample": "sample samples probe proben echantillon muestra campione campioni amostra clip",
    "number": "no nr num number nummer numero numer id code",
    "weight": "weight weights wt mass gewicht masse poids peso massa masa matter matiere materia sostanza substanz "
    "biomass biomasse biomasa biomassa aufwuchs",
    "total": "total totale gesamt insgesamt whole all entire totales totaux tutto",
    "nitrogen": "nitrogen n stickstoff azote nitrogeno azoto nitrogenio",
    "legume": "legume legumes leguminose leguminosen leguminosa leguminosas legumineuse legumineuses leguminous "
    "leguminosi",
    "weed": "weed weeds unkraut unkrauter beikraut beikrauter adventice adventices maleza malezas "
    "infestante infestanti infestantes malerbe daninhas",
    "content": "content share gehalt anteil part proportion fraction teneur contenido contenuto teor percent "
    "percentage prozent pourcentage porcentaje percentuale porcentagem percentagem conc concentration",
    "latitude": "lat latitude breite breitengrad latitud latitudine",
    "longitude": "lon long lng longitude lange langengrad longitud longitudine",
    "easting": "easting ostwert rechtswert",
    "northing": "northing nordwert hochwert",
    "gps": "gps wgs84 decimal dezimal decimale geographische geogr coordinate koordinate",
    "note": "note notes comment comments remark remarks bemerkung bemerkungen kommentar kommentare notiz notizen "
    "remarque remarques commentaire commentaires observation observations observacion observaciones "
    "comentario comentarios nota notas osservazione osservazioni commento commenti observacao observacoes",
    "date": "date datum fecha data",
    "sampling": "sampling sampled clipping clipped probenahme prelevement muestreo campionamento prelievo amostragem",
    "species": "species art arten espece especes especie especies specie",
    "": "of the in de du des la le les del della dello dei di da do dos das der die im en per d l and",
    "block": "block schlag bloc parcelle bloque blocco bloco talhao",
}  # fmt: skip
_CONCEPTS: Final = {word: {concept} for concept, words in _WORDS.items() for word in words.split()} | {
    "frischmasse": {"fresh", "weight"},
    "frischgewicht": {"fresh", "weight"},
    "trockenmasse": {"dry", "weight"},
    "trockengewicht": {"dry", "weight"},
    "trockensubstanz": {"dry", "weight"},
    "gesamtgewicht": {"total", "weight"},
    "gesamtfrischmasse": {"total", "fresh", "weight"},
    "rahmenflache": {"frame", "area"},
    "probeflache": {"frame", "area"},
    "stickstoffgehalt": {"nitrogen", "content"},
    "leguminosenanteil": {"legume", "content"},
    "unkrautanteil": {"weed", "content"},
    "beikrautanteil": {"weed", "content"},
    "probennummer": {"sample", "number"},
    "probennr": {"sample", "number"},
    "probenahmedatum": {"sampling", "date"},
}

# What is meant, by the words that must be there and those that may be.
_MEANT: Final[tuple[tuple[str, set[str], set[str]], ...]] = (
    ("subsample fresh", {"subsample", "fresh"}, {"weight"}),
    ("subsample dry", {"subsample", "dry"}, {"weight"}),
    ("fresh", {"fresh"}, {"weight", "total", "sample"}),
    ("dry", {"dry"}, {"weight", "total", "sample"}),
    ("frame", {"frame"}, {"area", "sample"}),
    ("frame", {"sample", "area"}, set()),
    ("area", {"area"}, set()),
    ("nitrogen_pct", {"nitrogen"}, {"content", "total"}),
    ("legume_pct", {"legume"}, {"content"}),
    ("weed_pct", {"weed"}, {"content"}),
    ("latitude", {"latitude"}, {"gps"}),
    ("longitude", {"longitude"}, {"gps"}),
    ("easting", {"easting"}, {"gps"}),
    ("northing", {"northing"}, {"gps"}),
    ("note", {"note"}, set()),
    ("sampled", {"date"}, {"sampling", "sample"}),
    ("sampled", {"sampling"}, {"date"}),
    ("species", {"species"}, set()),
    ("block", {"block"}, {"number"}),
    ("sample", {"sample"}, {"number"}),
)

_GRAMS: Final = {"g": 1.0, "kg": 1000.0, "lb": 1000.0 * KG_PER_LB, "oz": 1000.0 * KG_PER_LB / 16.0}
_AREAS: Final = {"m2": 1.0, "cm2": 1e-4, "ft2": M_PER_FOOT**2, "in2": (M_PER_FOOT / 12.0) ** 2}
_YIELDS: Final = {
    "kg/ha": 1.0, "g/m2": 10.0, "kg/m2": 1e4, "t/ha": 1000.0, "dt/ha": 100.0, "lb/ac": KG_HA_PER_LB_AC,
    "kg/ac": 1.0 / HA_PER_ACRE,
}  # fmt: skip
_SHARES: Final = {"%": 1.0}
_UNITS: Final = {*_GRAMS, *_AREAS, *_YIELDS, *_SHARES, "g/kg", "mg/kg", "deg", "m", "ft"}
_SPELLED: Final = {
    "gram": "g", "grams": "g", "gramm": "g", "gr": "g", "lbs": "lb", "pound": "lb", "pounds": "lb", "ounce": "oz",
    "ounces": "oz", "qm": "m2", "sqm": "m2", "sq m": "m2", "sq ft": "ft2", "sqft": "ft2", "sq in": "in2", "pct": "%",
    "percent": "%", "prozent": "%", "lb/acre": "lb/ac", "lbs/ac": "lb/ac", "lbs/acre": "lb/ac", "kg/acre": "kg/ac",
    "degrees": "deg", "degree": "deg", "grad": "deg", "°": "deg", "% dm": "%", "% ts": "%", "% of dm": "%",
}  # fmt: skip

# The column that takes what is meant in each unit, with the factor that brings it there.
_TAKES: Final = {
    "fresh": {unit: ("fresh_g", factor) for unit, factor in _GRAMS.items()} | {"lb": ("fresh_lb", 1.0)},
    "dry": {unit: ("dry_g", factor) for unit, factor in _GRAMS.items()}
    | {"lb": ("dry_lb", 1.0)}
    | {unit: ("dry_kg_ha", factor) for unit, factor in _YIELDS.items()}
    | {"lb/ac": ("dry_lb_ac", 1.0)},
    "subsample fresh": {unit: ("subsample_fresh_g", factor) for unit, factor in _GRAMS.items()},
    "subsample dry": {unit: ("subsample_dry_g", factor) for unit, factor in _GRAMS.items()},
    "frame": {unit: ("frame_m2", factor) for unit, factor in _AREAS.items()} | {"ft2": ("frame_ft2", 1.0)},
    "area": {unit: ("frame_m2", factor) for unit, factor in _AREAS.items()} | {"ft2": ("frame_ft2", 1.0)},
    "nitrogen_pct": {"%": ("nitrogen_pct", 1.0), "g/kg": ("nitrogen_pct", 0.1)},
    "legume_pct": {"%": ("legume_pct", 1.0)},
    "weed_pct": {"%": ("weed_pct", 1.0)},
    "latitude": {"": ("latitude", 1.0), "deg": ("latitude", 1.0)},
    "longitude": {"": ("longitude", 1.0), "deg": ("longitude", 1.0)},
    "easting": {"": ("easting", 1.0)},
    "northing": {"": ("northing", 1.0)},
}


@dataclass(frozen=True)
class Taken:
    """A column that was taken for another: its header, the known column, its unit and the factor to that of ours."""

    header: str
    column: str
    unit: str = ""
    factor: float = 1.0

    def __str__(self) -> str:
        converted = "" if self.factor == 1.0 else f", converted from {self.unit}"
        return f"column {quoted(self.header)} was read as {self.column}{converted}"


def read_header(header: str) -> tuple[str, str] | None:
    """What a header means and its unit (one of ours, empty where there is none); None where it is not understood.

    >>> read_header("Fresh weight, total g")
    ('fresh', 'g')
    >>> read_header("Quadrat (m²)")
    ('frame', 'm2')
    >>> read_header("Anzahl Kühe") is None
    True
    """
    text, unit = _split_unit(_plain(header))
    words = re.findall(r"[^\W_]+", text)
    if not all(word in _CONCEPTS for word in words):
        return None
    meant = {concept for word in words for concept in _CONCEPTS[word]} - {""}
    if "sample" in meant and "n" in words:  # a number, not nitrogen
        meant = meant - {"nitrogen"} | {"number"}
    for name, needed, may in _MEANT:
        if needed <= meant <= needed | may:
            return name, unit
    return None


def _plain(header: str) -> str:
    """Lower case without accents; ``m²`` is ``m2``, ``n°`` is ``no``, parts of a word that are hyphened are one."""
    text = header.lower().replace("ß", "ss").replace("n°", "no").replace("n.º", "no").replace("№", "no")
    text = unicodedata.normalize("NFKD", text)
    text = "".join(sign for sign in text if not unicodedata.combining(sign))
    text = re.sub(r"\b(sub|sous)[ -]+(?=sample|echantillon|muestra|amostra)", r"\1", text)
    return (
        re.sub(r"\s*[ .·*]?\s*\b(ha|m2|ac|kg)\s*(?:\^?-1|−1)", r"/\1", text)
        .replace("m-2", "/m2")
        .replace(" /m2", "/m2")
    )


def _split_unit(text: str) -> tuple[str, str]:
    """A header without its unit, and the unit; one in brackets that is not known stays as it is written."""
    bracket = re.search(r"[(\[]([^()\[\]]*)[)\]]", text)
    if bracket:
        inside = bracket[1].strip()
        rest = f"{text[: bracket.start()]} {text[bracket.end() :]}"
        if _unit(inside) is None:
            words, among = _split_unit(inside)
            if among in {"", *_UNITS} and all(one in _CONCEPTS for one in re.findall(r"[^\W_]+", words)):
                before, after = text[: bracket.start()], text[bracket.end() :]
                return _split_unit(f"{before} {words} {after}, {among}".rstrip(", "))
        return rest, _unit(inside) or inside
    if "%" in text:
        return text.replace("%", " "), "%"
    if "_" in text:  # a name, not words: its unit would be a guess
        return text, ""
    for tail in (r"(?:^|[\s,;:]|\bin )\s*(sq\.? ?\w+)$", r"[\s,;:/]\s*([^\s,;:]+)$"):
        match = re.search(tail, text)
        unit = _unit(match[1]) if match else None
        if match and (unit is not None or re.fullmatch(r"[a-z]+/[a-z]+2?", match[1])):
            # One that is not known is told by its name.
            return re.sub(r"\bin$", "", text[: match.start()].strip()), unit or match[1]
    return text, ""


def _unit(text: str) -> str | None:
    """A unit as we write it; None for what is none of ours."""
    text = re.sub(r"\s*/\s*", "/", text.strip().strip(".")).replace("sq.", "sq").replace("^", "")
    text = re.sub(r"^in ", "", text)
    text = _SPELLED.get(text, text)
    return text if text in _UNITS else None


@dataclass(frozen=True)
class Understood:
    """A table under the names of known columns.

    Parameters
    ----------
    table
        The table, numbers converted.
    taken
        What was taken for what.
    unclear
        Headers that could be a known column but for their unit or a rival, with the problem of each.
    """

    table: TextTable
    taken: tuple[Taken, ...]
    unclear: dict[str, Problem]


def understand(table: TextTable, known: Collection[str] = (*COLUMNS, *POSITIONS)) -> Understood:
    """Find out what the columns of a table mean.

    A column under a known name stays as it is. Where two could be one column of numbers, or a unit is missing or does
    not do, they stay as they are and are unclear. Of two for a text the first is taken.
    """
    given = [str(name) for name in table.cells]
    taken: dict[str, list[Taken]] = {}
    unclear: dict[str, Problem] = {}
    for header in given:
        found = None if header in known else read_header(header)
        if found is None:
            continue
        meant, unit = found
        takes = _TAKES.get(meant, {"": (meant, 1.0)})
        if unit in takes:
            column, factor = takes[unit]
            if column in known:
                taken.setdefault(column, []).append(Taken(header, column, unit, factor))
        elif meant != "area" and (
            unit or not nearest_columns(header, [name for name in known if name not in given])
        ):
            unclear[header] = _wrong_unit(table.file, header, unit, [one for one in takes if one])
    clear = []
    for column, several in taken.items():
        if column in given:  # under its own name: nothing is to be found out
            continue
        if len(several) == 1 or not (column in NUMBERS or column in POSITIONS):
            clear.append(several[0])
        else:
            headers = [one.header for one in several]
            unclear.update(dict.fromkeys(headers, _two_readings(table.file, column, headers)))
    return Understood(_renamed(table, clear), tuple(clear), unclear)


def understand_layer(file: str, attributes: pd.DataFrame) -> Understood:
    """As `understand`, for the attributes of a layer of points as text, with the points' longitude and latitude."""
    return understand(TextTable(file, "feature", attributes))


def _renamed(table: TextTable, taken: Sequence[Taken]) -> TextTable:
    cells = table.cells.copy()
    for one in taken:
        if one.factor != 1.0:
            cells[one.header] = [_converted(text, one.factor, table) for text in cells[one.header]]
    return replace(table, cells=cells.rename(columns={one.header: one.column for one in taken}))


def _converted(text: str, factor: float, table: TextTable) -> str:
    """A number brought to the unit of its column; what is none stays as it is, and is told later."""
    value = parse_number(text, decimal_comma=table.decimal_comma)
    return text if value is None or not abs(value) < float("inf") else f"{value * factor:.10g}"


def _wrong_unit(file: str, header: str, unit: str, units: Sequence[str]) -> Problem:
    found = f"its unit is {quoted(unit)}" if unit else "it has no unit"
    if not units:
        expected, action = "no unit is expected", "Take the unit out of the header"
    else:
        expected = f"one of {', '.join(units)} is expected" if len(units) > 1 else f"{units[0]} is expected"
        bare = header.split("(")[0].strip()
        action = f"Write the unit into the header, such as {quoted(f'{bare} ({units[0]})')}"
        if unit:
            action = "Convert the column and write its unit into the header"
    return Problem(file, f"column {quoted(header)} can be read, but {found}", expected, action)


def _two_readings(file: str, column: str, headers: Sequence[str]) -> Problem:
    return Problem(file, f"columns {names(headers)} could each be {column}", "one of them is expected",
                   f"Name the right one {column} and delete or rename the other")  # fmt: skip
