"""The command line: thin, one file a command group; nothing heavy is imported before a command runs."""
