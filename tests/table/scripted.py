"""A line whose other end says what a test wrote down, and a phone on it."""

import gzip
import json

from table.phone import Answer, Habits, MemoryStore, Patience, Phone, UnreachableError

GONE = object()
"""As an answer: none comes."""


def answer(status=200, body=None, **headers):
    return Answer(status, {name.replace("_", "-"): value for name, value in headers.items()}, json.dumps(body).encode())


def page(*changes, cursor=0, more=False, verdicts=()):
    """Return a sync's answer."""
    return answer(body={"verdicts": list(verdicts), "changes": list(changes), "cursor": cursor, "more": more})


def applied(change, *, word="applied", revision=1, problems=()):
    """Return a verdict on a change."""
    told = [{"field": "", "code": code, "detail": code} for code in problems]
    return {
        "type": change["type"],
        "id": change["id"],
        "verdict": word,
        "revision": None if word == "refused" else revision,
        "problems": told,
    }


def pulled(record="lot-1", *, revision=1, deleted=False, **fields):
    """Return a change as it is pulled."""
    told = {"type": "lot", "id": record, "revision": revision, "deleted": deleted, "by": "ina"}
    return told | {"fields": {} if deleted else fields}


class Script:
    """Answers with what is next: an `Answer`, a function of the body sent, or none. Keeps what was sent."""

    def __init__(self, *answers):
        self.answers, self.sent, self.headers = list(answers), [], []

    def send(self, method, path, *, headers, body):
        self.sent.append(json.loads(gzip.decompress(body)) if body else None)
        self.headers.append(headers)
        said = self.answers.pop(0) if self.answers else takes_all
        if said is GONE:
            raise UnreachableError("silence")
        return said(self.sent[-1]) if callable(said) else said

    def close(self):
        """Nothing is held."""


def takes_all(body):
    """As an answer: everything is applied, and nothing is new."""
    return page(cursor=body["cursor"], verdicts=[applied(change) for change in body["changes"]])


def on(*answers, store=None, **habits):
    """Return a phone that is signed in, its script, and the pauses it makes."""
    pauses = []
    script, store = Script(*answers), store or MemoryStore()
    store.keep({"event": "signed", "token": "secret"})
    patience = habits.pop("patience", None) or Patience(attempts=4, sleep=pauses.append, chance=lambda: 1.0)
    return Phone(script, store=store, habits=Habits(patience=patience, **habits)), script, pauses
