"""Phones that write offline, lose answers, send twice and out of order, with wrong clocks: in the end all agree.

``make test`` plays the same 12 stories every time; ``make convergence`` plays LEAFSPAN_STORIES new ones, which
LEAFSPAN_SEED plays again.
"""

import os
import random
import sys
import time
from contextlib import suppress
from copy import deepcopy
from datetime import UTC, datetime, timedelta
from uuid import UUID

import pytest
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, seed, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule, run_state_machine_as_test

from table.phone import (
    MemoryStore,
    Phone,
    PhoneOptions,
    RefusedError,
    RetryPolicy,
    SignedOutError,
    UnreachableError,
)
from table.phone.sync_request import send_request
from tastings.actions.flights.revealing import reveal_flight
from tastings.actions.pruning import prune
from teams.models import Member
from tests.factories import DeviceTokenFactory
from tests.sync.ending import Ending
from tests.sync.wire import FAULTS, Clock, Wire
from tests.sync.world import MORNING, NEW, TOKENS_END_AT, World, device_id, number_id
from tests.table.javascript_phone import JavaScriptPhone, JavaScriptStore

STORIES = int(os.environ.get("LEAFSPAN_STORIES", "0"))
"""How many new stories to play; 0 for the same 12 every time."""
SEED = int(os.environ.get("LEAFSPAN_SEED") or random.SystemRandom().randrange(10**6))
SKEWS_S = (0, 0, 90, -180, 300, -600, 365 * 86_400)
PASSES_S = (1, 30, 119, 121, 300, 3600, 57_600)
"""The last one reaches past midnight, when a scope of days moves on."""
A_LONG_TIME = timedelta(days=401)
EDITS: dict[str, dict[str, list[object]]] = {
    "lot": {"remarks": ["thin", "round", None], "status": ["sample", "bought"], "quantity_g": [50, 250.5]},
    "session": {
        "leaf_g": [4.5, 6],
        "remarks": ["rain", None],
        "ending": ["spent", "stopped", None],
        "started_at": ["2026-03-04T10:00:00Z", "2026-03-01T23:59:59.9Z", "2026-02-01T09:00:00Z"],
    },
    "infusion": {"steep_s": [15, 20.5], "remarks": ["thin", None], "number": [0, 1, 2]},
    "note": {"intensity": [None, 0, 4.5], "text": ["peach", None], "descriptor": ["body", "slate_0"]},
    "descriptor": {"label": ["slate", "wet stone"], "family": ["stone", None]},
}
PHONES = st.integers(0, 4)
IN_JAVASCRIPT = st.sets(st.integers(0, 4)) if STORIES else st.sampled_from([set[int]()] * 19 + [{1}])
"""Which phones are the app's own modules, in Node: any of them in the longer run, the second one in a few stories."""
PICKS = st.integers(0, 50)


