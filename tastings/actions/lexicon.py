"""The built-in descriptors, from the data file into the database."""

import json
from pathlib import Path

from django.db import transaction
from django.utils import timezone

from tastings.models import Descriptor

LEXICON = Path(__file__).resolve().parent.parent / "data" / "lexicon.json"


@transaction.atomic
def load_lexicon() -> int:
    """Store every descriptor of the list; return how many were new or changed.

    One that left the list stays as deleted, since notes may refer to it.
    """
    descriptors = json.loads(LEXICON.read_text("utf-8"))["descriptors"]
    now = timezone.now()
    stored = {descriptor.id: descriptor for descriptor in Descriptor.objects.filter(team=None)}
    changed: list[Descriptor] = []
    for position, item in enumerate(descriptors):
        row = stored.pop(Descriptor.built_in_id(item["key"]), None) or Descriptor(
            id=Descriptor.built_in_id(item["key"]), key=item["key"], revision=0, created_at=now
        )
        target = {**item, "position": position, "removed": False}
        if row._state.adding or any(getattr(row, name) != value for name, value in target.items()):
            for name, value in target.items():
                setattr(row, name, value)
            row.revision, row.updated_at = row.revision + 1, now
            changed.append(row)
    for descriptor in stored.values():
        if not descriptor.removed:
            descriptor.removed, descriptor.revision, descriptor.updated_at = True, descriptor.revision + 1, now
            changed.append(descriptor)
    names = [field.attname for field in Descriptor._meta.concrete_fields if not field.primary_key]
    Descriptor.objects.bulk_create(changed, update_conflicts=True, unique_fields=["id"], update_fields=names)
    return len(changed)
