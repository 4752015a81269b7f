"""What each exported field means, where its schema does not say; units are in the names.

These texts are part of the file format of an export and stay in English whatever language is active.
"""

from collections.abc import Mapping

UNITS: Mapping[str, str] = {
    "_g": "g",
    "_ml": "ml",
    "_s": "s",
    "_c": "°C",
    "_m": "m",
    "_mg_l": "mg/l",
    "_pct": "%",
    "_per_kg": "currency per kg",
}
"""Units by the ending of a number's name; the longest ending counts."""

GLOSSARY: Mapping[str, str] = {
    # every record
    "id": "made by the client; stays for ever",
    "revision": "place of its last change in the team's order of changes",
    "deleted": "whether the latest word on it is a deletion; a later edit brings it back",
    "by": "who wrote it, or changed it last; a member's user",
    "author": "who made it, which never changes; a member's user",
    "created_at": "when the server first stored it",
    "updated_at": "when the server last stored it",
    "stamps": "which edit set each field: lists of moment, device, user, what a clock ahead of the server's claimed,"
    " where it is known its place among the device's changes, and the names of the fields",
    "remarks": "anything else, in words",
    "name": "what it is called",
    # lots
    "code": "the team's own code; of a cup: three digits, shown instead of the lot",
    "kind": "class of tea by its making",
    "cultivar": "variety of the plant",
    "region": "where it grew",
    "garden": "estate or farm",
    "elevation_low_m": "lowest ground it grew on, above the sea",
    "elevation_high_m": "highest ground it grew on, above the sea",
    "harvest_year": "calendar year",
    "harvest_season": "season or flush, in the team's words",
    "harvested_on": "day of the harvest",
    "pick_standard": "which leaves and buds were picked",
    "form": "shape of the finished leaf",
    "oxidation_pct": "how far the leaf was oxidised",
    "roast": "how heavily it was roasted; in settings and readiness 0 to 10",
    "roast_fuel": "what it was roasted over",
    "roasted_on": "day of the last roast",
    "producer": "who made it",
    "supplier": "who sells it to the team",
    "status": "sample, bought or retired",
    "price_per_kg": "price paid or asked, in currency",
    "quantity_g": "how much there is or was bought",
    "arrived_on": "day it arrived",
    # pots
    "retired": "whether it is no longer offered for new sessions",
    "usual_pot": "the pot that the shop's guides and cards are for",
    # sessions
    "shop": "one of the team's shops",
    "taster": "whose mouth: a member's user",
    "lot": "the tea",
    "started_at": "when the session began",
    "leaf_g": "dry leaf in the vessel",
    "vessel_ml": "what the vessel holds when full",
    "vessel_material": "what the vessel is made of",
    "vessel_g": "the vessel with its lid",
    "warmed": "whether the vessel was warmed before the leaf went in",
    "room_c": "air in the room",
    "water": "which water",
    "water_tds_mg_l": "dissolved solids of the water",
    "altitude_m": "of the table above the sea: water boils cooler higher up",
    "pot": "the pot it was brewed in; the session's own fields say how it was then",
    "purpose": "why it was tasted",
    "ending": "spent: the leaf gave no more worth drinking; stopped: the taster went no further",
    "more_low": "at least so many further infusions, the taster thinks",
    "more_high": "at most so many further infusions, the taster thinks",
    "private": "whether only its taster sees it",
    "shared_once": "whether others could ever see it",
    # infusions
    "session": "the session it belongs to",
    "number": "1, 2, … in the order of pouring; 0 is the rinse",
    "steep_s": "from filled to first pour",
    "pour_s": "how long the vessel took to empty",
    "water_ml": "water poured on",
    "rest_s": "from the end of the pour to the next filling",
    "poured_at": "when it was poured",
    "tasted": "whether it was tasted; null: it counts as tasted unless it is the rinse",
    # notes, descriptors
    "infusion": "the infusion; null for what belongs to the whole session",
    "moment": "of what, or when, it was noticed",
    "descriptor": "the descriptor's key; null: a note of words alone",
    "descriptor_id": "the descriptor's id, since a key may have been used again",
    "intensity": "how strong, 0 to 10 in steps of 0.1; null: there, not rated",
    "text": "the taster's own words",
    "key": "short name that programs use",
    "label": "what people read",
    "family": "group of likenesses it belongs to",
    "rated_each_infusion": "whether it is meant to be rated at every infusion",
    "synonyms": "other words for it",
    # history
    "type": "record type of what was overwritten",
    "record": "id of the record",
    "field": "name of the field",
    "value": "the value that lost",
    "at": "when it was set",
    "claimed_at": "what the device's clock said when it ran ahead of the server's",
    "device": "the device it was set on",
    # triangle tests
    "held_on": "day of the test",
    "test": "the triangle test",
    "withdrawn_at": "when it was taken back; null: it counts",
    # people, settings
    "user": "the person's id, which records name",
    "username": "name to sign in with",
    "role": "what the member may do",
    "joined_at": "when the membership began",
    "left_at": "when it ended; null: present",
    "time_zone": "in which the team's pages show moments, a name of the IANA Time Zone Database",
    "ready_roast": "the roast under which a medium roast counts as rested, 0 to 10, before what is liked moves it",
    # photos
    "of": "what it shows",
    "state": "how far it has come",
    "reason": "why the photo was refused",
    "received": "bytes that arrived",
    "answers": "how many this person is to give",
    "content": "the picture; several photos, and the logo, may show the same",
    "colour": "the measured colour of the liquor",
    "touched_at": "when bytes last came in or it was last checked",
    "attempts": "how often it was checked",
    "removed_at": "when it was taken away",
    "taken_at": "when it was taken",
    "width": "pixels",
    "height": "pixels",
    "image_sha256": "of the picture's file",
    "thumbnail_sha256": "of the thumbnail's file",
    # flights
    "flight": "the flight it belongs to",
    "protocol": "how the cups are brewed",
    "cups_per_sitting": "cups that one taster has at a time",
    "expected_order": "candidates, the best first, as foreseen",
    "weights": "per cent by factor; empty when cups are judged by liking alone",
    "weights_for": "the tea class whose preset the weights are",
    "seed": "chance from which the plan was drawn",
    "plan": "how good the plan is",
    "plan_wanted": "how often a plan was asked for",
    "plan_made": "how often one was made",
    "plan_failure": "why the last attempt at a plan failed: a code and its numbers",
    "revealed_at": "when codes met names",
    "revealed_by": "who revealed it",
    "reveal_reason": "why before every cup was tasted",
    "counted": "the scores that count: as they stood at the reveal, and what was admitted since",
    "answer": "what the cups say: computed at the reveal",
    "answer_wanted": "how often an answer was asked for",
    "answer_made": "how often one was made",
    "answered_at": "when it was made",
    "answer_failure": "why the last attempt at an answer failed",
    "decided_at": "when the choice was made",
    "decided_by": "who chose",
    "decision": "what was bought and why",
    "out_at": "when it was taken out; null: it takes part",
    "pours": "whether the member pours and may know codes; otherwise tastes",
    "sitting": "which sitting, from 1",
    "position": "place in the sitting",
}


def unit_of(name: str, *, kind: str) -> str | None:
    """Return the unit of a number by the end of its name."""
    if kind not in ("number", "integer"):
        return None
    if name in ("intensity", "ready_roast"):
        return "points"
    if name == "bytes":
        return "bytes"
    endings = sorted((ending for ending in UNITS if name.endswith(ending)), key=len)
    return UNITS[endings[-1]] if endings else None
