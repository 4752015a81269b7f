"""The cases of the conformance kit, each with the rule of ``docs/client.md`` that it shows."""

import json
from collections.abc import Callable
from typing import Any

from tests.conformance.case import Case, Installed, Member, Server

LOT, OTHER_LOT, SESSION, INFUSION, NOTE, PHOTO, _, FLIGHT, *CUPS = (
    f"0198c0de-0000-7000-8000-0000000000{n:02}" for n in range(1, 11)
)
TEA: dict[str, Any] = {"name": "Mist Ridge spring", "kind": "oolong", "status": "sample"}
POT: dict[str, Any] = {"lot": LOT, "started_at": "2026-03-04T10:00:00Z", "leaf_g": 5, "vessel_ml": 110}
FIRST: dict[str, Any] = {"session": SESSION, "number": 1, "steep_s": 20, "kettle_c": 98}
RATING: dict[str, Any] = {
    "session": SESSION, "infusion": INFUSION, "moment": "mouth", "descriptor": "strength", "intensity": 6.5,
}  # fmt: skip
MOST_RECORDS, MOST_PHOTOS, REQUESTS_A_MINUTE = 4, 1, 30
"""Limits of the server that is recorded, for each member."""
QUOTAS = {"records": (100, MOST_RECORDS), "photos": (100, MOST_PHOTOS)}


def _change(type_name: str, record: str, *, at: str, **fields: object) -> dict[str, Any]:
    """Return a colleague's change."""
    return {"type": type_name, "id": record, "at": f"2026-03-04T{at}Z", "fields": fields}


def _deletion(type_name: str, record: str, *, at: str) -> dict[str, Any]:
    return {"type": type_name, "id": record, "at": f"2026-03-04T{at}Z", "deleted": True}


def applied(server: Server) -> Case:
    """Everything is new: each change is applied, and comes back with its revision."""
    case = Case(server)
    case.write("lot", LOT, at="10:00:00", creates=True, **TEA)
    case.write("session", SESSION, at="10:00:01", creates=True, **POT)
    case.write("infusion", INFUSION, at="10:00:02", creates=True, **FIRST)
    case.write("note", NOTE, at="10:00:03", creates=True, **RATING)
    case.expect(unsent=[1, 2, 3, 4], shown=[LOT, SESSION, INFUSION, NOTE])
    case.sync()
    case.expect(shown=[LOT, SESSION, INFUSION, NOTE])
    return case


def echo(server: Server) -> Case:
    """The client asks for no echo: a verdict tells what a record has beyond what was sent, if all of that stands."""
    case = Case(server, echo=False)
    case.write("lot", LOT, at="10:00:00", creates=True, **TEA)
    case.write("session", SESSION, at="10:00:01", creates=True, **POT)
    case.sync()
    case.expect(shown=[LOT, SESSION])
    case.write("session", SESSION, at="10:01:00", leaf_g=5.5)
    case.colleague.sync(_change("lot", LOT, at="11:00:00", remarks="round"))
    case.sync()
    case.expect(shown=[LOT, SESSION])
    return case


def unchanged(server: Server) -> Case:
    """The answer was lost, so the client sends the same again; the server has it already."""
    case = Case(server)
    case.write("lot", LOT, at="10:00:00", creates=True, **TEA)
    case.recorder.loses_answer = True
    case.sync(ends_with=None)
    case.expect(unsent=[1], shown=[LOT], has_all=False)
    case.sync()
    case.expect(shown=[LOT])
    return case


def merged(server: Server) -> Case:
    """A colleague set one of two fields later: that one is lost, the other stands."""
    case = Case(server, role="buyer")
    case.colleague.sync(_change("lot", LOT, at="09:00:00", **TEA))
    case.sync()
    case.write("lot", LOT, at="10:00:00", remarks="thin", roast="light")
    case.colleague.sync(_change("lot", LOT, at="11:00:00", remarks="round"))
    case.sync()
    case.expect(shown=[LOT])
    return case


def same_moment(server: Server) -> Case:
    """Two edits of one device at one moment, sent in either order: the greater `seq` wins."""
    case = Case(server)
    case.write("lot", LOT, at="10:00:00", creates=True, **TEA)
    case.write("lot", LOT, at="11:00:00", remarks="9")
    case.write("lot", LOT, at="11:00:00", remarks="10")
    case.sync()
    case.expect(shown=[LOT])
    return case


