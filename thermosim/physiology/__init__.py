"""Physiological laws and tables: small, scalar, compiled; every number comes from ``parameters.py``."""
