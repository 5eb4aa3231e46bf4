"""What a product brings to the ground beside the nitrogen that serves the crop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldmap.agronomy import Product


@dataclass(frozen=True)
class Brought:
    """All nitrogen of a product rate, whenever it acts, and its P2O5 and K2O, kg/ha."""

    total_n_kg_ha: float
    p2o5_kg_ha: float
    k2o_kg_ha: float

    @classmethod
    def by(cls, product_kg_ha: float, product: Product) -> Brought | None:
        """What a product rate brings in all.

        Not what the crop has of it: of P2O5 and K2O as of nitrogen a part only serves the first crop.

        Parameters
        ----------
        product_kg_ha
            What is spread.
        product
            Its analysis.

        Returns
        -------
        Brought or None
            None for a mineral product with nitrogen alone, whose rate says it all.

        References
        ----------
        By definition; analyses from the table of products, with the source of each.

        Examples
        --------
        2 t of meat-and-bone meal of 7.9 % N and 10.3 % P2O5.

        >>> from fieldmap import agronomy
        >>> meal, urea = (agronomy.find(name, agronomy.products()) for name in ("meat-and-bone meal", "urea"))
        >>> Brought.by(2000.0, meal)
        Brought(total_n_kg_ha=158.0, p2o5_kg_ha=206.0, k2o_kg_ha=0.0)
        >>> Brought.by(200.0, urea) is None
        True
        """
        if not product.organic and product.p2o5_pct == product.k2o_pct == 0:
            return None
        shares = (product.nitrogen_pct, product.p2o5_pct, product.k2o_pct)
        return cls(*(product_kg_ha * share / 100.0 for share in shares))
