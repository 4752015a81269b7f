"""Cells: whole installations side by side, and moving a team from one to another. See docs/growth.md."""
