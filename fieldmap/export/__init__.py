"""The files of a run: one writer a format, all or nothing, and the way back from our own files."""

from fieldmap.export import registry
from fieldmap.export.describe import describe
from fieldmap.export.folder import refuse_existing, write_folder
from fieldmap.export.formats.csv import defused
from fieldmap.export.formats.geojson import cut_at_180
from fieldmap.export.formats.geotiff import bands_of
from fieldmap.export.formats.result_json import figures
from fieldmap.export.read_back import FieldFolder, is_written, read_field_folder
from fieldmap.export.reproducible import versions
from fieldmap.export.rows import part_rows, sample_rows

__all__ = [
    "FieldFolder", "bands_of", "cut_at_180", "defused", "describe", "figures", "is_written", "part_rows",
    "read_field_folder", "refuse_existing", "registry", "sample_rows", "versions", "write_folder",
]  # fmt: skip
