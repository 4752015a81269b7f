"""Loads the demo data through the API and waits for the figures."""

import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from config.demo.company import ILVA, PASSWORD, PEOPLE, TEAM, TIME_ZONE, Person
from config.demo.flights import FLIGHTS, flight_id, run_flight
from config.demo.lots import LOTS, SESSIONS, SHOWN
from config.demo.pictures import send_pictures
from config.demo.sessions import VESSELS_BY_SHOP
from config.demo.story import Message, demo_device_id, lot_id, messages, pot_id
from table.phone import (
    HttpTransport,
    MemoryStore,
    Phone,
    PhoneError,
    PhoneOptions,
    RefusedError,
    RetryPolicy,
    SyncReport,
)
from teams.actions.people import create_member, create_team
from teams.errors import NotFound, Refused
from teams.models import Team
from teams.queries.people import team_by_id_or_name

_FIGURES_LIMIT_S = 30.0
_POLL_S = 0.25
_MAX_PRINTED_REFUSALS = 3
_OPTIONS = PhoneOptions(retry=RetryPolicy(attempts=4, first_s=0.3))

LogLine = Callable[[str], None]


class DemoError(Exception):
    """The demo data cannot be loaded; the text says why."""


@dataclass(slots=True)
class _Company:
    """The team, every phone that writes, and each phone's shop as the server answered it."""

    team: Team
    phones: dict[str, Phone] = field(default_factory=dict)
    shops: dict[str, str | None] = field(default_factory=dict)


def load_demo(url: str, *, log: LogLine) -> None:
    """Put the demo data in through the server at ``url``; a second run changes nothing.

    Raise DemoError if the server cannot be reached, or if something else has the demo's names.
    """
    began = time.monotonic()
    url = url.rstrip("/")
    try:
        with _phone(url, device=UUID(int=0)) as anyone:
            anyone.request("GET", "/health/live")
        with ExitStack() as stack:
            company = _assemble(url, stack=stack)
            verdicts = _sync_all(company, log=log)
            _choose_usual_pots(company)
            _run_flights(company, log=log)
            if pictures := send_pictures(company.team.id, phones=company.phones):
                log(f"  {pictures} pictures of liquor, drawn")
            if not _wait_for_figures(company, log=log):
                log("  the figures of some lots are still being computed; their pages say so until they are")
            for phone in company.phones.values():
                phone.sign_out()
    except PhoneError as error:
        raise DemoError(str(error)) from error
    same = verdicts["unchanged"]
    new, took_s = verdicts.total() - same - verdicts["refused"], time.monotonic() - began
    log(f"Demo data of {TEAM}: {new} edits taken in, {same} there already; {took_s:.1f} s in all.")
    _print_urls(url, company.team.id, log=log)
    if verdicts["refused"]:
        raise DemoError(f"{verdicts['refused']} records were refused, the first of them named above")


def _phone(url: str, *, device: UUID) -> Phone:
    """Return a phone that remembers nothing beyond this run."""
    return Phone(HttpTransport(url), store=MemoryStore(str(device)), options=_OPTIONS)


def _send(message: Message, phone: Phone) -> SyncReport:
    """Queue a message on a phone and send it, without pulling: nobody looks at this phone."""
    for change in message.changes:
        at, fields = datetime.fromisoformat(str(change["at"])), change["fields"]
        if isinstance(fields, dict):
            phone.edit(str(change["type"]), str(change["id"]), fields, at=at)
    return phone.sync(pull=False)


def _assemble(url: str, *, stack: ExitStack) -> _Company:
    """Find or make the team and its people, and sign their phones in."""
    try:
        company = _Company(team_by_id_or_name(TEAM))
    except NotFound as absent:
        if "several" in absent.detail:
            raise DemoError(f"{absent.detail}: rename all but the demo's own") from absent
        with _name_in_error(ILVA):
            owner = create_team(
                name=TEAM, shop=ILVA.shop.name, username=ILVA.username, password=PASSWORD, time_zone=TIME_ZONE
            )
        company = _Company(owner.team)
    # The owner came with the team. If this sign-in fails, the team of that name is somebody else's: hands off.
    for person in PEOPLE:
        phone = stack.enter_context(_phone(url, device=demo_device_id(company.team.id, person)))
        if not _signed_in(phone, person, company=company):
            if person is ILVA:
                raise DemoError(
                    f"a team is called {TEAM}, but {ILVA.username} cannot sign in to it at {url} with the demo's"
                    " password: either it is not the demo's team, or that server works on another database"
                )
            with _name_in_error(person):
                create_member(
                    team=company.team,
                    shop=person.shop.name,
                    username=person.username,
                    password=PASSWORD,
                    role=person.role,
                )
            if not _signed_in(phone, person, company=company):
                raise DemoError(f"{person.username} cannot sign in at {url}")
        company.phones[person.username] = phone
    return company


