"""The page of one session: how it was brewed and what was noted, pour by pour. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from tastings.queries.sessions import NotedWord, PourContent, SessionContent
from tastings.reports.facts import brew_words
from tastings.reports.photos import PhotoRow, photo_row
from tastings.wording.labels import MOMENTS, descriptor_label, label
from tastings.wording.numbers import day, duration, number, one_decimal


@dataclass(frozen=True, slots=True)
class NoteRow:
    """One word that was noted; ``points`` is empty for one that was not rated."""

    word: str
    moment: str
    points: str
    text: str


@dataclass(frozen=True, slots=True)
class PourRow:
    """One pour; ``ratings`` are in the order of the page's rated words, empty for one that was not rated."""

    number: str
    steep: str
    pour: str
    kettle: str
    ratings: list[tuple[str, str]]
    notes: list[NoteRow]
    remarks: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionPage:
    """What the session's template shows."""

    name: str
    day: str
    taster: str
    shop: str
    facts: list[str]
    ending: str
    remarks: str
    rated: list[str]
    pours: list[PourRow]
    notes: list[NoteRow]
    photos: list[PhotoRow]


def session_page(content: SessionContent) -> SessionPage:
    """Put one session into words, in the language that is active."""
    session = content.session
    endings = {"spent": _("The leaf was spent at the end."), "stopped": _("Stopped before the leaf was spent.")}
    warmed = {True: _("vessel warmed"), False: _("vessel not warmed")}
    facts = [
        brew_words(session.leaf_g, session.vessel_ml, session.vessel_material, None),
        _("water: %(water)s") % {"water": session.water} if session.water else "",
        ""
        if session.altitude_m is None
        else _("%(altitude_m)s m above the sea") % {"altitude_m": number(session.altitude_m)},
        "" if session.room_c is None else _("room at %(room_c)s °C") % {"room_c": number(session.room_c)},
        "" if session.warmed is None else warmed[session.warmed],
    ]
    rated = _rated_words(content)
    return SessionPage(
        name=content.lot_name,
        day=day(session.started_at),
        taster=session.taster,
        shop=session.shop,
        facts=[fact for fact in facts if fact],
        ending=endings.get(session.ending or "", ""),
        remarks=session.remarks or "",
        rated=[descriptor_label(key, content.labels) for key in rated],
        pours=[_pour(pour, rated, content.labels) for pour in content.pours],
        notes=_notes(content.notes, content.labels),
        photos=[photo_row(photo) for photo in content.photos],
    )


def _rated_words(content: SessionContent) -> list[str]:
    """Return the keys of the words that some pour was rated for, in the order in which they were noted."""
    notes = [note for pour in content.pours for note in pour.notes]
    return list(dict.fromkeys(note.key for note in notes if note.key is not None and note.intensity is not None))


def _pour(pour: PourContent, rated: Sequence[str], labels: Mapping[str, str]) -> PourRow:
    ratings = {
        key: [one_decimal(note.intensity) for note in pour.notes if note.key == key and note.intensity is not None]
        for key in rated
    }
    return PourRow(
        number=_("Rinse") if pour.number == 0 else str(pour.number),
        steep=duration(pour.steep_s),
        pour=duration(pour.pour_s) if pour.pour_s else "",
        kettle=_("not read") if pour.kettle_c is None else f"{number(pour.kettle_c)} °C",
        ratings=[(descriptor_label(key, labels), ", ".join(points)) for key, points in ratings.items()],
        notes=_notes([note for note in pour.notes if note.intensity is None or note.text], labels),
        remarks=pour.remarks or "",
    )


def _notes(notes: Sequence[NotedWord], labels: Mapping[str, str]) -> list[NoteRow]:
    return [
        NoteRow(
            word="" if note.key is None else descriptor_label(note.key, labels),
            moment=label(MOMENTS, note.moment),
            points="" if note.intensity is None else one_decimal(note.intensity),
            text=note.text,
        )
        for note in notes
    ]
