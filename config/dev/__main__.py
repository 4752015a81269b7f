"""``python -m config.dev run`` starts everything, ``cluster`` as on several machines, ``test`` runs the checks."""

import os
import sys

from config.dev.checks import check
from config.dev.cluster import run_cluster
from config.dev.home import LaunchError, home_from
from config.dev.supervisor import Options, Supervisor


def main(arguments: list[str]) -> int:
    """Run one of the three and return the exit status."""
    if arguments == ["test"]:
        return check()
    if arguments not in (["run"], ["cluster"]):
        print("usage: python -m config.dev run|cluster|test", file=sys.stderr)
        return 2
    try:
        if arguments == ["cluster"]:
            return run_cluster(os.environ)
        options = Options.of(os.environ)
        return Supervisor(home_from(os.environ), options).run()
    except LaunchError as error:
        print(error, file=sys.stderr)
        return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
