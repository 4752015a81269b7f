#!/usr/bin/env python
"""Django's command line for Leafspan."""

import os
import sys

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    from django.core.management import execute_from_command_line  # settings must be named first

    from teams.row_security import work_as_owner

    work_as_owner()  # commands look after the whole installation
    execute_from_command_line(sys.argv)
