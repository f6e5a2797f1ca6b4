"""Forecasts of the book: its rows handed to the numerical core, the fit in use, what it says and
how well."""
