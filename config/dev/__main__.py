"""``python -m config.dev run`` starts everything in the foreground, ``python -m config.dev test`` runs the checks."""

import os
import sys

from config.dev.checks import check
from config.dev.home import LaunchError, home_from
from config.dev.supervisor import Options, Supervisor


def main(arguments: list[str]) -> int:
    """Run one of the two and return the exit status."""
    if arguments == ["test"]:
        return check()
    if arguments != ["run"]:
        print("usage: python -m config.dev run|test", file=sys.stderr)
        return 2
    try:
        options = Options.of(os.environ)
        return Supervisor(home_from(os.environ), options).run()
    except LaunchError as error:
        print(error, file=sys.stderr)
        return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
