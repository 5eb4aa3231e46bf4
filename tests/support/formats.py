"""The table of formats, as tests look at it and change it."""

from dataclasses import replace

from fieldmap.export import registry


def names_in(folder, *, data_only=False):
    """The names of the files in such a folder of a run."""
    return {one.name for one in registry.formats_in(folder, data_only=data_only)}


def add_format(monkeypatch, one):
    """Add an entry to the table."""
    monkeypatch.setattr(registry, "FORMATS", (*registry.FORMATS, one))


def change_writer(monkeypatch, name, write):
    """Write a file in another way."""
    changed = [replace(one, write=write) if one.name == name else one for one in registry.FORMATS]
    monkeypatch.setattr(registry, "FORMATS", tuple(changed))
