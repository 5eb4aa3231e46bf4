"""The readers: users' files, opened with bounds, and everything that is wrong with them at once."""

from fieldmap.read import archives, columns, files, headers, layers
from fieldmap.read.delimited import read_delimited
from fieldmap.read.inputs import read_covariates, read_inputs
from fieldmap.read.layers import read_boundary, read_no_spread
from fieldmap.read.plan import (
    PLAN_FILE,
    file_digests,
    inputs_told,
    named_files,
    not_toml,
    read_plan,
)
from fieldmap.read.samples import SampleTable, read_samples

__all__ = [
    "PLAN_FILE", "SampleTable", "archives", "columns", "file_digests", "files", "headers", "inputs_told",
    "layers", "named_files", "not_toml", "read_boundary", "read_covariates", "read_delimited", "read_inputs",
    "read_no_spread", "read_plan", "read_samples",
]  # fmt: skip
