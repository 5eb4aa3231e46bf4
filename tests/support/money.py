"""A response and prices to test with."""

from fieldmap.zones.loss import MoneyLoss

RESPONSE = "\n[response]\na = 10\nb = 0.10\nc = -0.00025\n"


PRICES = '\n[prices]\nproduct = "552 USD/t"\ncrop = "400 USD/t"\n'  # urea, 46 % N: 1.20 USD for a kg of N


def random_money(rng, cells, *, step=10.0):
    """Cells with plateau rates from -50 to 300 kg/ha, doubts up to 80, in two blocks of different recovery."""
    return MoneyLoss.from_rasters(
        rng.uniform(-50, 300, (1, cells)),
        rng.uniform(0, 80, (1, cells)),
        rng.choice([0.02, 0.05], (1, cells)),
        price=rng.uniform(0.1, 2.0),
        step_kg_ha=step,
    )