def unknown_parent(server: Server) -> Case:
    """A session of a lot that its maker has not sent yet waits, and is sent again."""
    case = Case(server)
    case.write("session", SESSION, at="10:00:00", creates=True, **POT)
    case.sync()
    case.expect(unsent=[1], shown=[SESSION])
    case.colleague.sync(_change("lot", LOT, at="09:00:00", **TEA))
    case.sync()
    case.expect(shown=[LOT, SESSION])
    return case


def parent_deleted(server: Server) -> Case:
    """An infusion of a session that was deleted stands, and shows once the session is brought back."""
    case = Case(server)
    case.write("lot", LOT, at="10:00:00", creates=True, **TEA)
    case.write("session", SESSION, at="10:00:01", creates=True, **POT)
    case.sync()
    case.write("infusion", INFUSION, at="10:01:00", creates=True, **FIRST)
    case.colleague.sync(_deletion("session", SESSION, at="10:02:00"))
    case.sync()
    case.expect(shown=[LOT])
    case.colleague.sync(_change("session", SESSION, at="10:03:00", remarks="deleted by mistake"))
    case.sync()
    case.expect(shown=[LOT, SESSION, INFUSION])
    return case


def brought_back(server: Server) -> Case:
    """An edit made before a deletion does not undo it; one made after it brings the record back whole."""
    case = Case(server, role="buyer")
    case.colleague.sync(_change("lot", LOT, at="09:00:00", **TEA))
    case.sync()
    case.write("lot", LOT, at="10:00:00", remarks="thin")
    case.colleague.sync(_deletion("lot", LOT, at="11:00:00"))
    case.sync()
    case.expect(shown=[])
    case.write("lot", LOT, at="12:00:00", roast="light")
    case.sync()
    case.expect(shown=[LOT])
    return case


def not_yours(server: Server) -> Case:
    """A taster's change of a colleague's session is refused alone; sending it again would change nothing."""
    case = Case(server)
    case.colleague.sync(_change("lot", LOT, at="09:00:00", **TEA), _change("session", SESSION, at="09:00:01", **POT))
    case.sync()
    case.write("session", SESSION, at="10:00:00", leaf_g=6)
    case.write("lot", OTHER_LOT, at="10:00:01", creates=True, **TEA)
    case.sync()
    case.expect(refused={1: "not_yours"}, shown=[LOT, OTHER_LOT, SESSION])
    return case


def invalid_field(server: Server) -> Case:
    """A value out of range is refused alone, with its field and code."""
    case = Case(server)
    case.write("lot", LOT, at="10:00:00", creates=True, **TEA)
    case.write("session", SESSION, at="10:00:01", creates=True, **POT)
    case.write("infusion", INFUSION, at="10:00:02", creates=True, **FIRST | {"steep_s": -1})
    case.sync()
    case.expect(refused={3: "range"}, shown=[LOT, SESSION])
    return case


def pages(server: Server) -> Case:
    """The client pulls until `more` is false."""
    case = Case(server, limit=2)
    for n in range(1, 4):
        case.colleague.sync(_change("lot", f"0198c0de-0000-7000-8000-00000000001{n}", at="09:00:00", **TEA))
    case.sync()
    case.expect(shown=[f"0198c0de-0000-7000-8000-00000000001{n}" for n in range(1, 4)])
    return case


def scope(server: Server) -> Case:
    """Infusions and notes come for the lots of the scope alone; what leaves it is forgotten, not deleted."""
    case = Case(server)
    case.colleague.sync(
        _change("lot", LOT, at="09:00:00", **TEA),
        _change("session", SESSION, at="09:00:01", **POT),
        _change("infusion", INFUSION, at="09:00:02", **FIRST),
        _change("note", NOTE, at="09:00:03", **RATING),
    )
    case.set_scope(days=0)
    case.sync()
    case.expect(shown=[LOT, SESSION], has_all=False)
    case.set_scope(days=0, lots=[LOT])
    case.sync()
    case.expect(shown=[LOT, SESSION, INFUSION, NOTE])
    case.colleague.sync(_change("note", NOTE, at="10:00:00", intensity=7))
    case.set_scope(days=0)
    case.sync()
    case.expect(shown=[LOT, SESSION], has_all=False)
    return case


