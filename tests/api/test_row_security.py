# ruff: noqa: S608, SIM117 - the names in statements are those of our own tables; each block of a test says one thing
"""Row-level security: with the filters of the code taken away, the database still shows no other team's rows."""

import re
import subprocess
import sys
from contextlib import contextmanager, suppress
from datetime import timedelta
from uuid import uuid4

import pytest
from django.apps import apps
from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.exceptions import ImproperlyConfigured
from django.db import IntegrityError, ProgrammingError, connection, transaction
from django.test import Client
from django.utils import timezone

from config.settings import BASE_DIR
from lots.models import Lot
from tastings.actions.push import reading
from tastings.actions.push.rows import id_in
from tastings.models import Descriptor, Note
from tastings.queries.records import MODELS
from teams.database_role import create_roles, grant_privileges
from teams.models import AuditEntry, EmailVerification, KnownClient, ResetLink, ResetRequest, Team, User
from teams.queries.people import revisions_of, valid_tokens
from teams.queries.tokens import token_by_digest
from teams.row_security import (
    WORKER_ONLY,
    acting_for,
    acting_for_login,
    delete_expired_sessions,
    every_team,
    login_named,
    reading_session,
    role,
    teams_of_login,
)
from teams.sessions import SessionStore
from tests.api.phone import change, sync
from tests.api.records import TYPES, Place
from tests.api.test_tenancy import ACTIONS, BODIES, WITH_ID, WITHOUT_ID, foreign, stored, text_of, two_teams
from tests.factories import NOON, LotFactory, NoteFactory, TeamFactory, person
from tests.full_teams import FullTeams
from tests.row_security import as_application, as_worker

OPEN_TO_ALL = {
    "teams_tally": "counts under a digest that names nobody",
    "django_content_type": "the framework's list of models",
    "auth_group": "the framework's, unused",
    "auth_group_permissions": "the framework's, unused",
    "auth_permission": "the framework's, unused",
    "django_migrations": "the owner's: the application has no right to it",
}
"""Tables without a policy, and why: none of them holds a team's rows."""
BY_KEY = {"django_session"}
"""Tables of no team whose policy shows the row with the key that the transaction names."""
OF_LOGINS = {"teams_user", "teams_knownplace", "teams_emailverification", "teams_resetlink", "teams_resetrequest"}
"""Tables of no team whose policies show what is the login's that the transaction names."""
OF_OWNER = {"teams_movedteam"}
"""Tables whose policies show the application nothing: functions of the owner read them."""
TEAM_OF = {
    "teams_team": "id",
    "teams_devicetoken": "(SELECT team_id FROM teams_member AS one WHERE one.id = member_id)",
    "teams_signincode": "(SELECT team_id FROM teams_member AS one WHERE one.id = member_id)",
    "tastings_trial": "(SELECT team_id FROM tastings_triangletest AS one WHERE one.id = test_id)",
}
"""SQL for a row's team where the table has no such column."""
TABLES = sorted(
    {model._meta.db_table for model in apps.get_models(include_auto_created=True)}
    - OPEN_TO_ALL.keys()
    - BY_KEY
    - OF_LOGINS
    - OF_OWNER
)


def rows(question, *about):
    with connection.cursor() as cursor:
        cursor.execute(question, about)
        return cursor.fetchall()


def by_team(table):
    """Return how many rows the present role sees of each team; None stands for no team."""
    return dict(rows(f"SELECT {TEAM_OF.get(table, 'team_id')}, count(*) FROM {table} GROUP BY 1"))


def test_every_table_is_behind_a_wall_or_says_why_not(db):
    here = dict(rows("SELECT relname, relrowsecurity FROM pg_class WHERE relnamespace = 'public'::regnamespace"
                     " AND relkind IN ('r', 'p')"))  # fmt: skip
    with_policy = {name for (name,) in rows("SELECT DISTINCT tablename FROM pg_policies WHERE schemaname = 'public'")}
    with_team = {name for (name,) in rows("SELECT table_name FROM information_schema.columns"
                                          " WHERE table_schema = 'public' AND column_name = 'team_id'")}  # fmt: skip

    assert {name for name, secure in here.items() if not secure} == set(OPEN_TO_ALL)
    assert (
        with_policy == {name for name, secure in here.items() if secure} == set(TABLES) | BY_KEY | OF_LOGINS | OF_OWNER
    )
    assert with_team & set(OPEN_TO_ALL) == set()


