"""Physical laws: small, scalar, compiled, each with units, valid range and source."""
