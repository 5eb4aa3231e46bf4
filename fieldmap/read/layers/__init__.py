"""Vector layers: one guarded reader a format."""

from fieldmap.read.layers.checks import is_a, position_fault
from fieldmap.read.layers.layers import ACCEPTED, read_boundary, read_layer, read_no_spread

__all__ = ["ACCEPTED", "is_a", "position_fault", "read_boundary", "read_layer", "read_no_spread"]
