"""The engine: node names, flat records, the heat balance, step methods, the integration loop.

Outside the package it needs numpy and numba only. It knows no device by name and no file.
"""
