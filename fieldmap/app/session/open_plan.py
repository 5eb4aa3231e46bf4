"""The app's memory: which plan is open, what was worked out for it, and how an answer is written down.

The plan folder is the truth. Session state holds the name of the open plan and what widgets show; what was computed
is kept by the content of the plan and its files, so that it can be shared by tabs and never be out of date.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from fieldmap.app.plans.draft import told_of
from fieldmap.app.plans.workspace import list_plans, plan_folder, workspace_folder
from fieldmap.app.session.messages import plain

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any


LAST_OPEN, CAUTIONS_READ = ".last-open", ".cautions-read"


def workspace() -> Path:
    """The workspace of whoever uses the app: where people sign in, each has a workspace of their own."""
    who = st.user.to_dict()
    return workspace_folder(f"{who['iss']} {who['sub']}" if who.get("is_logged_in") else None)


def open_plan(folder: Path) -> None:
    """Make a plan the open one, here and after a restart."""
    st.session_state["plan"] = folder.name
    (workspace() / LAST_OPEN).write_text(folder.name, encoding="utf-8")


def close_plan() -> None:
    """No plan is open."""
    st.session_state.pop("plan", None)
    st.query_params.pop("plan", None)
    (workspace() / LAST_OPEN).unlink(missing_ok=True)


def the_open_plan() -> Path | None:
    """The open plan: this tab's; in a new tab the one in its address, else the last that was open."""
    root = workspace()
    last = root / LAST_OPEN
    named = [
        st.session_state.get("plan"),
        st.query_params.get("plan"),
        last.read_text(encoding="utf-8") if last.is_file() else None,
    ]
    found = next((folder for name in named if name and (folder := plan_folder(root, name))), None)
    if found is not None:
        st.session_state["plan"] = found.name
        st.query_params["plan"] = found.name
    return found


def need_open_plan() -> Path:
    """The open plan; where there is none the page says what to do and ends."""
    folder = the_open_plan()
    if folder is None:
        st.info("No plan is open. Open one, start a new one, or open the demo.")
        if st.button("Go to plans", type="primary"):
            go_to("plans")
        st.stop()
    return folder


def go_to(page: str) -> None:
    """Turn to another page."""
    st.switch_page(st.session_state["pages"][page])


def plans() -> Any:
    """Every plan of this workspace, last changed first."""
    return list_plans(workspace())


def heading_of(folder: Path) -> str:
    """The plan's name, fit for a heading that reads Markdown."""
    name = str(told_of(folder).get("name") or folder.name)
    return plain(name)
