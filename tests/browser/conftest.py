"""A Chromium to open pages with: it is sent nowhere, and what it asks for is counted."""

import contextlib
import os
import shutil
from dataclasses import dataclass, field

import pytest
from playwright.sync_api import sync_playwright
from support.server import served

ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
DESKTOP = {"viewport": {"width": 1280, "height": 800}}
LARGE = {"viewport": {"width": 1440, "height": 900}}
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
SCREENS = {"1280": DESKTOP, "1440": LARGE, "390": PHONE}


@pytest.fixture(scope="session")
def chromium():
    """The browser of this machine; without one, tests are skipped here and fail where CI runs them."""
    path = shutil.which("chromium")
    if path is None:
        reason = "no chromium on this machine: install Debian's package chromium to run the browser tests"
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield browser
        browser.close()


@dataclass
class Seen:
    """A page, and what happened in it."""

    page: object
    requests: list = field(default_factory=list)
    messages: list = field(default_factory=list)


@pytest.fixture
def opened(chromium):
    """Open a file in a window of a given screen; every request to a network is noted and refused."""
    with contextlib.ExitStack() as stack:

        def show(path, screen="1280", **options):
            context = stack.enter_context(chromium.new_context(**{**SCREENS[screen], **options}))
            context.set_default_timeout(5000)
            seen = Seen(context.new_page())

            def route(handled):
                if handled.request.url.startswith(("file:", "data:", "blob:")):
                    handled.continue_()
                else:
                    seen.requests.append(handled.request.url)
                    handled.abort()

            context.route("**/*", route)
            seen.page.on("console", lambda message: seen.messages.append(message.text))
            seen.page.on("pageerror", lambda error: seen.messages.append(str(error)))
            seen.page.goto(path.as_uri())
            return seen

        yield show


@pytest.fixture(scope="module")
def workspace(tmp_path_factory):
    """Where the plans of a module's app lie."""
    return tmp_path_factory.mktemp("workspace")


@pytest.fixture(scope="module")
def address(workspace):
    """Where that app answers."""
    with served(workspace) as server:
        yield server.address
