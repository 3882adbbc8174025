"""Pure functions on logs, a build and a pack: no files, no plotting."""
