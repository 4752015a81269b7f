"""Two teams with something behind every address, and for every route and method a request in which nothing is wrong."""

from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from http.cookies import SimpleCookie
from unittest.mock import patch
from uuid import UUID, uuid4

from django.conf import settings
from django.contrib.auth.hashers import Argon2PasswordHasher
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.signing import Signer
from django.db import transaction
from django.test import override_settings
from django.utils import timezone

from tastings.actions.flights.planning import plan_flight
from tastings.actions.lexicon import load_lexicon
from tastings.actions.logos import check_logo, upload_logo
from tastings.models import Flight, FlightCup, TriangleTest
from tastings.queries.late_scores import late_sessions
from tastings.queries.triangles import cup_sets_of
from teams.actions.emails import request_verification
from teams.actions.people import token_digest
from teams.models import DeviceToken, ResetLink, Role
from tests.api.phone import change, sync
from tests.api.records import TYPES, Place
from tests.api.tables import Tables
from tests.factories import DescriptorFactory, DeviceTokenFactory, LotFactory, TeamFactory, person, phone, web_browser
from tests.tastings.photos.photographs import (
    LIQUOR,
    WHITE,
    announce,
    announced,
    encode_image,
    scene,
    send,
    upload_and_check,
)

PASSWORD = "two leaves and a bud"
ROLES = ("owner", "buyer", "taster", "viewer", "nobody", "left", "stranger", "colleague")
"""Who asks: the members of the team that everything belongs to, ``colleague`` being a second taster; someone who is not
signed in; someone who was a taster of the team and left it, with the token and the browser of that time; the owner of
another team."""
QUICK = {"time_cost": 1, "memory_cost": 8, "parallelism": 1}
"""Of Argon2, as every test has them; or each sign-in would store the password anew."""
CSRF = "c" * 32
"""What a browser has as the cookie ``csrftoken`` and repeats in a header."""
PICTURE = encode_image(scene(), quality=90)
UNDER_WAY = encode_image(scene(liquor=(120, 60, 20)), quality=90)


@dataclass(frozen=True, slots=True)
class Sent:
    """What a request carries beside its method."""

    address: str
    body: object = None
    content_type: str = "application/json"
    headers: dict[str, str] = field(default_factory=dict)


