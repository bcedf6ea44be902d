"""The morning check: from samples and named loads to errors, uncertainty and a verdict."""
