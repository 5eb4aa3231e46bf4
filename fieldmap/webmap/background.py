"""The online background, which is only asked once somebody switches it on."""

from __future__ import annotations

TILES = "https://tile.openstreetmap.org/{z}/{x}/{y}.png"
TILES_BY = '© <a href="https://www.openstreetmap.org/copyright">OpenStreetMap</a> contributors'
