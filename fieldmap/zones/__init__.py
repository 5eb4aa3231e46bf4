"""The zones: levels on the rate step, shapes that a machine can follow, one rate for each."""

from fieldmap.zones.draw import DrawnZones, draw_zones, zone_loss
from fieldmap.zones.levels import LevelSet
from fieldmap.zones.loss import Loss, MoneyLoss
from fieldmap.zones.rates import Part, Zone, ZoneMap, area_numbers, mean_credit, rate_zones
from fieldmap.zones.strips import Strip, place_strips, strips_again
from fieldmap.zones.thin_ground import HighestZone
from fieldmap.zones.width import Width

__all__ = [
    "DrawnZones",
    "HighestZone",
    "LevelSet",
    "Loss",
    "MoneyLoss",
    "Part",
    "Strip",
    "Width",
    "Zone",
    "ZoneMap",
    "area_numbers",
    "draw_zones",
    "mean_credit",
    "place_strips",
    "rate_zones",
    "strips_again",
    "zone_loss",
]
