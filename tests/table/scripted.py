"""A transport that answers as a test prescribes, and a phone on it."""

import gzip
import json

from table.phone import MemoryStore, Phone, PhoneOptions, Response, RetryPolicy, UnreachableError

NO_RESPONSE = object()
"""In the place of a response: none comes."""


def response(status=200, body=None, **headers):
    return Response(
        status, {name.replace("_", "-"): value for name, value in headers.items()}, json.dumps(body).encode()
    )


def page(*changes, cursor=0, more=False, verdicts=()):
    """Return a sync's answer."""
    return response(body={"verdicts": list(verdicts), "changes": list(changes), "cursor": cursor, "more": more})


def verdict_on(change, *, verdict="applied", revision=1, problems=()):
    """Return a verdict on a change."""
    return {
        "type": change["type"],
        "id": change["id"],
        "verdict": verdict,
        "revision": None if verdict == "refused" else revision,
        "problems": [{"field": "", "code": code, "detail": code} for code in problems],
    }


def pulled(record="lot-1", *, revision=1, deleted=False, **fields):
    """Return a change as it is pulled."""
    head = {"type": "lot", "id": record, "revision": revision, "deleted": deleted, "by": "ina"}
    return head | {"fields": {} if deleted else fields}


class ScriptedTransport:
    """Gives the listed answers in turn: a `Response`, a function of the body sent, or none. Keeps what was sent."""

    def __init__(self, *answers):
        self.answers, self.sent, self.headers = list(answers), [], []

    def send(self, method, path, *, headers, body):
        self.sent.append(json.loads(gzip.decompress(body)) if body else None)
        self.headers.append(headers)
        answer = self.answers.pop(0) if self.answers else apply_all
        if answer is NO_RESPONSE:
            raise UnreachableError("silence")
        return answer(self.sent[-1]) if callable(answer) else answer

    def close(self):
        """Do nothing."""


def apply_all(body):
    """Answer that everything is applied and nothing is new."""
    return page(cursor=body["cursor"], verdicts=[verdict_on(change) for change in body["changes"]])


def signed_in_phone(*answers, store=None, **options):
    """Return a phone that is signed in, its script, and the pauses it makes."""
    pauses = []
    script, store = ScriptedTransport(*answers), store or MemoryStore()
    store.append({"event": "signed", "token": "secret"})
    retry = options.pop("retry", None) or RetryPolicy(attempts=4, sleep=pauses.append, jitter=lambda: 1.0)
    return Phone(script, store=store, options=PhoneOptions(retry=retry, **options)), script, pauses
