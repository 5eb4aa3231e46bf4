"""Where examples in docstrings are not looked for: looking imports a module, and these are there to be run."""

collect_ignore = ["app.py", "docs", "sample_geo", "fieldmap/app", "tests/support"]
