"""One module a subcommand."""
