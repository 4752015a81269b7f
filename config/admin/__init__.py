"""Django's admin for operators, read-only, in a process of its own: ``manage.py admin``."""