def test_application_acts_as_a_role_that_owns_nothing_and_passes_nothing(db):
    [(login, superuser, bypass)] = rows(
        "SELECT rolcanlogin, rolsuper, rolbypassrls FROM pg_roles WHERE rolname = %s", role()
    )
    owned = rows("SELECT relname FROM pg_class WHERE pg_get_userbyid(relowner) = %s", role())

    assert (login, superuser, bypass, owned) == (False, False, False, [])
    for forbidden in (
        "SELECT * FROM django_migrations",
        "TRUNCATE lots_lot",
        "ALTER TABLE lots_lot DISABLE ROW LEVEL SECURITY",
        "DROP POLICY lots_lot_wall_1 ON lots_lot",
        "CREATE TABLE public.mine (id int)",
    ):
        with as_application(), pytest.raises(ProgrammingError), transaction.atomic():
            rows(forbidden)


@pytest.mark.parametrize("assumed", ["python", "manage.py"])
def test_processes_act_as_the_application_and_commands_as_the_owner(db, assumed):
    ask = "from django.db import connection as c; k = c.cursor(); k.execute('SELECT current_user'); print(k.fetchone())"
    start = (
        ["-c", f"import django; django.setup(); {ask}"] if assumed == "python" else ["manage.py", "shell", "-c", ask]
    )
    database = connection.settings_dict
    env = {"DJANGO_SETTINGS_MODULE": "config.settings", "REDIS_URL": "redis://127.0.0.1:1/0",
           "DATABASE_URL": "postgresql://{USER}:{PASSWORD}@{HOST}:{PORT}/{NAME}".format(**database)}  # fmt: skip
    done = subprocess.run(
        [sys.executable, *start], env=env, cwd=BASE_DIR, capture_output=True, text=True, check=True, timeout=300
    )

    assert done.stdout.strip().splitlines()[-1] == f"('{role() if assumed == 'python' else database['USER']}',)"


