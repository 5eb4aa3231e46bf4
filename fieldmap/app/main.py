"""The app: pages hold widgets only; what they show is worked out in the package and kept by `session`."""

from __future__ import annotations

import contextlib
import ctypes
import sys
import tomllib
from importlib.resources import files
from ipaddress import ip_address
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from fieldmap.app.session.answers import change_units, save_answers
from fieldmap.app.session.memory import place_bar
from fieldmap.app.session.messages import faults_told
from fieldmap.app.session.open_plan import heading_of, the_open_plan
from fieldmap.app.session.sheet import save_sheets

if TYPE_CHECKING:
    from typing import Any


PAGES = (
    ("plans", "Plans"),
    ("upload", "Upload"),
    ("map", "Map"),
    ("season", "Season"),
    ("export", "Export"),
)

PAGES_FOLDER = Path(__file__).parent / "pages"
TRIM_FROM = (-1, 1 << 16)  # M_TRIM_THRESHOLD of glibc, bytes; measured: 60 to 90 MB less after 20 plans

STYLE = """
<style>
  .block-container, [data-testid="stMainBlockContainer"] { padding-top: 4.2rem; max-width: 1500px; }
  h1 { font-size: 1.5rem !important; } h2 { font-size: 1.2rem !important; } h3 { font-size: 1.05rem !important; }
  iframe { border: 0; }
  [data-testid="stLayoutWrapper"]:has(> [class*="st-key-working"]) { position: fixed; top: 3.6rem; left: 0; right: 0;
    z-index: 999; padding: 0 1rem; background: #ffffff; }
  [class*="st-key-head"] button, [class*="st-key-head"] button > div { justify-content: flex-start; width: 100%; }
  [data-testid="stElementContainer"]:has(> iframe[srcdoc]) { flex-basis: auto; height: auto; }
  @media (min-width: 768px) { [data-testid="stLayoutWrapper"]:has(> .st-key-pages) { display: none; } }
  /* Page links, title, map and unit switch keep one left and one right edge; links and switch stand in one line. */
  .st-key-pages { margin-left: -.4rem; gap: .2rem; } .st-key-pages a { padding: .25rem .4rem; }
  @media (min-width: 768px) {
    :root { --margin: clamp(1rem, 6.25vw, 5rem); --side: calc(max(0px, (100vw - 1500px) / 2) + var(--margin)); }
    [data-testid="stMainBlockContainer"] { padding-left: var(--margin); padding-right: var(--margin); }
    [data-testid="stToolbar"] { padding-left: calc(var(--side) - 1.5rem); padding-right: calc(var(--side) + 9rem); }
    [data-testid="stLayoutWrapper"]:has(> .st-key-units) { position: fixed; top: .9rem; right: var(--side);
      width: auto; z-index: 999991; }
    .st-key-units { width: auto; }
  }
  [data-testid="stDataFrame"], [data-testid="stMetricValue"] { font-variant-numeric: tabular-nums; }
</style>
"""


def settings() -> dict[str, dict[str, Any]]:
    """The settings the app is served with, the same as in .streamlit/config.toml."""
    text = (files("fieldmap") / "assets" / "streamlit.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def serve(*, port: int | None = None, browser: bool = True) -> int:
    """Start the server on this machine only; returns its exit code."""
    from streamlit.web.cli import main as streamlit_main

    options = [
        f"--{section}.{key}={str(value).lower() if isinstance(value, bool) else value}"
        for section, keys in settings().items()
        for key, value in keys.items()
    ]
    options += [f"--server.port={port}"] if port else []
    options += ["--server.headless=false"] if browser else []
    sys.argv = ["streamlit", "run", str(Path(__file__)), *options]
    try:
        streamlit_main()
    except SystemExit as ended:
        return int(ended.code or 0)
    return 0


def unsafe_settings() -> list[str]:
    """What of the server's settings would let others in; empty where it is safe."""
    found = []
    address = str(st.get_option("server.address") or "")
    if not _is_loopback(address) and not sign_in_is_set_up():
        found.append(f'it listens on "{address or "every network"}" and nobody has to sign in')
    if not st.get_option("server.enableXsrfProtection"):
        found.append("protection against forged requests (server.enableXsrfProtection) is off")
    if st.get_option("browser.gatherUsageStats"):
        found.append("it would report its use to others (browser.gatherUsageStats)")
    if st.get_option("client.showErrorLinks") not in ("false", False):
        found.append("it would offer to send errors to others (client.showErrorLinks)")
    if st.get_option("client.showErrorDetails") not in ("none", "type", False):
        found.append("it would show the inside of errors (client.showErrorDetails)")
    return found


def _is_loopback(address: str) -> bool:
    if address == "localhost":
        return True
    try:
        return ip_address(address).is_loopback
    except ValueError:
        return False


def sign_in_is_set_up() -> bool:
    """Whether Streamlit's sign-in is configured ([auth] in its secrets)."""
    return "is_logged_in" in st.user.to_dict()


@st.cache_resource(show_spinner=False)
def give_memory_back() -> None:
    """Have what one plan took go back to the system before the next takes its own; once, where the C library can."""
    with contextlib.suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).mallopt(*TRIM_FROM)


def main() -> None:
    """Draw the app; every page passes through here."""
    st.set_page_config(page_title="fieldmap", layout="wide", initial_sidebar_state="collapsed")
    with faults_told():
        give_memory_back()
        st.html(STYLE)
        _draw()


def _draw() -> None:
    if faults := unsafe_settings():
        st.error("This server is not safe as it was started, so it shows nothing: " + "; ".join(faults) + ".")
        st.write("Start it with `fieldmap app`, or set up sign-in as the README says.")
        st.stop()
    if sign_in_is_set_up() and not st.user.is_logged_in:
        st.title("fieldmap")
        st.write("Plans are kept for each person. Sign in to see yours.")
        st.button("Sign in", type="primary", on_click=st.login)
        st.stop()
    pages = {
        key: st.Page(PAGES_FOLDER / f"{key}.py", title=title, url_path=key, default=key == "plans")
        for key, title in PAGES
    }
    st.session_state["pages"] = pages
    page = st.navigation(list(pages.values()), position="top")
    with st.container(
        key="pages", horizontal=True, gap="small"
    ):  # a phone hides those at the top behind a button
        for each in pages.values():
            st.page_link(each)
    place_bar("page")
    save_answers()
    save_sheets()
    _heading(of_plan=page is not pages["plans"])
    page.run()


def _heading(*, of_plan: bool) -> None:
    """The open plan and its units, on every page of it."""
    folder = the_open_plan() if of_plan else None
    name, units = st.columns([5, 1], vertical_alignment="center")
    if folder is not None:
        name.title(heading_of(folder), anchor=False)
        with units, st.container(key="units"):
            change_units(folder)
    else:
        name.title("fieldmap", anchor=False)
    if sign_in_is_set_up():
        units.button("Sign out", on_click=st.logout)


if __name__ == "__main__":
    main()
