"""The card has one page and the report four, whatever there is to say."""

import datetime as dt
import io
import re

import pytest
from pypdf import PdfReader
from reportlab.lib.pagesizes import letter

from fieldmap import read_plan, run
from fieldmap.demo import sample_farm
from fieldmap.report.pdf import build_card, build_report
from fieldmap.report.typesetting import fitted, height_of, pdf_of, room_on, text_line

DATE = dt.date(2026, 5, 5)


def pages(pdf):
    return [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]


@pytest.fixture(scope="module")
def much_to_say(tmp_path_factory):
    """An ordinary plan with more to say than the demo: nodules not checked, strip tillage, litter, three strips."""
    folder = tmp_path_factory.mktemp("much") / "plan"
    text = (sample_farm()[0] / "plan.toml").read_text()
    for old, new in (
        ('nodules = "pink"', 'nodules = "not checked"'),
        ('placement = "incorporated"', 'placement = "strip-tilled"\ntilled_share = 0.5'),
        (r'product = "[^"]*"\n', 'product = "pelleted poultry litter"\n'),
        ('rate_max = "400 lb/ac"', 'rate_max = "8000 lb/ac"'),
    ):
        text, found = re.subn(old, new, text, count=1)
        assert found == 1, old
    folder.mkdir()
    for file in sample_farm()[0].iterdir():
        (folder / file.name).write_bytes(file.read_bytes())
    (folder / "plan.toml").write_text(f"{text}\n[strips]\nnumber = 3\n")
    return run(read_plan(folder))


def test_more_notes_than_usual_do_not_spill(much_to_say):
    assert len(much_to_say.warnings) >= 8
    (card,) = pages(build_card(much_to_say, date=DATE))
    assert "Zone" in card
    assert much_to_say.cautions[0][:60] in card.replace("\n", " ")
    report = pages(build_report(much_to_say, date=DATE))
    assert len(report) == 4
    notes = report[3].replace("\n", " ")
    for warning in much_to_say.warnings:
        assert warning[:40] in notes


def test_where_notes_have_no_room_on_the_card_it_says_where_they_are(much_to_say):
    from dataclasses import replace

    told = replace(much_to_say)
    told.__dict__["warnings"] = much_to_say.warnings * 6
    (card,) = pages(build_card(told, date=DATE))
    assert f"The report has {len(told.warnings)} more notes: read them first." in card.replace("\n", " ")


def test_the_samples_keep_their_pages(result):
    assert len(pages(build_card(result, date=DATE))) == 1
    assert len(pages(build_report(result, date=DATE))) == 4


def test_what_is_kept_together_is_printed_smaller_with_its_page():
    pairs = [[text_line("rate"), text_line("line two")] for _ in range(25)]
    assert height_of([part for pair in pairs for part in pair], 500) > room_on(letter)
    (page,) = pages(pdf_of([fitted(pairs, letter)], letter, title="pairs"))
    assert page.count("line two") == 25