class TestFullTeams(FullTeams):
    """With two teams that have something in every table."""

    @pytest.fixture
    def team(self, full):
        return full[0]

    def test_web_server_cannot_list_the_teams_and_the_worker_can(self, full):
        with as_worker():
            assert set(every_team()) == {team.id for team in full}
            assert Team.objects.count() == 0
        with (
            as_application(),
            pytest.raises(ProgrammingError, match="permission denied for function"),
            transaction.atomic(),
        ):
            every_team()
        listing = dict(rows("SELECT proname, prosrc FROM pg_proc WHERE pronamespace = 'public'::regnamespace"
                            " AND prosecdef AND proretset"))  # fmt: skip
        may = dict(rows("SELECT proname, has_function_privilege(%s, oid, 'EXECUTE') FROM pg_proc WHERE pronamespace ="
                        " 'public'::regnamespace AND proname LIKE 'leafspan\\_%%'", role()))  # fmt: skip
        assert {name for name, allowed in may.items() if not allowed} == set(WORKER_ONLY)
        # what the web server may call returns the teams of one login, numbers, or ids that were asked about
        assert {name for name in listing if may[name]} == {
            "leafspan_teams_of_login", "leafspan_ids_in_use", "leafspan_waiting",
        }  # fmt: skip

    @pytest.fixture
    def logins(self, taster, stranger, full):
        """A row in each table of logins for a taster and for somebody of another team; gives the two."""
        for one in (taster, stranger):
            KnownClient.objects.create(user=one.user, place=str(one.user.id)[:8], last_at=NOON)
            ResetLink.objects.create(user=one.user, digest=str(one.user.id), created_at=NOON, expires_at=NOON)
            EmailVerification.objects.create(user=one.user, email="a@tea.example", created_at=NOON)
        ResetRequest.objects.create(asked="whoever", created_at=NOON)
        return taster, stranger

    def test_login_sees_and_changes_what_is_its_own_and_no_other(self, logins):
        taster, stranger = logins
        own = {table: "id" if table == "teams_user" else "user_id" for table in OF_LOGINS - {"teams_resetrequest"}}
        both = {taster.user.id, stranger.user.id}
        with as_application():
            for table in OF_LOGINS:
                assert rows(f"SELECT * FROM {table}") == [], table
            with acting_for_login(taster.user.id):
                assert rows("SELECT * FROM teams_resetrequest") == []
                for table, login in own.items():
                    assert rows(f"SELECT {login} FROM {table}") == [(taster.user.id,)], table
                    assert rows(f"UPDATE {table} SET id = id RETURNING {login}") == [(taster.user.id,)], table
                    for command in (f"DELETE FROM {table} WHERE {login} = %s RETURNING 1",
                                    f"UPDATE {table} SET id = id WHERE {login} = %s RETURNING 1"):  # fmt: skip
                        assert rows(command, stranger.user.id) == [], table
            with pytest.raises(ProgrammingError, match="row-level security"), transaction.atomic():
                User.objects.create(username="Somebody")
            ResetRequest.objects.create(asked="me", created_at=NOON)
        with as_worker():
            for table, login in own.items():
                assert both <= {found for (found,) in rows(f"SELECT {login} FROM {table}")}, table
            assert ResetRequest.objects.filter(created_at=NOON).delete()[0] == 2
            assert User.objects.update(name="Mine") == 0

    def test_members_of_a_team_see_its_logins_and_change_none_but_their_own(self, logins):
        taster, _stranger = logins
        team = set(taster.team.members.values_list("user_id", flat=True))
        assert len(team) > 1
        with as_application(), acting_for(taster.team.id):
            assert set(User.objects.values_list("id", flat=True)) == team
            assert User.objects.update(name="Mine") == 0
            with acting_for_login(taster.user.id):
                assert User.objects.update(name="Mine") == 1
            for model in (KnownClient, ResetLink, EmailVerification):
                assert list(model.objects.all()) == []

    def test_plain_select_shows_the_team_acted_for_and_no_other(self, full):
        ours, theirs = full
        built_in = {"tastings_descriptor"}
        for table in TABLES:
            everything = by_team(table)
            assert everything.get(ours.id), table
            assert everything.get(theirs.id), table
            with as_application():
                nobody = by_team(table)
                with acting_for(ours.id):
                    mine = by_team(table)
                with acting_for(ours.id, theirs.id):
                    both = by_team(table)
            of_none = {None: everything[None]} if table in built_in else {}
            assert nobody == of_none, table
            assert mine == {ours.id: everything[ours.id], **of_none}, table
            assert both == {ours.id: everything[ours.id], theirs.id: everything[theirs.id], **of_none}, table

    def test_rows_of_another_team_can_neither_be_changed_nor_taken_over_nor_made(self, full):
        ours, theirs = full
        before = {table: sorted(rows(f"SELECT {table}::text FROM {table}")) for table in TABLES}
        for table in TABLES:
            team = TEAM_OF.get(table, "team_id")
            columns = [
                name
                for (name,) in rows(
                    "SELECT column_name FROM information_schema.columns WHERE table_name = %s"
                    " AND is_generated = 'NEVER' AND identity_generation IS NULL",
                    table,
                )
            ]
            foreign_rows = rows(f"SELECT {', '.join(columns)} FROM {table} WHERE {team} = %s LIMIT 1", theirs.id)
            with as_application(), acting_for(ours.id), transaction.atomic():
                with connection.cursor() as cursor:
                    cursor.execute(f"UPDATE {table} SET {columns[0]} = {columns[0]} WHERE {team} = %s", [theirs.id])
                    changed = cursor.rowcount
                    cursor.execute(f"DELETE FROM {table} WHERE {team} = %s", [theirs.id])
                    deleted = cursor.rowcount
                assert (changed, deleted) == (0, 0), table
            with connection.cursor() as cursor:  # the very row, as a new one: the policy is asked before the key
                wanted = ", ".join(columns)
                cursor.execute(f"CREATE TEMP TABLE one ON COMMIT DROP AS SELECT {wanted} FROM {table} WHERE {team} = %s"
                               " LIMIT 1", [theirs.id])  # fmt: skip
                cursor.execute(f"GRANT SELECT ON one TO {role()}")
            assert foreign_rows
            for acted in ((), (ours.id,)):
                with as_application(), acting_for(*acted), pytest.raises(ProgrammingError, match="row-level security"):
                    with transaction.atomic():
                        rows(f"INSERT INTO {table} ({wanted}) SELECT * FROM one RETURNING 1")
            with connection.cursor() as cursor:
                cursor.execute("DROP TABLE one")
        for model in (apps.get_model(name) for name in ("lots.Lot", "tastings.Session", "teams.Shop", "teams.Member")):
            with as_application(), acting_for(ours.id), pytest.raises(ProgrammingError, match="row-level security"):
                with transaction.atomic():
                    model.objects.filter(team=ours).update(team=theirs)

        assert {table: sorted(rows(f"SELECT {table}::text FROM {table}")) for table in TABLES} == before


