"""Which statements of a migration would keep everyone waiting on a table that is large.

Sources: PostgreSQL 18 manual, pages "ALTER TABLE" (what takes ACCESS EXCLUSIVE, what scans or rewrites the table, NOT
VALID, adding columns with a default), "CREATE INDEX" (building indexes concurrently) and "Explicit Locking".
"""

import re
from collections.abc import Iterator, Sequence

import sqlparse

LARGE = (
    "tastings_session", "tastings_infusion", "tastings_note", "lots_fieldhistory",
    "lots_lot", "tastings_development", "tastings_photo", "teams_auditentry",
)  # fmt: skip
"""What grows with every tasting; the first four with every word of it."""
_VOLATILE = re.compile(
    r"\b(random|gen_random_uuid|uuidv[47]|clock_timestamp|timeofday|nextval)\s*\(|\bserial|\bidentity"
)


def statements(sql: str) -> Sequence[str]:
    """Return the statements, in small letters, without comments, texts, quotes and needless space."""
    bare = re.sub(r"'[^']*'", "''", sqlparse.format(sql, strip_comments=True))
    found = sqlparse.split(bare)
    return [plain for one in found if (plain := re.sub(r"\s+", " ", one.replace('"', "")).strip(" ;").lower())]


def complaints(sql: str, *, large: Sequence[str] = LARGE) -> list[str]:
    """Return what is wrong with a migration, as ``sqlmigrate`` prints it; nothing if it locks nothing for long."""
    if "THIS OPERATION CANNOT BE WRITTEN AS SQL" in sql:
        return ["holds work in Python, which nobody can look at here: make it a command or a job, in small steps"]
    plain = statements(sql)
    new = {made[1] for one in plain if (made := re.match(r"create table (?:if not exists )?(\w+)", one))}
    old = [table for table in large if table not in new]  # a new one is empty
    found = [f"{complaint}: {one[:120]}" for one in plain for complaint in _of(one, large=old)]
    in_one = plain[:1] == ["begin"]
    if in_one and any(" concurrently " in one for one in plain):
        found.append("builds concurrently inside a transaction: atomic = False")
    if in_one and any(" not valid" in one for one in plain) and any(" validate constraint " in one for one in plain):
        found.append("validates in the transaction that added the constraint, whose lock lasts as long: two migrations")
    return found


def _of(one: str, *, large: Sequence[str]) -> Iterator[str]:
    table = _table(one)
    if table not in large:
        return
    if one.startswith(("create index", "create unique index")) and " concurrently " not in one:
        yield "an index is built while nobody can write: CONCURRENTLY"
    if one.startswith(("reindex", "refresh")) and " concurrently " not in one:
        yield "nobody can write: CONCURRENTLY"
    if one.startswith(("cluster", "vacuum full", "truncate", "lock table", "update", "delete")):
        yield "takes the whole table or many of its rows: do it in small steps outside of migrations"
    if one.startswith("alter table"):
        yield from (complaint for action in _actions(one) for complaint in _of_action(action))


def _table(one: str) -> str:
    """Return the table that a statement is about, if it is of a kind that can lock."""
    name = r"(?:if exists )?(?:only )?(?:public\.)?(\w+)"
    for begin in (
        rf"create (?:unique )?index .*?\bon {name}", rf"alter table {name}", rf"update {name}", f"delete from {name}",  # noqa: S608 - it is looked for
        rf"truncate (?:table )?{name}", rf"lock (?:table )?{name}", rf"vacuum full (?:\w+ )*?{name}$",
        rf"cluster {name}", rf"reindex (?:\(.*?\) )?table (?:concurrently )?{name}",
    ):  # fmt: skip
        if found := re.match(begin, one):
            return found[1]
    return ""


def _actions(one: str) -> list[str]:
    """Return what one ALTER TABLE does, at commas that stand in no brackets."""
    rest = re.sub(r"^alter table (?:if exists )?(?:only )?\S+ ", "", one)
    found, depth = [""], 0
    for letter in rest:
        depth += (letter == "(") - (letter == ")")
        if letter == "," and depth == 0:
            found.append("")
        else:
            found[-1] += letter
    return [action.strip() for action in found]


def _of_action(action: str) -> Iterator[str]:
    if re.match(r"alter (column )?\w+ (set data )?type ", action):
        yield "a column's type is changed, which may write the table anew: add a column beside it"
    if re.match(r"alter (column )?\w+ set not null", action):
        yield "the table is read while nobody can: add CHECK (… IS NOT NULL) NOT VALID, validate it later"
    if action.startswith("add constraint") or re.match(r"add (check|foreign key|unique|primary key|exclude)\b", action):
        if re.search(r"\b(check|foreign key|references)\b", action) and " not valid" not in action:
            yield "the table is read while nobody can write: NOT VALID, then VALIDATE CONSTRAINT in a later migration"
        if re.search(r"\b(unique|primary key|exclude)\b", action) and " using index " not in action:
            yield "an index is built while nobody can read: build it CONCURRENTLY, then ADD CONSTRAINT … USING INDEX"
    elif action.startswith("add "):
        if _VOLATILE.search(action) or " stored" in action:
            yield "a new column differs from row to row, so all is written anew: add it empty, fill in small steps"
        if re.search(r"\bcheck \(|\bunique\b|\bprimary key\b", action):
            yield "a new column has a constraint that reads the table or builds an index: add both by themselves"
        if " references " in action and " default " in action:
            yield "a new reference with a default is checked for every row: add it empty"
    if action.startswith(("set tablespace", "set logged", "set unlogged", "set access method")):
        yield "the table is written anew"
