"""The built-in descriptors, from the data file into the database."""

import json
from pathlib import Path

from django.db import transaction
from django.utils import timezone

from tastings.models import Descriptor

LEXICON = Path(__file__).resolve().parent.parent / "data" / "lexicon.json"


@transaction.atomic
def load_lexicon() -> int:
    """Store every word of the list; return how many were new or changed.

    A word that left the list is kept as removed, since notes may hold it.
    """
    words = json.loads(LEXICON.read_text("utf-8"))["descriptors"]
    now = timezone.now()
    held = {word.id: word for word in Descriptor.objects.filter(team=None)}
    store: list[Descriptor] = []
    for position, word in enumerate(words):
        row = held.pop(Descriptor.built_in_id(word["key"]), None) or Descriptor(
            id=Descriptor.built_in_id(word["key"]), key=word["key"], revision=0, created_at=now
        )
        wanted = {**word, "position": position, "removed": False}
        if row._state.adding or any(getattr(row, name) != value for name, value in wanted.items()):
            for name, value in wanted.items():
                setattr(row, name, value)
            row.revision, row.updated_at = row.revision + 1, now
            store.append(row)
    for gone in held.values():
        if not gone.removed:
            gone.removed, gone.revision, gone.updated_at = True, gone.revision + 1, now
            store.append(gone)
    names = [field.attname for field in Descriptor._meta.concrete_fields if not field.primary_key]
    Descriptor.objects.bulk_create(store, update_conflicts=True, unique_fields=["id"], update_fields=names)
    return len(store)
