"""``manage.py demo``: an invented merchant's tastings, sent by simulated phones to a running server."""

from django.core.management.base import BaseCommand, CommandError, CommandParser

from config.demo.load import DemoError, load_demo


class Command(BaseCommand):
    help = (
        "Put demo data in: an invented merchant with three shops, twelve lots, sixty sessions and two blind flights."
        " Its people are made in the database, everything else goes through the running server as from phones. Run it"
        " as often as you like: what is there already stays, and other teams are not touched. Anyone can know the"
        " demo's password, so leave the demo out of a server that others can reach."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--url", required=True, help="base address of the running server: http://127.0.0.1:8000")

    def handle(self, *args: object, url: str, **options: object) -> None:
        try:
            load_demo(url, log=self._say)
        except DemoError as error:
            raise CommandError(f"The demo data are not complete: {error}") from error

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
