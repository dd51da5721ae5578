"""Outcomes become tables of Markdown."""