def test_request_reads_the_browser_session_of_its_cookie_and_no_other(taster, stranger):
    keys = []
    for person_ in (taster, stranger):
        browser = Client()
        browser.force_login(person_.user)
        keys.append(browser.session.session_key)
    assert Session.objects.count() == 2
    with as_application():
        assert list(Session.objects.all()) == []
        assert SessionStore(keys[0]).load()["_auth_user_id"] == str(taster.user.id)
        with reading_session(keys[1]):
            assert [one.session_key for one in Session.objects.all()] == [keys[1]]
            assert Session.objects.filter(session_key=keys[0]).delete()[0] == 0
        for odd in ("' OR true --", "UPPER123", keys[0][:8]):
            assert SessionStore(odd).load() == {}
        made = SessionStore()
        made["a"] = 1
        made.save()
        made.cycle_key()
        assert SessionStore(made.session_key).load() == {"a": 1}
        made.flush()
        with pytest.raises(ProgrammingError, match="permission denied for function"), transaction.atomic():
            delete_expired_sessions(before=timezone.now())
    assert set(Session.objects.values_list("session_key", flat=True)) == set(keys)
    with as_worker():
        assert delete_expired_sessions(before=timezone.now() + timedelta(days=100)) == 2


def test_login_is_looked_up_by_its_name_in_any_case(taster):
    User.objects.filter(id=taster.user.id).update(username="Zo\u00eb")
    with as_application():
        assert login_named(" zOE\u0308 ") == taster.user.id
        assert login_named("Zoe") is None
        assert User.objects.get_by_natural_key("ZO\u00cb") == taster.user
        with pytest.raises(User.DoesNotExist):
            User.objects.get_by_natural_key("Zoe")


def test_figures_that_wait_are_looked_up_among_all_records(db):
    [(body,)] = rows("SELECT prosrc FROM pg_proc WHERE proname = 'leafspan_waiting'")
    assert {model._meta.db_table for model in MODELS.values()} <= set(re.findall(r"FROM (\w+)", body))


def test_built_in_words_are_read_by_all_and_written_by_none(team, lexicon):
    number = Descriptor.objects.filter(team=None).count()
    with as_application(), acting_for(team.id):
        assert Descriptor.objects.count() == number > 0
        assert Descriptor.objects.update(label="mine") == 0
        assert Descriptor.objects.filter(team=None).delete()[0] == 0
        with pytest.raises(ProgrammingError, match="row-level security"), transaction.atomic():
            Descriptor.objects.create(id=uuid4(), team=None, key="mine", label="mine", created_at=NOON, updated_at=NOON)


def test_failed_sign_in_of_nobody_is_noted_and_read_by_nobody(team):
    with as_application(), acting_for(team.id):
        AuditEntry.objects.create(team=None, what="failed_sign_in", at=NOON)
        assert AuditEntry.objects.count() == 0
    assert AuditEntry.objects.count() == 1


def unfiltered(execute, sql, params, many, context):
    """Take the conditions on the team out of a statement, as if everybody had forgotten them."""
    head, where, tail = sql.partition(" WHERE ")
    tail = re.sub(r'(?:"?\w+"?\.)?"team_id" = (?:\(%s\)|%s)', "%s IS NOT NULL", tail)
    tail = re.sub(r'(?:"?\w+"?\.)?"team_id" IN \((%s(?:, %s)*)\)', r"num_nonnulls(\1) > 0", tail)
    return execute(head + where + tail, params, many, context)


@contextmanager
def without_filters():
    with connection.execute_wrapper(unfiltered):
        yield


def secrets_of(place, who):
    """Return what would give away that an answer holds something of the place's team."""
    Lot.objects.filter(id=place.lot.id).update(name="Known to one house alone")
    ids = [str(getattr(place, name).id) for name in TYPES] + [str(who.user.id), str(who.team.id)]
    return [*ids, "Known to one house alone"]


