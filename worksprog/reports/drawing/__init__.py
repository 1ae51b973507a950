"""Drawings of the report as SVG: pure functions of the frozen figures, no database, no settings."""