def photo(server: Server) -> Case:
    """A photo that was announced is pulled like a record, without author and stamp."""
    case = Case(server)
    case.write("lot", LOT, at="10:00:00", creates=True, **TEA)
    case.sync()
    announced = {"id": PHOTO, "lot": LOT, "of": "dry_leaf", "sha256": "a" * 64, "bytes": 1000}
    case.request("POST", "/api/v1/photos", body=announced, ends_with=201)
    case.sync()
    case.expect(shown=[LOT, PHOTO], has_all=False)
    return case


def quota(server: Server) -> Case:
    """A new record beyond the member's limit is refused alone; the client must not lose it."""
    case = Case(server)
    lots = [f"0198c0de-0000-7000-8000-00000000001{n}" for n in range(1, MOST_RECORDS + 2)]
    for n, lot in enumerate(lots):
        case.write("lot", lot, at=f"10:00:0{n}", creates=True, **TEA)
    case.sync()
    case.expect(kept=[len(lots)], unsent=None, refused=None, shown=lots[:-1])
    return case


def signed_out(server: Server) -> Case:
    """The token has ended: unsent changes stay, and go after signing in again."""
    case = Case(server)
    case.write("lot", LOT, at="10:00:00", creates=True, **TEA)
    invited = case.member.request("POST", "/api/v1/auth/codes")
    case.member.request("DELETE", "/api/v1/auth/tokens/current")
    case.sync(ends_with=401)
    case.expect(unsent=[1], shown=[LOT], has_all=False)
    answer = case.colleague.request("POST", "/api/v1/auth/tokens", {"code": invited["code"], "device": "phone"})
    case.sign_in(Member(server, token=answer["token"], user=case.member.user))
    case.sync()
    case.expect(shown=[LOT])
    return case


def unknown_schema(server: Server) -> Case:
    """The server does not have the client's version of the records: everything stays."""
    case = Case(server)
    case.write("lot", LOT, at="10:00:00", creates=True, **TEA)
    case.recorder.on_the_way = lambda body: json.dumps(json.loads(body) | {"schema": 99}).encode()
    case.sync(ends_with=409)
    case.expect(unsent=[1], shown=[LOT], has_all=False)
    return case


def start_again(server: Server) -> Case:
    """The cursor is another team's: the client pulls from 0, drops what does not come, and sends what was unsent."""
    former = Case(server)
    case = Case(former.server)
    case.recorder.people |= former.recorder.people
    case.recorder.beginnings += former.recorder.beginnings
    former.colleague.sync(_change("lot", "0198c0de-0000-7000-8000-000000000011", at="09:00:00", **TEA))
    case.sign_in(former.member)
    case.sync()
    case.write("lot", LOT, at="10:00:00", creates=True, **TEA)
    case.sign_in(case.member)
    case.sync()
    case.expect(shown=[LOT])
    return case


def too_large(server: Server) -> Case:
    """The body is larger than the server takes: the client sends less at a time."""
    case = Case(server)
    case.write("lot", LOT, at="10:00:00", creates=True, **TEA)
    case.write("session", SESSION, at="10:00:01", creates=True, **POT)
    case.recorder.on_the_way = lambda body: body + b" " * 2**21
    case.sync()
    case.expect(shown=[LOT, SESSION])
    return case


def too_many_requests(server: Server) -> Case:
    """The login has sent too many requests: nothing was taken, everything stays."""
    case = Case(server)
    case.write("lot", LOT, at="10:00:00", creates=True, **TEA)
    for _ in range(2):  # a minute may end between the requests
        _use_up_requests(case)
    case.sync(ends_with=429)
    case.expect(unsent=[1], shown=[LOT], has_all=False)
    return case


def _use_up_requests(case: Case) -> None:
    headers = {"Authorization": f"Bearer {case.member.token}"}
    while case.server.send("GET", "/api/v1/me", headers=headers, body=None).status != 429:
        pass