def leaks(client, secrets):
    """Return which addresses without an id give something away, with the filters taken out."""
    found = set()
    with without_filters():
        for address in WITHOUT_ID:
            if address in ACTIONS:
                continue
            try:
                with transaction.atomic():
                    answer = client.get(address, follow=True)
            except ProgrammingError:
                raise  # a condition was not taken out well
            except Exception:  # noqa: BLE001, S112 - rows of all teams at once may well break a view
                continue
            text = text_of(answer)
            if any(secret in text for secret in secrets):
                found.add(address)
        pulled = str(sync(client))
    return found | ({"sync"} if any(secret in pulled for secret in secrets) else set())


def test_api_without_its_filters_tells_nothing_of_another_team(stranger, taster):
    place = Place(taster)
    Place(stranger)
    secrets = secrets_of(place, taster)

    assert leaks(stranger.client, secrets) == set()


def test_the_same_without_the_wall_tells_much(stranger, taster, settings):
    """Without this the test above might only show that its filters were never taken out."""
    place = Place(taster)
    Place(stranger)
    settings.MIDDLEWARE = [name for name in settings.MIDDLEWARE if "RowSecurityMiddleware" not in name]

    found = leaks(stranger.client, secrets_of(place, taster))
    assert {f"/api/v1/{name}s/" for name in TYPES} | {"sync", "/lots/"} <= found


@pytest.fixture(scope="class")
def people(django_db_setup, django_db_blocker):
    with django_db_blocker.unblock(), two_teams() as made:
        yield made


class TestRoutes:
    @pytest.mark.parametrize(("address", "method"), WITH_ID)
    def test_route_without_its_filters_answers_a_foreign_id_as_an_absent_one(self, db, people, address, method):
        taster, place, stranger = people
        path = foreign(address, place, taster)
        before = stored(of=taster.team)
        with without_filters():
            answer = getattr(stranger.client, method)(path, BODIES.get(method))

        assert answer.status_code == 404
        assert stored(of=taster.team) == before


def test_foreign_record_is_not_overwritten_though_the_code_takes_its_id_for_free(stranger, taster, monkeypatch):
    place = Place(taster)
    monkeypatch.setattr(reading, "readable_by_kind", lambda rows: {})  # as if it had been taken a moment later
    before = stored(of=taster.team)
    free = change("lot", name="Free", kind="oolong")
    answer = sync(stranger.client, [change("lot", place.lot.id, name="Mine", kind="oolong"), free])

    refused, applied = answer["verdicts"]
    assert (refused["verdict"], [one["code"] for one in refused["problems"]]) == ("refused", ["conflict"])
    assert applied["verdict"] == "applied"
    assert stored(of=taster.team) == before


def test_devices_and_sign_outs_of_a_login_reach_all_its_teams(taster):
    elsewhere = person(TeamFactory(), "owner")
    with as_application():
        assert teams_of_login(taster.user.id) == [taster.team.id]
    member = elsewhere.member._meta.model.objects.create(team=elsewhere.team, user=taster.user, role="taster")
    member.tokens.create(device="other", digest="1" * 64, expires_at=timezone.now() + timedelta(days=1))

    assert len(taster.client.get("/api/v1/auth/tokens").json()["results"]) == 2
    assert taster.client.delete("/api/v1/auth/tokens").status_code == 204
    assert member.tokens.count() == taster.member.tokens.count() == 0


@pytest.mark.parametrize("table", ["lots_lot", "tastings_note", "tastings_session", "tastings_development"])
def test_policy_reads_the_setting_once_and_by_an_index_over_the_team(db, table):
    with as_application(), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
        cursor.execute(f"EXPLAIN SELECT * FROM {table}")
        plan = "\n".join(line for (line,) in cursor.fetchall())

    assert re.search(r"Index Cond: \(team_id = ANY \(\S*InitPlan|Index Cond: \(team_id = ANY \(\$0\)\)", plan), plan


def test_rows_of_a_push_are_found_by_their_ids_and_not_through_the_whole_team(taster, lexicon):
    place = Place(taster)
    NoteFactory.create_batch(40, session=place.session, infusion=place.infusion)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE tastings_note")  # else the plan depends on what other tests have left
    with as_application(), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
        plan = Note.objects.filter(id_in([uuid4(), uuid4()])).explain()

    assert re.search(r"Index Cond: \(id = ANY \('\{", plan), plan


def test_live_table_hears_of_the_teams_listened_to(taster, stranger):
    taster.team.refresh_from_db()
    with as_application():
        assert revisions_of([taster.team.id]) == {taster.team.id: taster.team.revision}
        assert valid_tokens([taster.device.id, stranger.device.id], teams=[taster.team.id]) == {taster.device.id}
        assert token_by_digest(taster.device.digest, now=timezone.now()) == taster.device
        assert Team.objects.count() == 0


