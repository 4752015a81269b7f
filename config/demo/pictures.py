"""Pictures for some sessions of the demo: sent as a phone sends photos, their liquor measured as on a table."""

import tempfile
import time
from collections.abc import Mapping
from datetime import timedelta
from itertools import islice
from pathlib import Path
from uuid import UUID, uuid5

from config.demo.drawing import LIQUOR, WHITE, liquor_picture
from config.demo.lots import LOTS
from config.demo.sessions import DemoSession, demo_sessions
from config.demo.story import session_id
from table.phone import Phone

SHOWN = (("cliff 3", 0, (1, 4, 8)), ("flat green", 0, (1, 3)), ("black tips", 0, (1, 4)))
"""Lot, session and cups of which there are pictures."""
_CHECKED_S = 20.0
_LOOK_AGAIN_S = 0.25


def send_pictures(team: UUID, *, phones: Mapping[str, Phone]) -> int:
    """Send the pictures that are not there yet; return how many. Measure the liquor of those checked by then."""
    sent, unmeasured = 0, []
    for handle, number, cups in SHOWN:
        lot = next(candidate for candidate in LOTS if candidate.handle == handle)
        demo_session = next(islice(demo_sessions(lot), number, None))
        phone = phones[demo_session.person.username]
        session = session_id(team, demo_session)
        present = {photo["infusion"] for photo in _photos(phone, session)}
        missing = {cup: infusion for cup in cups if (infusion := str(uuid5(session, f"infusion {cup}"))) not in present}
        sent += _send(phone, demo_session, session=session, cups=missing)
        unmeasured.append((phone, session))
    deadline = time.monotonic() + _CHECKED_S
    while unmeasured := [(phone, session) for phone, session in unmeasured if not _measure_pictures(phone, session)]:
        if time.monotonic() > deadline:
            break
        time.sleep(_LOOK_AGAIN_S)
    return sent


def _photos(phone: Phone, session: UUID) -> list[dict[str, object]]:
    return list(phone.request("GET", f"/api/v1/photos/?session={session}")["results"])


def _send(phone: Phone, demo_session: DemoSession, *, session: UUID, cups: Mapping[int, str]) -> int:
    """Draw cups of a session, each with the id of its infusion, and send them."""
    true = demo_session.lot.leaf.cups(demo_session.brew)["strength"] / demo_session.lot.leaf.top
    place = {pour.number: index for index, pour in enumerate(demo_session.brew.pours)}
    with tempfile.TemporaryDirectory() as folder:
        for cup, infusion in cups.items():
            path = Path(folder) / f"{cup}.jpg"
            path.write_bytes(liquor_picture(style=demo_session.lot.style, strength=float(true[place[cup]])))
            phone.photos.add(
                path,
                subject="liquor",
                session=str(session),
                infusion=infusion,
                taken_at=demo_session.started_at + timedelta(minutes=3 + 2 * cup),
            )
        return phone.photos.send()


def _measure_pictures(phone: Phone, session: UUID) -> bool:
    """Measure every picture of a session that is ready to be; return whether all are measured."""
    photos = _photos(phone, session)
    for photo in photos:
        if photo["state"] == "kept" and photo["colour"] is None:
            phone.request("POST", f"/api/v1/photos/{photo['id']}/colour", body={"white": WHITE, "liquor": LIQUOR})
    return all(photo["state"] == "kept" for photo in photos)
