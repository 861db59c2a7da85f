"""Records become pages, sheets, charts and queue files; publishing is atomic."""
