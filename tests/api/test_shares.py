"""Links: who gives them, what they show, and that an ended one looks like one that never was."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone

from api.http.requests import HEADER
from tastings.actions.developments import refresh_development
from tastings.actions.lexicon import load_lexicon
from tastings.models import RenderedDocument, Share
from tastings.queries.shares import token_of
from tastings.tasks import typeset
from teams.models import Role
from tests.api.phone import change, sync
from tests.api.problems import refusal
from tests.api.reported import forget_reports, photo_of
from tests.api.test_development import session_of
from tests.api.world import undone
from tests.factories import LotFactory, SessionFactory, TeamFactory, person
from tests.pages.test_browser import Seen
from tests.tastings.reports.pdf import text_of

SHARES = "/api/v1/shares/"
NAME = "Ina Unmistakable"
FORMS = ["/", ".pdf", ".png", ".svg", ".csv", ".md"]


@pytest.fixture(scope="module")
def tasted(django_db_setup, django_db_blocker):
    """A lot with figures, the taster who tasted it, and a buyer; what a test does is undone with the test."""
    with django_db_blocker.unblock(), undone():
        load_lexicon()
        taster = person(TeamFactory(name="Kettle & Lid"), Role.TASTER, name=NAME)
        lot = LotFactory(team=taster.team, by=taster.user, name="Mist Ridge")
        sync(taster.client, session_of(lot.id, [6, 7.5, 7, 6, 5]))
        refresh_development(lot.id, now=datetime.now(UTC))
        yield lot, taster, person(taster.team, Role.BUYER)


@pytest.fixture
def lot(tasted, db):
    return tasted[0]


@pytest.fixture
def taster(tasted, db):
    return tasted[1]


@pytest.fixture
def team(taster):
    return taster.team


@pytest.fixture
def buyer(tasted, db):
    return tasted[2]


@pytest.fixture(autouse=True)
def _nothing_cached(monkeypatch):
    forget_reports(monkeypatch)


def give(who, lot, **sent):
    answer = who.client.post(SHARES, {"lot": str(lot.id), "shows": "report", **sent})
    assert answer.status_code == 201, answer.content
    return answer.json()


def beside(share, form):
    """Return the address of a shared page in another form."""
    return share["link"].removeprefix("http://testserver").rstrip("/") + form


def read(address):
    return Client().get(address)


def set_all():
    for document in RenderedDocument.objects.filter(made_at=None):
        typeset(str(document.id))


@pytest.mark.parametrize("role", Role.values)
def test_links_are_given_seen_and_taken_back_by_buyers_and_owners(team, lot, buyer, role):
    who, given = person(team, role), give(buyer, lot)
    sent = {"lot": str(lot.id), "shows": "card"}
    answers = [
        who.client.post(SHARES, sent), who.client.get(SHARES), who.client.get(f"{SHARES}{given['id']}/"),
        who.client.delete(f"{SHARES}{given['id']}/"),
    ]  # fmt: skip
    if role in (Role.OWNER, Role.BUYER):
        assert [answer.status_code for answer in answers] == [201, 200, 200, 204]
    else:
        assert [refusal(answer)[:2] for answer in answers] == [(403, "not-allowed")] * 4
        assert Share.objects.get().revoked_at is None


def test_link_is_told_with_its_end_its_address_and_its_views(buyer, lot):
    given = give(buyer, lot)
    listed = buyer.client.get(SHARES, {"lot": str(lot.id)}).json()["results"]

    assert listed == [given] == [buyer.client.get(f"{SHARES}{given['id']}/").json()]
    assert (given["shows"], given["lang"], given["names"], given["views"], given["open"]) == (
        "report",
        "en",
        False,
        0,
        True,
    )
    ends = datetime.fromisoformat(given["expires_at"]) - timezone.now()
    assert timedelta(days=29, hours=23) < ends <= timedelta(days=30)
    assert given["link"] == f"http://testserver/shared/{token_of(Share.objects.get().id)}/"
    assert buyer.client.get(SHARES, {"lot": str(uuid4())}).json()["results"] == []


def test_address_of_a_link_holds_a_signature_of_128_bits_or_more(buyer, lot):
    token = give(buyer, lot)["link"].rsplit("/", 2)[-2]
    signature = token.partition(".")[2]
    assert len(signature) * 6 >= 128
    assert str(Share.objects.get().id) not in token


@pytest.mark.parametrize(
    ("sent", "problem"),
    [
        ({"lot": str(uuid4())}, ("lot", "unknown_parent")),
        ({"lot": None}, ("lot", "required")),
        ({"shows": "all"}, ("shows", "choice")),
        ({"lang": "xx"}, ("lang", "choice")),
        ({"names": "yes"}, ("names", "type")),
        ({"expires_at": "2020-01-01T00:00:00Z"}, ("expires_at", "range")),
        ({"expires_at": "2999-01-01T00:00:00Z"}, ("expires_at", "range")),
        ({"expires_at": "soon"}, ("expires_at", "moment")),
        ({"views": 9}, ("views", "read_only")),
        ({"colour": 1}, ("colour", "unknown_field")),
    ],
)
def test_link_with_a_wrong_field_is_refused(buyer, lot, sent, problem):
    answer = buyer.client.post(SHARES, {"lot": str(lot.id), "shows": "report", **sent})
    assert refusal(answer) == (422, "invalid", {problem})
    assert not Share.objects.exists()


def test_shared_report_is_read_by_anyone_in_every_form(buyer, lot):
    given = give(buyer, lot)
    first = {form: read(beside(given, form)) for form in FORMS}
    set_all()
    then = {form: read(beside(given, form)) for form in (".pdf", ".png")}

    assert {form: answer.status_code for form, answer in first.items()} == {
        "/": 200, ".pdf": 202, ".png": 202, ".svg": 200, ".csv": 200, ".md": 404,
    }  # fmt: skip
    assert [answer.content[:4] for answer in then.values()] == [b"%PDF", b"\x89PNG"]
    assert "<h1><bdi>Mist Ridge</bdi></h1>" in first["/"].content.decode()


def test_forms_of_a_shared_report_stay_in_its_language(buyer, lot):
    share = give(buyer, lot)
    plain, german = read(share["link"]), read(f"{share['link']}?lang=de")

    assert f'href="{beside(share, ".csv")}"' in plain.content.decode()
    assert f'href="{beside(share, ".csv")}?lang=de"' in german.content.decode()


def test_shared_card_is_read_by_anyone_in_its_language(buyer, lot):
    given = give(buyer, lot, shows="card", lang="de")
    page, text = read(beside(given, "/")), read(beside(given, ".md"))
    assert read(beside(given, ".pdf")).status_code == 202
    set_all()

    assert "Was Sie erwartet" in page.content.decode()
    assert "verbrüht" in text.content.decode()
    assert "scalds" in read(beside(given, ".md?lang=en")).content.decode()
    assert read(beside(given, ".pdf")).content[:4] == b"%PDF"
    others = [".csv", ".svg", ".png", ".md?lang=xx", f"/photos/{uuid4()}.jpg"]
    assert [read(beside(given, form)).status_code for form in others] == [404] * 5


def test_shared_pages_set_no_cookie_link_nowhere_inside_and_ask_not_to_be_indexed(buyer, lot):
    report, card = give(buyer, lot), give(buyer, lot, shows="card")
    ended = {"link": "http://testserver/shared/nothing/"}
    signed_in = Client()
    signed_in.force_login(buyer.user)
    for given in (report, card, ended):
        answer = read(beside(given, "/"))
        assert (dict(answer.cookies), answer["X-Robots-Tag"]) == ({}, "noindex, nofollow")
        assert (answer["Cache-Control"], answer["Referrer-Policy"]) == ("no-store", "no-referrer")
        assert "default-src 'none'" in answer["Content-Security-Policy"]
        assert "Cookie" not in answer.get("Vary", "")
        seen = Seen(answer.content.decode())
        assert ("meta", "content", "noindex, nofollow") in seen.attributes
        links = [value for tag, name, value in seen.attributes if (tag, name) == ("a", "href")]
        assert [link for link in links if not link.startswith(("/shared/", "#", "?"))] == []
        assert signed_in.get(beside(given, "/")).content == answer.content


def test_shared_report_shows_nothing_of_its_tastings_unless_allowed(buyer, lot):
    hidden, named = give(buyer, lot), give(buyer, lot, names=True)
    for given in (hidden, named):
        [read(beside(given, form)) for form in (".pdf", ".png")]
    set_all()
    for given, names in ((hidden, False), (named, True)):
        texts = [read(beside(given, form)).content.decode() for form in ("/", ".svg", ".csv")]
        texts.append(text_of(read(beside(given, ".pdf")).content))
        assert any(NAME in one for one in texts) is names
        page = texts[0]
        assert all((secret in page) is names for secret in ("This rests on", "Sessions behind it", "Worked out on"))
    page = read(beside(hidden, "/")).content.decode()
    [session] = buyer.client.get(f"/api/v1/sessions/?lot={lot.id}").json()["results"]
    assert [secret for secret in (session["taster"], session["id"], str(buyer.user.username)) if secret in page] == []


def test_expired_revoked_unknown_and_tampered_links_are_one_page(buyer, lot):
    open_one, revoked, expired, of_gone = (give(buyer, lot) for _ in range(4))
    gone = LotFactory(team=buyer.team, by=buyer.user)
    Share.objects.filter(id=of_gone["id"]).update(lot=gone)
    type(gone).objects.filter(id=gone.id).update(removed=True)
    assert buyer.client.delete(f"{SHARES}{revoked['id']}/").status_code == 204
    assert buyer.client.delete(f"{SHARES}{revoked['id']}/").status_code == 204
    Share.objects.filter(id=expired["id"]).update(expires_at=timezone.now())
    token = open_one["link"].rsplit("/", 2)[-2]
    turned = token[:-1] + ("A" if token[-1] != "A" else "B")
    never = token_of(uuid4())
    addresses = [beside(one, form) for one in (revoked, expired, of_gone) for form in FORMS]
    addresses += [
        f"/shared/{odd}{form}" for odd in (turned, never, "x", "a.b", "%00", "é", token[:22]) for form in FORMS
    ]
    addresses += [f"/shared/{never}/photos/{uuid4()}.jpg", beside(revoked, f"/photos/{uuid4()}.jpg")]
    answers = [read(address) for address in addresses]

    assert len({answer.headers.pop(HEADER) for answer in answers}) == len(answers)  # each request's own number
    assert {answer.status_code for answer in answers} == {404}
    assert {(answer.content, tuple(sorted(answer.items()))) for answer in answers} == {
        (answers[0].content, tuple(sorted(answers[0].items())))
    }
    assert read(beside(open_one, "/")).status_code == 200
    ended = {row["id"]: (row["open"], row["link"]) for row in buyer.client.get(SHARES).json()["results"]}
    assert (ended[revoked["id"]], ended[expired["id"]]) == ((False, None), (False, None))


def test_views_are_counted_and_nothing_else_is_kept(buyer, lot):
    given, other = give(buyer, lot), give(buyer, lot)
    for form in ("/", "/", ".svg", ".csv", ".pdf", ".md"):  # the PDF is not there yet, a report has no Markdown
        read(beside(given, form))
    Client().head(beside(given, "/"))
    set_all()
    read(beside(given, ".pdf"))

    views = {row["id"]: row["views"] for row in buyer.client.get(SHARES).json()["results"]}
    assert views == {given["id"]: 5, other["id"]: 0}
    columns = {field.name for field in Share._meta.get_fields()}
    assert columns == {
        "id", "team", "lot", "shows", "lang", "names", "by", "kept_by", "expires_at", "created_at", "revoked_at",
        "views",
    }  # fmt: skip


def test_link_goes_on_showing_what_is_known_now(buyer, taster, lot):
    given = give(buyer, lot)
    taster.client.patch(f"/api/v1/lots/{lot.id}/", {"name": "Cloud Ridge"})
    assert "Cloud Ridge" in read(beside(given, "/")).content.decode()


def test_private_session_stays_out_of_a_shared_report(buyer, lot):
    SessionFactory(lot=lot, by=buyer.user, private=True, vessel_ml=777)
    assert "777" not in read(beside(give(buyer, lot), "/")).content.decode()


def test_shared_report_shows_photos_of_leaf_and_liquor_only(buyer, taster, lot, settings, tmp_path):
    settings.PHOTOS_DIR, settings.PHOTOS_LEAVE_FREE_BYTES = tmp_path / "photos", 0
    liquor, thumbnail = photo_of(taster, lot=lot)
    person_in_it, _ = photo_of(taster, lot=lot, of="other")
    elsewhere, _ = photo_of(taster, lot=LotFactory(team=taster.team, by=taster.user))
    given = give(buyer, lot)
    page = read(beside(given, "/")).content.decode()
    addresses = [beside(given, f"/photos/{photo.id}.jpg") for photo in (liquor, person_in_it, elsewhere)]

    assert [f'src="{address}"' in page for address in addresses] == [True, False, False]
    answers = [read(address) for address in addresses]
    assert [answer.status_code for answer in answers] == [200, 404, 404]
    assert answers[0].content == thumbnail


@pytest.mark.parametrize(
    "hostile", ["<script>alert(1)</script>", "=HYPERLINK(1)", "W" * 120, "שלום \u202e 🍵", "#emph[x] *b*"]
)
def test_hostile_text_is_harmless_in_every_form_of_both(buyer, taster, hostile):
    lot = change("lot", name=hostile, kind="green", code=hostile[:60], cultivar=hostile, region=hostile, garden=hostile,
                 producer=hostile, harvest_season=hostile[:60])  # fmt: skip
    word = change("descriptor", key="odd_word", label=hostile[:80], rated_each_infusion=True)
    tasting = session_of(lot["id"], [7, 6, 5])
    notes = [
        change(
            "note", session=tasting[0]["id"], infusion=pour["id"], descriptor="odd_word", moment="mouth", intensity=9
        )
        for pour in tasting
        if pour["type"] == "infusion"
    ]
    assert {v["verdict"] for v in sync(taster.client, [word, lot, *tasting, *notes])["verdicts"]} == {"applied"}
    refresh_development(lot["id"], now=datetime.now(UTC))
    for shows, forms in (("report", ["/", ".svg", ".csv", ".pdf", ".png"]), ("card", ["/", ".md", ".pdf"])):
        answer = buyer.client.post(SHARES, {"lot": lot["id"], "shows": shows, "names": True})
        [read(beside(answer.json(), form)) for form in forms]
        set_all()
        for form in forms:
            got = read(beside(answer.json(), form))
            assert got.status_code == 200, (form, RenderedDocument.objects.exclude(failure="").values_list("failure"))
            if form in ("/", ".svg"):
                assert "script" not in Seen(got.content.decode()).tags
            if form == ".md":
                assert "<script" not in got.content.decode().replace("\\<", "")
            if form == ".csv":
                assert [
                    c for c in got.content.decode().replace("\r\n", ",").split(",") if c[:1] in "=+-@" and c[:1]
                ] == []
