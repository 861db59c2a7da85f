"""``python -m takeup`` is the command line."""

from takeup.cli import main

raise SystemExit(main())
