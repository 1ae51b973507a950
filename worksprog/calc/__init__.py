"""All the arithmetic: plain Python, numpy, shapely; no Django, no database, no clock."""
