"""``python -m thermosim.cli``: the same as ``thermosim``."""

from thermosim.cli.main import main

main()