def test_role_that_cannot_be_made_says_what_to_run(db, settings):
    settings.DATABASE_ROLE = "leafspan_not_there"
    with connection.cursor() as cursor:
        cursor.execute("SET ROLE leafspan_app")  # which may make no roles
    with pytest.raises(ImproperlyConfigured, match='CREATE ROLE "leafspan_not_there_worker" NOLOGIN; GRANT "leaf'):
        create_roles()
    with connection.cursor() as cursor:
        cursor.execute("RESET ROLE")


def test_rights_can_be_seen_to_again(db):
    grant_privileges()
    with as_application(), pytest.raises(ProgrammingError), transaction.atomic():
        rows("SELECT * FROM django_migrations")


@pytest.mark.django_db(transaction=True)
class TestSetting:
    """How long the team set for a transaction stays set; with real transactions."""

    @pytest.fixture(autouse=True)
    def _two_teams(self):
        self.ours, self.theirs = TeamFactory(), TeamFactory()
        for team in (self.ours, self.theirs):
            LotFactory(team=team)
        with as_application():
            yield

    def seen(self):
        return list(Lot.objects.values_list("team_id", flat=True))

    def test_outside_a_transaction_each_statement_is_told_and_nothing_stays(self):
        with acting_for(self.ours.id):
            assert self.seen() == [self.ours.id]
            assert list(Lot.objects.iterator()) == list(Lot.objects.all())
            assert len(list(Lot.objects.iterator())) == 1
        assert self.seen() == []
        assert rows("SELECT current_setting('leafspan.teams', true)") in ([("",)], [(None,)])

    def test_within_a_transaction_it_follows_who_is_acted_for(self):
        with transaction.atomic(), acting_for(self.ours.id), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")  # works only before any query
            assert self.seen() == [self.ours.id]
            assert len(list(Lot.objects.iterator())) == 1
            with acting_for(self.theirs.id):
                assert self.seen() == [self.theirs.id]
            assert self.seen() == [self.ours.id]
            with acting_for():
                assert self.seen() == []
        assert self.seen() == []

    def test_undone_savepoint_does_not_bring_the_one_before_back(self):
        with transaction.atomic(), acting_for(self.ours.id):
            assert self.seen() == [self.ours.id]
            with acting_for(self.theirs.id):
                with pytest.raises(IntegrityError), transaction.atomic():
                    Lot.objects.update(name="")
                assert self.seen() == [self.theirs.id]
            assert self.seen() == [self.ours.id]

    def test_savepoint_that_worked_and_is_undone_takes_its_teams_along(self):
        with transaction.atomic(), acting_for(self.ours.id):
            assert self.seen() == [self.ours.id]
            with acting_for(self.theirs.id):
                with suppress(KeyError), transaction.atomic():
                    assert self.seen() == [self.theirs.id]
                    raise KeyError
                assert self.seen() == [self.theirs.id]
            assert self.seen() == [self.ours.id]

    def test_many_rows_in_one_call_are_told_too(self):
        both, update = [["x", self.ours.id], ["x", self.theirs.id]], "UPDATE lots_lot SET code = %s WHERE team_id = %s"
        with acting_for(self.ours.id), connection.cursor() as cursor:
            cursor.executemany(update, both)
            with transaction.atomic():
                cursor.executemany(update, both)
                cursor.executemany(update, both)
        with acting_for(self.ours.id, self.theirs.id):
            assert list(Lot.objects.filter(code="x").values_list("team_id", flat=True)) == [self.ours.id]

    def test_statement_gives_its_own_answer_and_count(self):
        with acting_for(self.ours.id), connection.cursor() as cursor:
            cursor.execute("UPDATE lots_lot SET code = 'y' RETURNING team_id")
            assert (cursor.rowcount, cursor.fetchall()) == (1, [(self.ours.id,)])

    def test_a_list_of_teams_is_ids_and_nothing_else(self):
        with pytest.raises(ValueError, match="hexadecimal"), acting_for("', true); DROP TABLE lots_lot; --"):
            pass
        assert Team.objects.count() == 0


def test_tests_run_with_the_settings_of_the_application():
    assert settings.DATABASES["default"]["ENGINE"] == "teams.postgresql"
