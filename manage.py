#!/usr/bin/env python
"""Django's command line for Leafspan."""

import os
import sys

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    from django.core.management import execute_from_command_line  # settings must be named first

    from config.embedded import use_running_servers
    from teams.row_security import work_as_owner

    use_running_servers(os.environ)
    work_as_owner()  # commands look after the whole installation
    execute_from_command_line(sys.argv)
