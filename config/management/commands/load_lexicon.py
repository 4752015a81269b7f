"""``manage.py load_lexicon``: put the built-in descriptors in; run it as often as you like."""

from django.core.management.base import BaseCommand

from tastings.actions.lexicon import load_lexicon


class Command(BaseCommand):
    help = "Store the built-in descriptors of tastings/data/lexicon.json."

    def handle(self, *args: object, **options: object) -> None:
        if changed := load_lexicon():
            self.stdout.write(f"{changed} descriptors stored")
