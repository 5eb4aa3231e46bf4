"""The files of a run: one writer a format, all or nothing, and the way back from our own files."""

from fieldmap.export.describe import describe
from fieldmap.export.folder import refuse_existing, write_folder
from fieldmap.export.formats.csv import defused
from fieldmap.export.formats.geojson import cut_at_180
from fieldmap.export.formats.result_json import figures
from fieldmap.export.read_back import FieldFolder, is_written, read_field_folder
from fieldmap.export.registry import (
    Format,
    application_folder,
    file_names,
    files_of,
    formats_in,
    formats_of_application,
    formats_offered,
    write_file,
)
from fieldmap.export.reproducible import versions

__all__ = [
    "FieldFolder",
    "Format",
    "application_folder",
    "cut_at_180",
    "defused",
    "describe",
    "figures",
    "file_names",
    "files_of",
    "formats_in",
    "formats_of_application",
    "formats_offered",
    "is_written",
    "read_field_folder",
    "refuse_existing",
    "versions",
    "write_file",
    "write_folder",
]