class World:
    """The team with its people and things; ``ids`` has a value for every parameter of an address."""

    def __init__(self):
        load_lexicon()
        team = TeamFactory(name="Kettle & Lid")
        self.people = {role: person(team, role, password=PASSWORD) for role in Role.values}
        self.people["colleague"] = person(team, Role.TASTER, password=PASSWORD)
        self.people["left"] = person(team, Role.TASTER, password=PASSWORD)
        self.people["stranger"] = person(TeamFactory(name="Other House"), Role.OWNER, password=PASSWORD)
        self.owner, self.buyer, self.taster = (self.people[role] for role in ("owner", "buyer", "taster"))
        self.cookies = {role: _cookies(self.people.get(role)) for role in ROLES}
        self.phones = {role: self.people[role].client if role in self.people else phone() for role in ROLES}
        done = self.owner.client.delete(f"/api/v1/members/{self.people['left'].user.id}/")
        assert done.status_code == 204
        self.ids, self.records = {}, {}
        self._taste(team)
        self._photograph()
        self._blind()
        self._share_and_invite()
        # as if used just now for as long as the tests run: then asking changes nothing by itself
        later, end = timezone.now() + timedelta(days=1), timezone.now() + timedelta(days=settings.DEVICE_TOKEN_DAYS)
        DeviceToken.objects.update(last_used_at=later, expires_at=end)
        self._tables = Tables()

    def _taste(self, team):
        """Make lots, a session with a note that says something, a word of the team, a triangle test."""
        place = self.place = Place(self.taster)
        text = self.taster.client.patch(f"/api/v1/notes/{place.note.id}/", {"text": "lots of honey, a touch of smoke"})
        assert text.status_code == 200, text.content
        self.records = {name: str(getattr(place, name).id) for name in TYPES}
        self.word = DescriptorFactory(team=team, by=self.taster.user)
        self.other_lot = LotFactory(team=team, by=self.taster.user)
        self.samples = [LotFactory(team=team, by=self.buyer.user, status="sample") for _ in range(3)]
        device = DeviceTokenFactory(member=self.taster.member)
        self.ids |= {
            "token_id": device.id,
            "shop_id": self.taster.member.shop_id,
            "user_id": self.taster.user.id,
            "taster_id": self.taster.user.id,
            "lot_id": place.lot.id,
            "session_id": place.session.id,
            "test_id": uuid4(),
            "trial_id": uuid4(),
            "problem_type": "invalid",
            "record_type": "infusion",
            "start_code": "of no server",
            "name": "merged.json",
            "resource": "lots",
        }
        test = {"id": str(self.ids["test_id"]), "lot": place.words["lot"], "against": str(self.other_lot.id)}
        trial = {"id": str(self.ids["trial_id"]), "correct": True}
        self._made(self.taster, "/api/v1/triangle-tests/", {**test, "held_on": "2026-03-04"})
        self._made(self.taster, f"/api/v1/triangle-tests/{test['id']}/trials", trial)
        self.a_code = str(cup_sets_of(TriangleTest.objects.get(id=test["id"]))[0].odd)

    def _photograph(self):
        """Keep one photo and a logo, and have another photo under way."""
        upload_logo(self.owner.member, file=PICTURE, now=timezone.now())
        check_logo(self.owner.team.id, now=timezone.now())
        address, _ = upload_and_check(self.taster, PICTURE, lot=self.place.words["lot"])
        self.ids["photo_id"] = UUID(address.split("/")[-2])
        self.under_way, answer = announce(self.taster, UNDER_WAY, session=self.place.words["session"])
        assert (answer.status_code, send(self.taster, self.under_way, UNDER_WAY[:9], 0).status_code) == (201, 200)

    def _blind(self):
        """Plan two flights that the buyer pours and the taster tastes, and reveal one."""
        self.ids["flight_id"], self.revealed = uuid4(), uuid4()
        for flight in (self.ids["flight_id"], self.revealed):
            self._made(self.buyer, "/api/v1/flights/", self.flight(flight))
            assert plan_flight(flight, now=timezone.now())
        answer = self.buyer.client.post(f"/api/v1/flights/{self.revealed}/reveal", {"reason": "the kettle broke"})
        assert answer.status_code == 200, answer.content
        cup = FlightCup.objects.filter(flight=self.revealed, taster=self.taster.user).first()
        self.late = uuid4()
        tasted = {"flight_cup": str(cup.id), "started_at": "2026-03-04T10:00:00Z", "leaf_g": 5, "vessel_ml": 110}
        liking = {"session": str(self.late), "moment": "mouth", "descriptor": "liking", "intensity": 7}
        sync(self.taster.client, [change("session", self.late, **tasted), change("note", **liking)])

    def flight(self, flight):
        """Return the body that sets a flight up."""
        lots, taster, pourer = [str(lot.id) for lot in self.samples], self.taster.user.id, self.buyer.user.id
        people = {"tasters": [str(taster)], "pourers": [str(pourer)]}
        return {"id": str(flight), "name": "Spring samples", "lots": lots, "cups_per_sitting": 3, **people}

    def _share_and_invite(self):
        """Give links: to the lot's report, into the team, to a new password."""
        share = self._made(self.buyer, "/api/v1/shares/", {"lot": self.place.words["lot"], "shows": "report"})
        invitation = self._made(
            self.owner, "/api/v1/invitations/", {"role": "taster", "shop": self.place.words["shop"]}
        )
        now = timezone.now()
        ends = now + timedelta(hours=1)
        ResetLink.objects.create(user=self.taster.user, digest=token_digest("reset"), created_at=now, expires_at=ends)
        self.ids |= {
            "share_id": share["id"],
            "share_token": share["link"].rstrip("/").rpartition("/")[2],
            "invitation_id": invitation["id"],
            "invitation_token": invitation["token"],
            "reset_token": "reset",
            "verification_token": verification_of(self.taster.user, now=now),
        }

    def _made(self, who, address, body):
        answer = who.client.post(address, body)
        assert answer.status_code == 201, answer.content
        return answer.json()

    def digests(self):
        """Return a digest of each table by its name, but for those that count and log refusals."""
        return self._tables.digests()

    def path(self, address, **other):
        """Return an address of the URL table with the ids of what is the team's, or other ids."""
        kind = address.removeprefix("/api/v1/").partition("/")[0].removesuffix("s")
        flight = {"flight_id": self.revealed} if address.rstrip("/").endswith(("/answer", "/decision")) else {}
        if "/late/" in address:
            flight = {"flight_id": self.revealed, "session_id": self.late}
        record = {"record_id": self.records.get("infusion" if address.startswith("/records/") else kind)}
        if address == "/records/{record_type}/new/":
            record["record_type"] = "lot"
        if address == "/records/{record_type}/{record_id}/photos/":
            record = {"record_type": "session", "record_id": self.place.session.id}
        if address in ("/api/v1/descriptors/{record_id}/merge", "/team/words/{record_id}/merge/"):
            record = {"record_id": self.word.id}
        return address.format(**self.ids | record | flight | other)

    def own_of_the_stranger(self):
        """Make a few things of the other team; return their ids by the name they have in addresses."""
        stranger = self.people["stranger"]
        place, test = Place(stranger), {"test_id": uuid4()}
        body = {"id": str(test["test_id"]), "lot": place.words["lot"], "held_on": "2026-03-04"}
        against = LotFactory(team=stranger.team, by=stranger.user)
        self._made(stranger, "/api/v1/triangle-tests/", {**body, "against": str(against.id)})
        share = self._made(stranger, "/api/v1/shares/", {"lot": place.words["lot"], "shows": "report"})
        token = {"share_token": share["link"].rstrip("/").rpartition("/")[2]}
        own = {"lot_id": place.lot.id, "record_id": place.session.id, "user_id": stranger.user.id}
        return own | test | token

    def request(self, address, method, who="owner"):
        """Return a request in which nothing is wrong, as far as it depends on who asks."""
        path, make = self.path(address), BODIES.get((address, method))
        if address == "/api/v1/photos/{photo_id}/content":
            sent = {"HTTP_UPLOAD_OFFSET": "9"}
            return Sent(f"{self.under_way}content", UNDER_WAY[9:], "application/octet-stream", sent)
        if address == "/api/v1/team/logo" and method == "put":
            return Sent(path, PICTURE, "application/octet-stream")
        if address == "/api/v1/auth/tokens/from-session":
            cookies = {"HTTP_COOKIE": f"csrftoken={CSRF};{self.cookies[who]}", "HTTP_X_CSRFTOKEN": CSRF}
            return Sent(path, make(self, who), headers=cookies)
        if address in ("/api/v1/compare", "/compare/"):
            return Sent(f"{path}?lots={self.place.lot.id},{self.other_lot.id}")
        if not address.startswith("/api/"):
            return Sent(path, make and make(self, who), "application/x-www-form-urlencoded")
        return Sent(path, make and make(self, who))

    def ask(self, role, method, sent):
        """Let someone send a request, an API's by phone and a page's by browser; return the answer."""
        if sent.address.startswith("/api/"):
            client = self.phones[role]
            if sent.content_type != "application/json":
                return client.generic(method.upper(), sent.address, sent.body, sent.content_type, **sent.headers)
            answer = getattr(client, method)(sent.address, sent.body, **sent.headers)
            if answer.streaming and method != "head":
                answer.getvalue()  # to its end, which closes what it is read from
            return answer
        return getattr(self.browser(role), method)(sent.address, sent.body or {})

    def browser(self, role):
        """Return someone's browser: one of its own each time, since what is undone may have changed its cookies."""
        found = web_browser()
        found.cookies = SimpleCookie(self.cookies[role])
        return found


