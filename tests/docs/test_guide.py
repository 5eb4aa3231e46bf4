"""The guide tells what the demo gives, and every page names only what is there."""

import re
from pathlib import Path

import pytest

from fieldmap.report.summary import main_numbers
from fieldmap.units import rate_text

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
GUIDE = (ROOT / "docs" / "guide.md").read_text()


def flat(text):
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


def anchor(heading):
    return re.sub(r"[^\w\- ]", "", heading.strip().lower()).replace(" ", "-")


def test_the_main_numbers_of_the_guide_are_those_of_the_demo(kettle_bend_result):
    for line in main_numbers(kettle_bend_result):
        assert flat(f"**{line.title}.** {line.text}") in flat(GUIDE)


def test_the_list_of_the_guide_is_that_of_the_demo(kettle_bend_result):
    for one in kettle_bend_result.action_texts:
        told = " ".join(text for text in (one.what, one.why, one.change) if text)
        assert flat(f"**{one.when}** {told}") in flat(GUIDE)


def test_the_ledger_of_the_guide_is_that_of_the_demo(kettle_bend_result):
    lines = {line.line: line.kg_ha for line in kettle_bend_result.ledger if line.block == "middle"}
    shown = dict(
        re.findall(
            r"^\| (need|cover crop|irrigation water|left to spread)[^|]*\| (−?\d+) \|$", GUIDE, re.MULTILINE
        )
    )
    told = {
        name: rate_text(kg_ha, "us").removesuffix(" lb/ac").replace("-", "−") for name, kg_ha in lines.items()
    }
    for name in ("need", "cover crop", "irrigation water"):
        assert shown[name] == told[name]
    assert shown["left to spread"] == rate_text(sum(lines.values()), "us").removesuffix(" lb/ac")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_link_and_every_test_named_is_there(page):
    text = page.read_text()
    for target in re.findall(r"\]\(([^)]+)\)", text):
        name, _, part = target.partition("#")
        if "://" in name:
            continue
        file = (page.parent / name) if name else page
        assert file.exists(), target
        if part:
            headings = re.findall(r"^#+ (.*)$", file.read_text(), re.MULTILINE)
            assert part in {anchor(heading) for heading in headings}, target
    for name in re.findall(
        r"`((?:tests|fieldmap|sample_geo|docs|app|plan|export|geostatistics|budget|advice|pipeline)/[\w/.\-]+)`",
        text,
    ):
        assert (ROOT / name).exists() or (ROOT / "fieldmap" / name).exists(), name


def test_pictures_are_small_and_every_one_is_shown():
    pictures = sorted((ROOT / "docs" / "pictures").glob("*.png"))
    assert {f"pictures/{path.name}" for path in pictures} == set(re.findall(r"!\[[^]]+\]\(([^)]+)\)", GUIDE))
    for path in pictures:
        assert path.stat().st_size <= 150_000, path.name
