"""What every page of ours is made of: packaged assets, Leaflet inside the file, scripts named by their hash."""

from __future__ import annotations

import base64
import functools
import hashlib
import re
from importlib.resources import files

import jinja2

_ASSETS = files("fieldmap") / "assets"


def asset(name: str) -> str:
    """The text of a packaged asset."""
    return (_ASSETS / name).read_text(encoding="utf-8")


@functools.cache
def template(name: str) -> jinja2.Template:
    """A page with places to fill; text that fills them is escaped."""
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(asset(name))


@functools.cache
def leaflet_js() -> str:
    """Leaflet, without the address it would link to: the page refers to nothing on a network."""
    return asset("leaflet/leaflet.js").replace("https://leafletjs.com", "leafletjs.com")


@functools.cache
def leaflet_css() -> str:
    """Leaflet's style sheet without comments, its pictures inside it."""
    plain = re.sub(r"/\*.*?\*/", "", asset("leaflet/leaflet.css"), flags=re.DOTALL)

    def inside(match: re.Match[str]) -> str:
        picture = base64.b64encode((_ASSETS / "leaflet" / match[1]).read_bytes()).decode("ascii")
        return f"url(data:image/png;base64,{picture})"

    return re.sub(r"url\((images/[\w-]+\.png)\)", inside, plain)


def script_hash(script: str) -> str:
    """A script as a Content-Security-Policy names it, so that nothing else runs."""
    return "sha256-" + base64.b64encode(hashlib.sha256(script.encode()).digest()).decode("ascii")
