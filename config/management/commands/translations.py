"""``manage.py translations`` brings the catalogues up to date and compiles them."""

from django.core.management.base import BaseCommand

from config.messages import LANGUAGES, po_file, update


class Command(BaseCommand):
    help = "Write every message in use into the catalogue of each language, compile it, and list what is untranslated."

    def handle(self, *args: object, **options: object) -> None:
        for language in LANGUAGES:
            missing = update(language)
            print(f"{po_file(language)}: {len(missing)} without translation")
            for message in missing:
                print(f"  {message.context or ''} {message.id!r}")
