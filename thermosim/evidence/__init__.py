"""Published cases: what was measured in a study, written in TOML, against what the engine says of it."""
