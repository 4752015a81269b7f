"""What the page on which a flight is set up shows of samples and of the plan that would be made."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from uuid import UUID

from django.utils.translation import gettext as _

from tastings.answers.flight_preview import PlanPreview
from tastings.wording import flights as words
from tastings.wording.labels import TEAS
from tastings.wording.numbers import listed, price_per_kg
from tastings.wording.plan_failures import plan_failure


def sample_line(fields: Mapping[str, object]) -> str:
    """Write what tells a sample from others in one line: tea, supplier, harvest, price."""
    kind, price = fields.get("kind"), fields.get("price_per_kg")
    currency = str(fields["currency"]) if fields.get("currency") else None
    harvest = " ".join(str(fields[name]) for name in ("harvest_year", "harvest_season") if fields.get(name))
    parts = [
        str(TEAS[str(kind)]) if kind in TEAS else "",
        str(fields.get("supplier") or ""),
        harvest,
        "" if price is None else price_per_kg(float(str(price)), currency),
    ]
    return " · ".join(part for part in parts if part)


def protocol_hint(protocol: str, kinds: Collection[str]) -> str:
    """Say that a protocol is made for another kind of tea than the samples of ``kinds``; else nothing."""
    others = [str(TEAS[kind]) for kind in TEAS if kind in kinds and kind != "oolong"]
    if protocol != "covered_bowl" or not others:
        return ""
    return _(
        "The covered bowl with 5 g, boiling water and 2, 3 and 5 minutes is made for oolong; among the samples is:"
        " %(teas)s. The standard pot (ISO 3103) brews every kind of tea alike, and a small pot gives several infusions."
    ) % {"teas": listed(others)}


def preview_sentences(preview: PlanPreview, *, people: Mapping[UUID, str], has_pourers: bool) -> list[str]:
    """Say how many cups everybody would get and how fair the plan would be, or why there is no plan."""
    if preview.failure is not None:
        return [words.no_plan(plan_failure(preview.failure))]
    by_number: dict[int, list[str]] = defaultdict(list)
    for user, cups in preview.cups_by_taster.items():
        by_number[cups].append(people.get(user, ""))
    sentences = [words.cups_of_tasters(cups, sorted(names)) for cups, names in sorted(by_number.items(), reverse=True)]
    if preview.most:
        sentences += [
            words.times_poured(preview.fewest, preview.most),
            words.plan_sentences(
                efficiency=preview.efficiency,
                bound=preview.bound,
                connected=preview.connected,
                position_spread=preview.position_spread,
            ),
        ]
    if not has_pourers:
        sentences.append(words.nobody_pours())
    return sentences
