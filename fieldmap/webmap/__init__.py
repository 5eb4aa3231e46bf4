"""The map in a browser: one page that needs no network."""

__all__ = ["assets", "background", "features", "page", "pixels"]
