"""The one door: what people write down is read, checked and turned into records here.

``files`` reads text and TOML and writes without half-written files; ``checks`` holds ranges, unit hints and
unknown names; ``columns`` reads delimited text; ``runner``, ``weather``, ``effort``, ``recordings`` and
``session`` are the records; ``new`` writes commented examples and checks files of every kind.
"""
