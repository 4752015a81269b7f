"""What must hold when a story of offline phones ends: everybody has the same, and nothing is lost or there twice."""

from datetime import timedelta

from lots.models import FieldHistory
from table.phone import MemoryStore, Phone, PhoneOptions, PhoneState
from tastings.queries.records import MODELS, list_records
from tastings.schemas import RECORD_SCHEMAS
from teams.models import Member, Team


class Ending:
    """The end of a story, which has a world, a model, a wire, and phones with whoever holds them."""

    def agree(self):
        self.give_phones_back()
        self.come_to_rest()
        self.server_is_as_the_model()
        self.phones_are_as_the_server()
        self.everything_again_changes_nothing()

    def give_phones_back(self):
        """Give everybody a phone of their own with what they left on another's; leave out who is no member any more."""
        for (_, user), store in self.aside.items():
            self.stores.append(store)
            self.holders.append(next(one for one in self.world.members if one.user_id == user))
        here = [i for i, member in enumerate(self.holders) if self.is_member(member)]
        self.stores, self.holders = [self.stores[i] for i in here], [self.holders[i] for i in here]
        for i in range(len(self.stores)):
            self.sign_in(i)

    def come_to_rest(self):
        for _ in range(12):
            revision = Team.objects.get(id=self.world.team.id).revision
            behind = [
                i
                for i, store in enumerate(self.stores)
                if store.state.outbox or store.state.cursor < revision or store.state.scope or store.state.scope_token
            ]
            reports = [self.phone(i).sync() for i in behind]
            if not any(report.pulled or report.verdicts.keys() - {"refused"} for report in reports):
                return
        raise AssertionError("they never come to rest")

    def server_is_as_the_model(self):
        rows = self.stored()
        assert rows.keys() == self.model.records.keys()
        revisions = [row.revision for row in rows.values()]
        assert len(set(revisions)) == len(revisions)
        assert max(revisions, default=0) <= Team.objects.get(id=self.world.team.id).revision
        history = {(str(h.record), h.field, repr(h.value)) for h in FieldHistory.objects.filter(team=self.world.team)}
        for i, expected in self.model.records.items():
            stored = rows[i].stamped()
            assert (expected.type, i, expected.removed) == (rows[i].schema.type, i, rows[i].removed)
            assert {name: stored.values.get(name) for name in expected.values} == expected.values
            if expected.type == "session" and stored.values["flight_cup"]:
                assert (stored.values["lot"] is not None) == self.revealed
            for name, value in expected.taken:
                assert stored.values.get(name) == value or (i, name, repr(value)) in history, (name, value)

    def phones_are_as_the_server(self):
        for member in Member.objects.filter(id__in=[holder.id for holder in self.holders]):
            on_server = {}
            for type_name in RECORD_SCHEMAS:
                served = list_records(member, type_name, filters={}, after=None, limit=1000)
                on_server[type_name] = [(str(r.id), r.fields, r.revision, str(r.by)) for r in served if r.by]
            for store, holder in zip(self.stores, self.holders, strict=True):
                if holder != member:
                    continue
                state = store.state
                fresh = self.fresh(state.token, scope=state.scope)
                wanted = self.in_scope(on_server, state.scope)
                assert {name: shown(fresh, name) for name in RECORD_SCHEMAS} == wanted
                assert {name: shown(state, name) for name in RECORD_SCHEMAS} == wanted
                assert pulled(state) == pulled(fresh)
                assert state.confirmed == []
                assert all(unsent.problems for unsent in state.outbox.values())

    def fresh(self, token, *, scope):
        """Return the state of a phone that pulls for the first time."""
        store = MemoryStore()
        store.append({"event": "signed", "token": token})
        store.append({"event": "scoped", "scope": scope})
        Phone(self.wire, store=store, options=PhoneOptions(streams=True, page_size=4)).sync()
        return store.state

    def in_scope(self, records, scope):
        """Leave out infusions and notes of sessions that a scope does not hold."""
        if scope is None:
            return records
        first = f"{self.clock.now - timedelta(days=scope['days']):%Y-%m-%d}"
        inside = {
            session
            for session, fields, *_ in records["session"]
            if fields["started_at"] >= first or fields["lot"] in scope["lots"]
        }
        narrowed = {n: [one for one in records[n] if one[1]["session"] in inside] for n in ("infusion", "note")}
        return records | narrowed

    def everything_again_changes_nothing(self):
        before = Team.objects.get(id=self.world.team.id).revision
        for store in self.stores:
            mine = [change for known, change in self.model.changes.items() if known[1] == store.state.device]
            again = MemoryStore(store.state.device)
            again.append({"event": "signed", "token": store.state.token})
            for number, change in enumerate(mine + mine, start=1):
                again.append({"event": "written", "number": number, "change": change, "begins": False})
            report = Phone(self.wire, store=again).sync(pull=False)
            # "merged": it lost to the same value before, and only now to another; a row more in the history
            assert not report.verdicts.keys() - {"unchanged", "refused", "merged"}, report.outcomes
        assert Team.objects.get(id=self.world.team.id).revision == before

    def stored(self):
        rows = (row for model in MODELS.values() for row in model._default_manager.filter(team=self.world.team))
        return {str(row.id): row for row in rows}


def shown(state, type_name):
    """What a phone shows without what it could not send."""
    bare = PhoneState(records=state.records)
    return [(r.id, r.fields, r.revision, r.by) for r in bare.views(type_name)]


def pulled(state):
    return {
        i: (record.type, record.fields, record.revision, record.by, record.author, record.at)
        for i, record in state.records.items()
    }
