"""Where the invented farm of the demo is."""

from __future__ import annotations

from pathlib import Path

from fieldmap.errors import InputError, Problem


def sample_farm() -> list[Path]:
    """The plan folders of the invented farm: in the package when they are there, beside it in a checkout.

    Raises
    ------
    InputError
        Where the package was installed without them.
    """
    package = Path(__file__).parent
    for place in (package / "sample_geo", package.parent / "sample_geo"):
        found = sorted(place.glob("*/plan.toml"))
        if found:
            return [file.parent for file in found]
    raise InputError(
        Problem(
            "sample_geo", "the invented farm is not installed", "it comes with a checkout of the project",
            "Copy the folder sample_geo beside the package, or start a plan of your own",
        )
    )  # fmt: skip
