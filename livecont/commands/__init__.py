"""The commands, one a file: thin, and light to import, so that `--help` is quick."""
