"""Documents and their renderers: PDF, page and terminal."""
