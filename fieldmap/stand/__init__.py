"""The stand: clipped samples weighed and placed, and the surfaces of biomass and %N drawn from them."""

from fieldmap.stand import thirds
from fieldmap.stand.covariates import prepare_covariates
from fieldmap.stand.draws import draw
from fieldmap.stand.drying import refuse_wet
from fieldmap.stand.nitrogen import nitrogen_of_samples
from fieldmap.stand.samples import Samples, place_samples
from fieldmap.stand.samplings import Growth, Sampling, follow_samplings, growth_since
from fieldmap.stand.stand import Stand
from fieldmap.stand.strata import Strata, cover_strata
from fieldmap.stand.surfaces import Surface, map_biomass, map_nitrogen, where_next

__all__ = [
    "Growth",
    "Samples",
    "Sampling",
    "Stand",
    "Strata",
    "Surface",
    "cover_strata",
    "draw",
    "follow_samplings",
    "growth_since",
    "map_biomass",
    "map_nitrogen",
    "nitrogen_of_samples",
    "place_samples",
    "prepare_covariates",
    "refuse_wet",
    "thirds",
    "where_next",
]