def stream(server: Server) -> Case:
    """A first load comes as lines; the answer breaks off, and the client goes on after the last whole line."""
    case = Case(server, limit=3, streams=True)
    lots = [f"0198c0de-0000-7000-8000-00000000001{n}" for n in range(1, 5)]
    case.colleague.sync(*(_change("lot", lot, at="09:00:00", **TEA) for lot in lots))
    case.recorder.lines_before_break = 2
    case.sync()
    case.expect(shown=lots)
    return case


def flight(server: Server) -> Case:
    """The taster's cups come by code, a blind session names its cup, and the reveal brings what was in them."""
    case = Case(server)
    case.colleague.sync(*(_change("lot", lot, at="09:00:00", **TEA) for lot in (LOT, OTHER_LOT)))
    planned = {"id": FLIGHT, "name": "Spring samples", "lots": [LOT, OTHER_LOT], "tasters": [case.member.user]}
    case.colleague.request("POST", "/api/v1/flights", planned | {"cups_per_sitting": 2})
    case.name_cups(FLIGHT, CUPS)
    case.sync()
    case.expect(shown=[LOT, OTHER_LOT, FLIGHT], has_all=False)
    blind = {name: value for name, value in POT.items() if name != "lot"}
    case.write("session", SESSION, at="10:00:01", creates=True, flight_cup=CUPS[0], **blind)
    case.sync()
    case.expect(shown=[LOT, OTHER_LOT, FLIGHT, SESSION], has_all=False)
    case.colleague.request("POST", f"/api/v1/flights/{FLIGHT}/reveal", {"reason": "one cup was spilled"})
    case.sync()
    case.expect(shown=[LOT, OTHER_LOT, FLIGHT, SESSION])
    if case.colleague.request("GET", f"/api/v1/sessions/{SESSION}")["lot"] != LOT:
        return flight(server)  # the plan is made by chance
    return case


def team(server: Server) -> Case:
    """Shops and members are pulled like records, and a member who leaves is deleted."""
    case = Case(server)
    gone, shop = case.name_team()
    case.sync()
    case.expect()
    case.colleague.request("PATCH", f"/api/v1/shops/{shop}", {"name": "Quay"})
    case.colleague.request("DELETE", f"/api/v1/members/{gone}")
    case.sync()
    case.expect()
    return case


def events(server: Installed) -> Case:
    """An event says that there is something to pull; the client pulls from its own cursor."""
    case = Case(server)
    case.sync()
    change = _change("lot", LOT, at="09:00:00", **TEA)
    case.receive_events(server.events(case.member.token, lambda: case.colleague.sync(change)))
    case.expect(shown=[LOT])
    return case


def unavailable(server: Installed) -> Case:
    """The server is away for a moment: everything stays, and goes later."""
    case = Case(server)
    case.write("lot", LOT, at="10:00:00", creates=True, **TEA)
    with server.without_database():
        case.sync(ends_with=503)
    case.expect(unsent=[1], shown=[LOT], has_all=False)
    case.sync()
    case.expect(shown=[LOT])
    return case


def full(server: Server) -> Case:
    """A photo beyond the quota: the client keeps it and goes on with the rest."""
    case = Case(server)
    case.write("lot", LOT, at="10:00:00", creates=True, **TEA)
    case.sync()
    for last in (1, 2):
        sent = {"id": PHOTO[:-1] + str(5 + last), "lot": LOT, "of": "dry_leaf", "sha256": "a" * 64, "bytes": 1000}
        case.request("POST", "/api/v1/photos", body=sent, ends_with=201 if last == 1 else 507)
    case.sync()
    case.expect(shown=[LOT, PHOTO])
    return case


CASES: dict[str, Callable[[Server], Case]] = {
    made.__name__: made
    for made in (
        applied, echo, unchanged, merged, same_moment, unknown_parent, parent_deleted, brought_back, not_yours,
        invalid_field, pages, stream, scope, photo, flight, team, quota, signed_out, unknown_schema, start_again,
        too_large, too_many_requests, full,
    )
}  # fmt: skip
"""By the name of the file."""
OF_INSTALLATION: dict[str, Callable[[Installed], Case]] = {made.__name__: made for made in (events, unavailable)}
"""What only an installation can show."""
