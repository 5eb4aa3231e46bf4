"""`python -m fieldmap.cli` does what `fieldmap` does."""

from fieldmap.cli.main import main

raise SystemExit(main())
