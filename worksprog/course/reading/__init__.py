"""Readers of survey files. They open, check and tell; they know no database."""