@contextmanager
def _name_in_error(person: Person) -> Iterator[None]:
    """Turn a refusal about a person into a `DemoError` that names them."""
    try:
        yield
    except Refused as refused:
        raise DemoError(f"{person.username} cannot be made: {refused.reasons}") from refused


def _signed_in(phone: Phone, person: Person, *, company: _Company) -> bool:
    try:
        answer = phone.sign_in(
            username=person.username, password=PASSWORD, device_name="demo phone", team=str(company.team.id)
        )
    except RefusedError as error:
        if error.status == 401:
            return False
        raise
    shop = answer["shop"]
    company.shops[person.username] = None if shop is None else str(shop)
    return True


def _sync_all(company: _Company, *, log: LogLine) -> Counter[str]:
    """Send everything, a line of progress for each lot; return how often each verdict was given."""
    verdicts: Counter[str] = Counter()
    pending = Counter(lot.handle for lot in LOTS for _ in range(lot.sessions))
    for message in messages(company.team.id, shops=company.shops):
        for outcome in _send(message, company.phones[message.person.username]).outcomes:
            verdicts[outcome.verdict] += 1
            if outcome.verdict == "refused" and verdicts["refused"] <= _MAX_PRINTED_REFUSALS:
                log(f"  refused: {outcome.unsent.change['type']} {outcome.unsent.record}: {list(outcome.problems)}")
        lot = message.lot
        if lot is None:
            log(f"  {len(message.changes)} lots and pots written down by {message.person.username}")
            continue
        pending[lot.handle] -= 1
        if not pending[lot.handle]:
            done = SESSIONS - pending.total()
            log(f"  {done:2} of {SESSIONS} sessions: {lot.fields['name']} ({lot.sessions})")
    return verdicts


def _choose_usual_pots(company: _Company) -> None:
    """Name the first pot of each shop's shelf as its usual one."""
    for shop, shelf in VESSELS_BY_SHOP.items():
        place = next(company.shops[person.username] for person in PEOPLE if person.shop == shop)
        body = {"usual_pot": str(pot_id(company.team.id, shop, shelf[0]))}
        company.phones[ILVA.username].request("PATCH", f"/api/v1/shops/{place}/", body=body)


def _run_flights(company: _Company, *, log: LogLine) -> None:
    """Run the blind flights that have not been run yet."""
    for flight in FLIGHTS:
        if run_flight(flight, team=company.team.id, runner=company.phones[ILVA.username], phones=company.phones):
            log(f"  flight {'decided' if flight.decided else 'being tasted'}: {flight.name}")


def _wait_for_figures(company: _Company, *, log: LogLine) -> bool:
    """Wait until no lot's figures are behind; return whether it took less than the limit."""
    reader = company.phones[ILVA.username]
    behind = list(LOTS)
    deadline = time.monotonic() + _FIGURES_LIMIT_S
    n_behind = len(behind)
    while True:
        addresses = {lot.handle: f"/api/v1/lots/{lot_id(company.team.id, lot)}/development" for lot in behind}
        behind = [lot for lot in behind if reader.request("GET", addresses[lot.handle])["stale"]]
        if not behind or time.monotonic() > deadline:
            return not behind
        if len(behind) < n_behind:
            log(f"  figures of {len(LOTS) - len(behind)} of {len(LOTS)} lots computed")
            n_behind = len(behind)
        time.sleep(_POLL_S)


def _print_urls(url: str, team: UUID, *, log: LogLine) -> None:
    names = ", ".join(f"{person.username} ({person.role})" for person in PEOPLE)
    log(f"  sign in       {url}/sign-in/ as {names}")
    log(f"  password      {PASSWORD} (demo only: anyone can know it)")
    log(f"  lots          {url}/lots/")
    log(f"  a flight      {url}/flights/{flight_id(team, FLIGHTS[0])}/ ({FLIGHTS[0].name})")
    log(f"  a report      {url}/lots/{lot_id(team, SHOWN)}/report/ ({SHOWN.fields['name']})")
