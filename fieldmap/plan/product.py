"""What is spread: a product of the table, or one written out with an analysis of its own."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Field, model_validator

from fieldmap import agronomy
from fieldmap.errors import WrongValueError
from fieldmap.plan.quantities import BulkDensity, Line, Percent, Section


class OwnProduct(Section):
    """A product written out in the plan; what it leaves out is taken from the table where that knows the name."""

    name: Line = Field(
        min_length=1,
        max_length=32,
        description="Name of the product, 32 characters at most; a name of the table takes what is left out from "
        "there.",
    )
    nitrogen_pct: Annotated[Percent, Field(gt=0, le=82)] = Field(
        alias="nitrogen", description="Nitrogen by weight, all of it, above 0 and at most 82 %."
    )
    ammonium_pct: Annotated[Percent, Field(le=82)] | None = Field(
        None,
        alias="ammonium",
        description="NH4-N by weight of an organic product, from its analysis: a part of nitrogen. Default: the "
        "table's share for this name, else none.",
    )
    p2o5_pct: Annotated[Percent, Field(le=100)] | None = Field(
        None, alias="p2o5", description="P2O5 by weight. Default: the table's for this name, else 0 %."
    )
    k2o_pct: Annotated[Percent, Field(le=100)] | None = Field(
        None, alias="k2o", description="K2O by weight. Default: the table's for this name, else 0 %."
    )
    carbon_nitrogen: float | None = Field(
        None,
        ge=1,
        le=100,
        description="C:N of the organic part of an organic product that the table does not know, 1 to 100: what it "
        "releases follows from it, roughly (from memory).",
    )
    available: float | None = Field(
        None,
        gt=0,
        le=1,
        description="Share of its nitrogen that serves the crop, above 0 and at most 1, in place of what days, "
        "warmth and placement would make of an organic product. Default: worked out for an organic product, else 1.",
    )
    bulk_density_kg_m3: BulkDensity | None = Field(
        None,
        alias="bulk_density",
        description='Bulk density, such as "750 kg/m3". Default: the table\'s for this name.',
    )
    organic: bool | None = Field(
        None,
        description="Whether its nutrients come from plants or animals. Default: as in the table, or false.",
    )
    raw_manure: bool | None = Field(
        None,
        description="Whether it is raw manure, which needs 90 or 120 days to harvest. Default: the table's for this "
        "name, else false.",
    )

    @model_validator(mode="after")
    def _parts_of_a_whole(self) -> Self:
        if self.ammonium_pct is not None and self.ammonium_pct > self.nitrogen_pct:
            raise WrongValueError(
                f"found ammonium {self.ammonium_pct:g} % and nitrogen {self.nitrogen_pct:g} %",
                "ammonium is a part of nitrogen, which is all of it: look at the analysis for total nitrogen",
            )
        whole = self.nitrogen_pct + (self.p2o5_pct or 0.0) + (self.k2o_pct or 0.0)
        if whole > 100:
            raise WrongValueError(
                f"nitrogen, p2o5 and k2o add up to {whole:g} %",
                "parts of one product by weight, 100 % at most, are expected",
            )
        return self

    @model_validator(mode="after")
    def _acts_in_one_way(self) -> Self:
        base = self._base
        organic = base.organic if self.organic is None else self.organic
        analysed = [name for name, given in self._analysis.items() if given is not None]
        if analysed and self.available is not None:
            raise WrongValueError(
                f"found available beside {' and '.join(analysed)}",
                "available stands in place of what an analysis would give: one of the two is expected",
            )
        if analysed and not organic:
            raise WrongValueError(
                f"found {' and '.join(analysed)} for {self.name}, which is not organic",
                "all nitrogen of a mineral product serves the crop: leave it out, or set organic = true",
            )
        if self.carbon_nitrogen is not None and base.release is not None:
            raise WrongValueError(
                f"found carbon_nitrogen for {base.name}",
                "the table knows what it releases: leave carbon_nitrogen out, and give ammonium from the analysis",
            )
        if organic and base.release is None and self.carbon_nitrogen is None and self.available is None:
            raise WrongValueError(
                f"found {self.name}, organic, whose release no table knows",
                "carbon_nitrogen, the C:N of its organic part, or available is expected, or a name of "
                "fieldmap tables products",
            )
        return self

    @property
    def _analysis(self) -> dict[str, float | None]:
        return {"ammonium": self.ammonium_pct, "carbon_nitrogen": self.carbon_nitrogen}

    @property
    def _base(self) -> agronomy.Product:
        return agronomy.find(self.name, agronomy.products()) or agronomy.Product(
            name=self.name,
            aliases=(),
            nitrogen_pct=self.nitrogen_pct,
            p2o5_pct=0.0,
            k2o_pct=0.0,
            available=1.0,
            organic=False,
            cautions=(),
            sources=(),
        )

    @property
    def entry(self) -> agronomy.Product:
        """It as a row of the table of products, each figure with its source."""
        base = self._base
        told = self.model_dump(exclude={"name", "ammonium_pct", "carbon_nitrogen"})
        own = {key: value for key, value in told.items() if value is not None}
        sources = {**base.source_of, **{key: "your_value" for key in own if key != "organic"}}
        product = replace(base, **own)
        if product.raw_manure:
            product = replace(product, origin="livestock manure")
        if any(value is not None for value in self._analysis.values()):
            share = None if self.ammonium_pct is None else self.ammonium_pct / self.nitrogen_pct
            product = product.analysed(nh4_share=share, carbon_nitrogen=self.carbon_nitrogen)
            if self.ammonium_pct is not None:
                sources["nh4_share"] = "your_value"
            if self.carbon_nitrogen is not None:
                sources["rapid"] = "unknown_organic_memory"
        return replace(product, source_of=sources, sources=tuple(dict.fromkeys(sources.values())))


def _product(found: Any) -> Any:
    """A product as the plan gives it: a name that the table knows, or one written out."""
    if isinstance(found, str) and agronomy.find(found, agronomy.products()) is None:
        raise WrongValueError(f'found "{found}"', agronomy.nearest(found, agronomy.products()))
    return OwnProduct.model_validate(found) if isinstance(found, dict) else found


Product = Annotated[str | OwnProduct, BeforeValidator(_product)]


def product_entry(product: str | OwnProduct) -> agronomy.Product:
    """A product that the plan names, from the table or as written out in the plan."""
    if isinstance(product, str):
        found = agronomy.find(product, agronomy.products())
        assert found is not None  # noqa: S101 - checked on entry
        return found
    return product.entry
