"""A fixed share of the stand's nitrogen, and the residue of which it is no credit."""

import pytest

from fieldmap import InputError, read_plan, run

RYE = [('"hairy vetch"', '"cereal rye"')]


def test_check_36_a_share_of_poor_residue_is_refused_and_says_what_would_do(plan_folder):
    # A fixed share would credit rye at anthesis with what its residue ties up. The border of 2.0 %N is from memory;
    # that residue of 1.2 %N, C:N 35, ties nitrogen up is published (break-even C:N 24, Trinsoutrot et al. 2000).
    share = '[credit]\nmethod = "share"\n'
    poor = [*RYE, ('stage = "bud"', 'nitrogen = "1.2 %"')]
    with pytest.raises(InputError) as caught:
        run(read_plan(plan_folder(edits=poor, extra=share, name="poor")))
    assert str(caught.value) == (
        'plan.toml, [credit] method: found "share", and the residue of field holds 1.2 %N; below 2.0 %N (C:N above '
        '21) residue ties nitrogen up that a fixed share would credit: "quality", which takes it off, is expected. '
        'Write method = "quality".'
    )
    assert run(read_plan(plan_folder(edits=poor, name="quality"))).ledger[1].kg_ha == 0
    with pytest.raises(InputError, match="a fixed share"):
        run(read_plan(plan_folder(edits=poor, extra=share + "share = 0.3\n", name="own")))
    removed = ('placement = "incorporated"', 'placement = "incorporated"\nended_by = "removed"')
    stubble = run(
        read_plan(plan_folder(edits=[*poor, removed], extra=share + "share = 0.1\n", name="stubble"))
    )
    assert any("residue of 1.2 %N gives little nitrogen at first" in text for text in stubble.warnings)


@pytest.mark.parametrize(("pct", "warned"), [("2.3 %", True), ("2.6 %", False)])
def test_a_share_of_middling_residue_is_warned_of(plan_folder, pct, warned):
    edits = [*RYE, ('stage = "bud"', f'nitrogen = "{pct}"')]
    result = run(read_plan(plan_folder(edits=edits, extra='[credit]\nmethod = "share"\n')))
    assert any('method = "quality" follows its %N' in text for text in result.warnings) == warned
