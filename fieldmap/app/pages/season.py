"""Season: when nitrogen comes, and when the crop runs short."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from fieldmap.advice import sidedress_text
from fieldmap.app.parts.actions import actions_text
from fieldmap.app.session.messages import plain
from fieldmap.app.session.open_plan import go_to, need_open_plan
from fieldmap.app.session.results import need_result
from fieldmap.report import pictures, summary


def page() -> None:
    """Draw the page."""
    result = need_result(need_open_plan())
    st.markdown(actions_text(result))
    if not result.budget.seasons:
        st.info(
            "Timing needs weather: drop a daily table on Upload, or give the year's mean temperature there."
        )
        if st.button("Go to upload", type="primary"):
            go_to("upload")
    # Two beside each other where there is room, and drawn so small that a phone shows them as they are.
    seasons = result.budget.seasons
    for first in range(0, len(seasons), 2):
        for column, season in zip(st.columns(2, gap="large"), seasons[first : first + 2], strict=False):
            with column:
                st.pyplot(pictures.season_picture(result, season, width_in=4.2, height_in=3.0))
                with st.expander(f"Week by week: {plain(season.block)}"):
                    st.dataframe(
                        pd.DataFrame(
                            summary.season_rows(season, result.plan.units),
                            columns=list(summary.SEASON_COLUMNS),
                        ),
                        hide_index=True,
                    )
    days = [one.application.date for one in result.applications]
    for call in result.budget.sidedress:
        st.write(plain(sidedress_text(call, days, result.plan.units)))
    if result.budget.stages:
        st.subheader("The stand across its stages", anchor=False)
        st.pyplot(pictures.stage_picture(result, width_in=4.2, height_in=3.0), width=650)
        for text in summary.waiting_texts(result):
            st.write(plain(text))


page()