class Story(Ending, RuleBasedStateMachine):
    """One story. What must hold at its end stands in `Ending`."""

    world: World

    def __init__(self) -> None:
        super().__init__()
        self.atomic = transaction.atomic()
        self.atomic.__enter__()
        self.clock = self.world.clock
        self.clock.now = MORNING
        self.model, self.made = deepcopy(self.world.model), list(self.world.made)
        self.wire = Wire(self.receive)
        self.stores: list[MemoryStore | JavaScriptStore] = [deepcopy(store) for store in self.world.stores]
        self.holders = list(self.world.holders)
        self.aside: dict[tuple[int, UUID], MemoryStore | JavaScriptStore] = {}
        self.signed = 0
        self.skews = [timedelta(0)] * 5
        self.revealed = False
        self.photos: list[str] = []

    def phone(self, i: int, **habits) -> Phone | JavaScriptPhone:
        """Return a phone in the hand of whoever has it, as if just switched on; some stories have fewer than five."""
        i %= len(self.stores)
        clock = lambda: self.clock.now + self.skews[i % 5]  # noqa: E731
        options, store = PhoneOptions(clock=clock, retry=RetryPolicy(attempts=1), **habits), self.stores[i]
        if isinstance(store, JavaScriptStore):
            return JavaScriptPhone(self.wire, store=store, options=options)
        return Phone(self.wire, store=store, options=options)

    def receive(self, device, changes, verdicts):
        """Let the model know what the server has taken in, from somebody with the role that they have by then."""
        role = Member.objects.get(team=self.world.team, user=self.model.members[device]).role
        self.model.receive(device, changes, verdicts, role=role, now=self.clock.now)

    # What people do

    @initialize(
        phones=st.integers(2, 5),
        skews=st.lists(st.sampled_from(SKEWS_S), min_size=5, max_size=5),
        in_javascript=IN_JAVASCRIPT,
    )
    def set_out(self, phones, skews, in_javascript):
        self.stores = [
            JavaScriptStore(store.state) if i in in_javascript else store
            for i, store in enumerate(self.stores[:phones])
        ]
        self.holders = self.holders[:phones]
        self.skews = [timedelta(seconds=skew) for skew in skews]

    @rule(i=PHONES, skew=st.sampled_from(SKEWS_S))
    def set_clock(self, i, skew):
        self.skews[i] = timedelta(seconds=skew)

    @rule(i=PHONES, type_name=st.sampled_from(list(NEW)), pick=PICKS, more=PICKS, private=st.booleans())
    def begin(self, i, type_name, pick, more, private):
        phone, fields = self.phone(i), dict(NEW[type_name])
        self.clock.now += timedelta(milliseconds=1)
        parents = {"session": "lot", "infusion": "session", "note": "session"}
        if parent := parents.get(type_name):
            found = phone.records(parent)
            if not found:
                return
            fields[parent] = found[pick % len(found)].id
        match type_name:
            case "session":
                fields["private"] = private
                if more % 3 == 0:
                    cups = self.world.cups[self.holders[i % len(self.holders)].user_id]
                    del fields["lot"]
                    fields["flight_cup"] = cups[more % 2]
            case "infusion":
                fields["number"] = more % 4
            case "note":
                poured = [r.id for r in phone.records("infusion") if r.fields["session"] == fields["session"]]
                fields["infusion"] = poured[more % len(poured)] if poured and more % 3 else None
                own = [r.fields["key"] for r in phone.records("descriptor")]
                fields["descriptor"] = own[more % len(own)] if own and private else "strength"
            case "descriptor":
                fields["key"] = f"slate_{more % 3}"
            case _:
                pass
        self.new(phone, type_name, fields)

    def new(self, phone, type_name, fields):
        record = phone.create(type_name, fields, record=number_id(len(self.made)))
        self.made.append((type_name, record))
        return record

    def choose(self, phone, pick, *, type_name=None, seen=True):
        if not seen:
            made = self.made
        else:
            types = [type_name] if type_name else list(NEW)
            made = [(r.type, r.id) for name in types for r in phone.records(name)]
        return made[pick % len(made)] if made else None

    @rule(i=PHONES, pick=PICKS, chance=st.integers(0, 2**16), seen=st.sampled_from([True, True, True, False]))
    def edit(self, i, pick, chance, seen):
        phone = self.phone(i)
        if (chosen := self.choose(phone, pick, seen=seen)) is None:
            return
        type_name, record = chosen
        draw = random.Random(chance)
        possible = EDITS[type_name]
        names = draw.sample(sorted(possible), draw.choice([1, 1, 2]))
        phone.edit(type_name, record, {name: draw.choice(possible[name]) for name in names})

    @rule(i=PHONES, pick=PICKS, seen=st.sampled_from([True, True, True, False]))
    def delete(self, i, pick, seen):
        phone = self.phone(i)
        if (chosen := self.choose(phone, pick, seen=seen)) is not None:
            phone.delete(*chosen)

    @rule(i=PHONES, pick=PICKS, private=st.booleans())
    def turn(self, i, pick, private):
        phone = self.phone(i)
        if (chosen := self.choose(phone, pick, type_name="session")) is not None:
            phone.edit(*chosen, {"private": private})

    @rule(really=st.integers(0, 3))
    def reveal(self, really):
        if really == 3 and not self.revealed:
            self.revealed = True
            owner = self.world.members[0]
            reveal_flight(owner, flight=self.world.flight, reason="a story", now=self.clock.now)

    @rule(i=PHONES, pick=PICKS, of_lot=st.booleans())
    def photograph(self, i, pick, of_lot):
        """Announce a photo of what is on the phone; the server may refuse it."""
        phone, name = self.phone(i), "lot" if of_lot else "session"
        if (chosen := self.choose(phone, pick, type_name=name)) is not None:
            self.photos.append(number_id(10**6 + len(self.photos)))
            sent = {"id": self.photos[-1], name: chosen[1], "of": "liquor", "sha256": "d" * 64, "bytes": 9}
            self.request(self.token(i), "POST", "/api/v1/photos/", sent)

    @rule(i=PHONES, pick=PICKS)
    def take_photo_away(self, i, pick):
        if self.photos:
            self.request(self.token(i), "DELETE", f"/api/v1/photos/{self.photos[pick % len(self.photos)]}/")

    @rule(name=st.sampled_from(["Ford", "Quay", "Hill"]), is_here=st.booleans())
    def run_team(self, name, is_here):
        """Rename the shop of the owner; somebody without a phone comes or goes."""
        self.request(self.world.owner_token, "PATCH", f"/api/v1/shops/{self.world.members[0].shop_id}/", {"name": name})
        left_at = None if is_here else self.clock.now
        Member.objects.filter(id=self.world.bystander.id).update(left_at=left_at)

    @rule(who=st.sampled_from([1, 2]), role=st.sampled_from(["buyer", "taster", "viewer"]))
    def change_role(self, who, role):
        """The owner gives somebody else another role, whatever their phones have not sent."""
        path = f"/api/v1/members/{self.world.members[who].user_id}/"
        self.request(self.world.owner_token, "PATCH", path, {"role": role})

    @rule(who=st.sampled_from([1, 2]), is_here=st.sampled_from([True, True, False]))
    def come_or_go(self, who, is_here):
        """The owner removes a member, whose phones are signed out at once; or the member is back and signs in again."""
        member = self.world.members[who]
        if not is_here:
            self.request(self.world.owner_token, "DELETE", f"/api/v1/members/{member.user_id}/")
        elif not self.is_member(member):
            Member.objects.filter(id=member.id).update(left_at=None)
            for i, holder in enumerate(self.holders):
                if holder == member:
                    self.sign_in(i)

    @rule(i=PHONES, who=st.integers(0, 2))
    def hand_over(self, i, who):
        """Somebody else signs in on a phone; what its former holder has not sent stays on it, apart."""
        i, member = i % len(self.stores), self.world.members[who]
        if member == self.holders[i] or not self.is_member(member):
            return
        former = self.aside[i, self.holders[i].user_id] = self.stores[i]
        found = self.aside.pop((i, member.user_id), None)
        if found is None:
            found = MemoryStore(device_id(10 + len(self.model.members)))
            self.model.members[found.state.device] = str(member.user_id)
            if isinstance(former, JavaScriptStore):
                found = JavaScriptStore(found.state)
        self.stores[i], self.holders[i] = found, member
        self.sign_in(i)

    def sign_in(self, i):
        """Give a phone a new token of whoever has it."""
        self.signed += 1
        token = f"token {self.signed}"
        DeviceTokenFactory(token=token, member=self.holders[i], expires_at=TOKENS_END_AT)
        self.stores[i].append({"event": "signed", "token": token})

    def is_member(self, member):
        """Whether somebody has not left."""
        return Member.objects.filter(id=member.id, left_at=None).exists()

    def token(self, i):
        return self.stores[i % len(self.stores)].state.token

    def request(self, token, method, path, body=None):
        """Ask by REST; the faults of the network are for syncs alone."""
        with suppress(RefusedError):
            send_request(self.wire, (method, path), token=token, body=body, retry=RetryPolicy(attempts=1))

    @rule(i=PHONES, days=st.sampled_from([None, 0, 2, 60]), pick=PICKS, pins=st.booleans())
    def set_scope(self, i, days, pick, pins):
        phone = self.phone(i)
        lot = self.choose(phone, pick, type_name="lot")
        phone.set_scope(days=days, lots=[lot[1]] if pins and lot else [])

    # What the network does

    @rule(
        i=PHONES,
        faults=st.lists(st.sampled_from(FAULTS), max_size=4),
        most=st.sampled_from([1, 3, 1000, 1000]),
        page=st.sampled_from([2, 7, 500, 500]),
        shuffle=st.none() | st.integers(0, 2**16),
        pull=st.sampled_from([True, True, True, False]),
        streams=st.booleans(),
        echo=st.booleans(),
    )
    def sync(self, i, faults, *, most, page, shuffle, pull, streams, echo):
        order = list if shuffle is None else lambda unsent: random.Random(shuffle).sample(unsent, len(unsent))
        self.wire.faults = list(faults)
        try:
            habits = {"max_changes": most, "page_size": page, "order": order, "streams": streams, "echo": echo}
            self.phone(i, **habits).sync(pull=pull)
        except UnreachableError:
            pass
        except SignedOutError:
            store = self.stores[i % len(self.stores)]
            if isinstance(store, JavaScriptStore):
                store.append({"event": "cleared"})  # as the app does
        finally:
            self.wire.faults = []

    @rule(pick=st.integers(0, 500))
    def arrive_again(self, pick):
        if self.wire.carried:
            self.wire.again(pick % len(self.wire.carried))

    @rule(seconds=st.sampled_from(PASSES_S))
    def wait(self, seconds):
        self.clock.now += timedelta(seconds=seconds)

    @rule(really=st.integers(0, 5))
    def leave_in_a_drawer(self, really):
        if really == 5:
            self.clock.now += A_LONG_TIME
            before = self.stored()
            prune(self.world.team.id, now=self.clock.now)
            self.model.forget(before.keys() - self.stored().keys())

    # What must hold

    def teardown(self) -> None:
        try:
            self.agree()
        finally:
            transaction.set_rollback(True)
            self.atomic.__exit__(None, None, None)
            self.print_progress()

    def print_progress(self) -> None:
        self.world.played += 1
        if STORIES and self.world.played % 50 == 0:
            took_s = time.monotonic() - self.world.began
            sys.stderr.write(f"  {self.world.played} of {STORIES} stories, {took_s:.0f} s\n")


@pytest.mark.django_db(transaction=True)
def test_phones_agree_whatever_the_network_and_their_clocks_do(monkeypatch):
    clock = Clock(datetime.now(UTC))
    monkeypatch.setattr(timezone, "now", clock)
    monkeypatch.setattr("api.sync.sync.MAX_LIMIT", 4)  # so that a stream has several lines
    Story.world = World(clock)
    chosen = settings(
        max_examples=STORIES or 12,
        derandomize=not STORIES,
        stateful_step_count=25,
        deadline=None,
        print_blob=True,
        suppress_health_check=list(HealthCheck),
    )
    if STORIES:
        sys.stderr.write(f"{STORIES} stories; LEAFSPAN_SEED={SEED} plays the same ones\n")
    run_state_machine_as_test(seed(SEED)(Story) if STORIES else Story, settings=chosen)
