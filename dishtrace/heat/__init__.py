"""Temperatures: losses to air and sky, balances, the wall of a part, fillings, steam."""
