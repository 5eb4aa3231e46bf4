"""Ten plans of the kinds whose advice was once wrong, as edits of the small plan."""

import datetime as dt

import numpy as np
from support.small_fields import random_places

XY = random_places(24, 1)
EAST = np.clip((XY[:, 0] - 100.0) / 100.0, 0.0, 1.0)
SINE = '\n[weather]\nmean = "11 degC"\namplitude = "12 delta_degC"\ncoldest = 2026-01-25\nirrigated = true\n'
WIDE = (('rate_max = "600 kg/ha"', 'rate_max = "20000 kg/ha"'), ('rate_step = "10 kg/ha"', 'rate_step = "100 kg/ha"'),
        ('rate_min = "20 kg/ha"', 'rate_min = "100 kg/ha"'))  # fmt: skip


def crop(name, planted, harvested, more=""):
    days = f"planted = {dt.date.fromisoformat(planted)}\nharvested = {dt.date.fromisoformat(harvested)}"
    return (
        (
            'name = "sweet corn"\nplanted = 2026-05-24\nharvested = 2026-08-14',
            f'name = "{name}"\n{days}{more}',
        ),
    )


def need(rate):
    return (('need = "220 kg/ha"', f'need = "{rate} kg/ha"'),)


def product(name):
    return (('product = "urea"', f'product = "{name}"'),)


BEDS = '\nneed_per = "bed"\nbed_width = "1 m"\nbed_spacing = "2 m"\non_bed_share = 0.5'
RYE = (
    ('species = "hairy vetch"', 'species = ["hairy vetch", "cereal rye"]'),
    ('stage = "bud"', 'stage = ["bud", "anthesis"]'),
)
PLANS = {
    "raw litter before sweet corn": {
        "edits": (*product("poultry litter"), *WIDE, *crop("sweet corn", "2026-05-24", "2026-09-25"), *need(180)),
        "extra": SINE,
    },
    "pellets before tomatoes": {
        "edits": (*product("pelleted poultry litter"), *WIDE, *crop("tomato", "2026-05-28", "2026-09-20")),
        "extra": SINE,
    },
    "pepper on plastic": {
        "edits": crop("pepper", "2026-05-28", "2026-09-20", "\nplastic_laid = 2026-05-24\non_bed_share = 0.6"),
        "extra": SINE,
    },
    "rye heavy in the east": {
        "edits": RYE,
        "extra": SINE,
        "dry_kg_ha": 3000.0 + 5000.0 * EAST,
        "nitrogen_pct": np.round(3.2 - 2.1 * EAST, 2),
    },
    "credit above the need": {"edits": need(40), "extra": SINE, "dry_kg_ha": np.full(24, 6000.0)},
    "need by the bed": {
        "edits": crop("lettuce", "2026-05-30", "2026-07-20", BEDS),
        "extra": SINE,
    },
    "late broccoli": {"edits": crop("broccoli", "2026-06-20", "2026-09-12"), "extra": SINE},
    "feather meal before lettuce": {
        "edits": (*product("feather meal"), *WIDE, *crop("lettuce", "2026-05-24", "2026-07-16"), *need(150)),
        "extra": SINE,
    },
    "a nitrate test before side-dressing": {
        "edits": crop("cabbage", "2026-05-24", "2026-09-10"),
        "extra": SINE
        + '\n[sidedress_test]\nnitrate_n = "18 ppm"\nsampled = 2026-06-20\n'
        + "\n[[application]]\ndate = 2026-05-22\nshare = 0.3\n"
        + '\n[[application]]\ndate = 2026-06-24\nshare = 0.7\nmethod = "side-dress"\n',
    },
    "rolled, old samples, no weather": {
        "edits": (
            ('placement = "incorporated"', 'placement = "surface"\nended_by = "rolled"'),
            ('stage = "bud"', 'stage = "full bloom"'),
            ('file = "samples.csv"', 'file = "samples.csv"\nsampled = 2026-04-12'),
        ),
    },
}  # fmt: skip


def list_of(result):
    """The list of a plan with the nitrogen rates of its zones, as it is kept."""
    rates = " then ".join(
        ", ".join(f"{zone.rate_n_kg_ha:.0f}" for zone in one.spread.zone_map.zones)
        for one in result.applications
    )
    return "\n".join((f"kg N/ha by zone: {rates}", *(text.line for text in result.action_texts))) + "\n"