def verification_of(user, *, now):
    """Give a login an address and return the token of the link that verifies it."""
    type(user).objects.filter(id=user.id).update(email="leaf@tea.example")
    user.refresh_from_db()
    request = request_verification(user, site="http://testserver", now=now)
    return Signer(salt="teams.email_verification", sep=".").sign(str(request))


def _cookies(who):
    """Return what the browser of someone holds once they have signed in, as a header has it."""
    browser = web_browser()
    if who is not None:
        browser.force_login(who.user)
    return browser.cookies.output(attrs=[], header="", sep=";")


@contextmanager
def a_world(folder):
    """Make a world with its photos in a folder, and unmake it."""
    with ExitStack() as stack:
        stack.enter_context(patch.multiple(Argon2PasswordHasher, **QUICK))
        stack.enter_context(override_settings(PHOTOS_DIR=folder, PHOTOS_LEAVE_FREE_BYTES=0))
        stack.enter_context(transaction.atomic())
        yield World()
        transaction.set_rollback(True)


@contextmanager
def undone():
    """Undo in the database whatever is done within."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def _new(type_name):
    return lambda world, who: {"id": str(uuid4()), **world.place.new(type_name)}


def _login(world, who):
    return {"username": world.people.get(who, world.taster).user.username, "password": PASSWORD}


def _joining(world, who):
    return {"username": f"new-{uuid4()}", "password": "a bowl with a lid"}


def _test(world, who):
    words = {"lot": world.place.words["lot"], "against": str(world.other_lot.id), "held_on": "2026-03-04"}
    return {"id": str(uuid4()), **words}


def _same(**body):
    return lambda world, who: body


def _decision(world, who):
    return {"reason": "sweet to the end", "chosen": [{"lot": str(world.samples[0].id), "bought": str(uuid4())}]}


def _flight_form(world):
    flight = world.flight(uuid4())
    parts = {f"part-{flight['tasters'][0]}": "tastes", f"part-{flight['pourers'][0]}": "pours"}
    return {"name": "Autumn samples", "lots": flight["lots"], "cups_per_sitting": "3", **parts}


def _late(world, who):
    [late] = late_sessions(Flight.objects.get(id=world.revealed))
    return {"revision": late.shown.revision}


def _pushed(world, who):
    return {"schema": 1, "device": str(uuid4()), "changes": [change("lot", name="Mist Ridge", kind="oolong")]}


BODIES = {
    **{(f"/api/v1/{name}s/", "post"): _new(name) for name in TYPES},
    **{(f"/api/v1/{name}s/{{record_id}}/", "patch"): _same(remarks="sweet") for name in ("lot", "session", "infusion")},
    ("/api/v1/notes/{record_id}/", "patch"): _same(text="orchid"),
    ("/api/v1/descriptors/{record_id}/", "patch"): _same(label="wet stone"),
    ("/api/v1/descriptors/{record_id}/merge", "post"): _same(into="honey"),
    ("/api/v1/notes/{record_id}/suggestions/accept", "post"): _same(accept=[{"descriptor": "honey"}]),
    ("/api/v1/read", "post"): _same(text="honey"),
    ("/api/v1/sync", "post"): _pushed,
    ("/api/v1/sync/stream", "post"): _same(schema=1, device=str(uuid4())),
    ("/api/v1/auth/tokens", "post"): lambda world, who: {**_login(world, who), "device": "phone"},
    ("/api/v1/auth/tokens/from-session", "post"): _same(device="app"),
    ("/api/v1/auth/reset", "post"): lambda world, who: {"username": _login(world, who)["username"]},
    ("/api/v1/auth/reset/password", "post"): _same(token="reset", password="a bowl with a lid"),
    ("/api/v1/invitations/accept", "post"): lambda world, who: {
        "token": world.ids["invitation_token"],
        **_joining(world, who),
    },
    ("/api/v1/invitations/", "post"): lambda world, who: {"role": "taster", "shop": world.place.words["shop"]},
    ("/api/v1/me/email", "post"): _same(email="leaf@example.org", password=PASSWORD),
    ("/api/v1/me/email/verification", "put"): lambda world, who: {"token": world.ids["verification_token"]},
    ("/account/links/", "post"): lambda world, who: {"share": world.ids["share_id"], "decision": "end"},
    ("/account/email/", "post"): _same(email="leaf@example.org", password=PASSWORD),
    ("/api/v1/me/password", "post"): _same(password=PASSWORD, new_password="a bowl with a lid"),
    ("/api/v1/members/{user_id}/", "patch"): _same(role="buyer"),
    ("/api/v1/shops/", "post"): _same(name="Harbour"),
    ("/api/v1/shops/{shop_id}/", "patch"): _same(name="Harbour"),
    ("/api/v1/pots/{record_id}/", "patch"): _same(name="Shelf bowl"),
    ("/api/v1/team", "patch"): _same(name="Kettle & Bowl"),
    ("/api/v1/team/owner", "post"): lambda world, who: {"to": str(world.taster.user.id)},
    ("/api/v1/triangle-tests/", "post"): _test,
    ("/api/v1/triangle-tests/{test_id}/tasters", "put"): lambda world, who: {"tasters": [str(world.taster.user.id)]},
    ("/lots/{lot_id}/triangles/{test_id}/cups/", "post"): _same(answers_each="1"),
    ("/api/v1/triangle-tests/{test_id}/trials", "post"): lambda world, who: {"id": str(uuid4()), "correct": False},
    ("/api/v1/photos/", "post"): lambda world, who: announced(b"picture", lot=world.place.words["lot"]),
    ("/api/v1/photos/{photo_id}/colour", "post"): _same(white=WHITE, liquor=LIQUOR),
    ("/api/v1/shares/", "post"): lambda world, who: {"lot": world.place.words["lot"], "shows": "card"},
    ("/api/v1/flights/", "post"): lambda world, who: world.flight(uuid4()),
    ("/api/v1/flights/{flight_id}/", "patch"): _same(name="Spring samples again"),
    ("/api/v1/flights/{flight_id}/reveal", "post"): _same(reason="the kettle broke"),
    ("/api/v1/flights/{flight_id}/decision", "post"): _decision,
    ("/api/v1/flights/{flight_id}/late/{session_id}/admit", "post"): _late,
    ("/flights/{flight_id}/late/{session_id}/", "post"): _late,
    ("/flights/{flight_id}/reveal/", "post"): _same(reason="the kettle broke"),
    ("/flights/{flight_id}/decision/", "post"): _same(reason="none is good enough"),
    ("/flights/new/", "post"): _same(do="find", q="spring"),
    ("/flights/{flight_id}/change/", "post"): lambda world, who: {"do": "make", **_flight_form(world)},
    ("/lots/{lot_id}/triangles/", "post"): lambda world, who: {
        "against": str(world.other_lot.id),
        "held_on": "2026-03-04",
    },
    ("/lots/{lot_id}/triangles/{test_id}/answer/", "post"): lambda world, who: {
        "code": world.a_code,
        "taster": str(world.people.get(who, world.owner).user.id),
    },
    ("/lots/{lot_id}/triangles/{test_id}/", "post"): lambda world, who: {
        "taster": str(world.people[who].user.id) if who in world.people else "",
        "correct": "no",
    },
    ("/lots/{lot_id}/links/", "post"): _same(shows="card", lang="de", days="7"),
    ("/account/devices/", "post"): lambda world, who: {"device": str(world.ids["token_id"])},
    ("/sign-in/", "post"): _login,
    ("/join/{invitation_token}/", "post"): _joining,
    ("/team/", "post"): lambda world, who: {"team": str(world.owner.team.id)},
    ("/team/import/", "post"): _same(text="lot,session,started_at,leaf_g,vessel_ml,number,steep_s,kettle_c\nx"),
    ("/team/people/", "post"): lambda world, who: {
        "role": "taster",
        "shop": str(world.people.get(who, world.owner).member.shop_id),
        "days": "7",
    },
    ("/team/people/{user_id}/", "post"): lambda world, who: {"role": "buyer", "shop": world.place.words["shop"]},
    ("/team/logo/", "post"): lambda world, who: {"file": SimpleUploadedFile("logo.jpg", PICTURE)},
    ("/team/settings/", "post"): _same(name="Kettle & Bowl", ready_roast="3"),
    ("/team/shops/", "post"): _same(name="Harbour"),
    ("/team/shops/{shop_id}/", "post"): _same(name="Harbour"),
    ("/team/words/{record_id}/merge/", "post"): _same(into="honey"),
    ("/account/password/", "post"): _same(password=PASSWORD, new_password="a bowl with a lid"),
    ("/photos/{photo_id}/", "post"): _same(white_x="10", white_y="10", liquor_x="50", liquor_y="50"),
    ("/records/{record_type}/{record_id}/photos/", "post"): lambda world, who: {
        "of": "liquor",
        "file": SimpleUploadedFile("bowl.jpg", PICTURE),
    },
    ("/records/{record_type}/new/", "post"): _same(name="Mist Ridge", kind="oolong"),
    ("/records/{record_type}/{record_id}/", "post"): _same(number="1", steep_s="16"),
    ("/records/{record_type}/{record_id}/history/", "post"): _same(field="deleted"),
    ("/language/", "post"): _same(language="de"),
    ("/reset/", "post"): lambda world, who: {"username": _login(world, who)["username"]},
    ("/reset/{reset_token}/", "post"): _same(password="a bowl with a lid"),
}
"""Bodies of the requests that write."""
