"""The ways to a team that lives in another cell than the one whose address people have: each must lead there."""

import http.cookiejar
import json
import re
import urllib.parse
import urllib.request
from collections.abc import Iterator
from typing import Any

from table.phone import Phone
from tests.faults.installation import PASSWORD

NEWCOMER = "newcomer"


def failing_ways(url: str, owner: Phone, *, username: str) -> Iterator[str]:
    """Try each way to the owner's team by this address; yield what did not lead there."""
    shop = owner.records("shop")[0].id
    link = owner.request("POST", "/api/v1/invitations/", body={"role": "taster", "shop": shop})
    accepted = _post(
        f"{url}/api/v1/invitations/accept",
        {"token": link["token"], "username": NEWCOMER, "password": PASSWORD, "device": "new"},
    )
    if accepted.get("role") != "taster":
        yield f"an invitation: {accepted}"
    code = owner.request("POST", "/api/v1/auth/codes")
    signed_in = _post(f"{url}/api/v1/auth/tokens", {"code": code["code"], "device": "by code"})
    if "token" not in signed_in:
        yield f"a sign-in code: {signed_in}"
    else:
        yield from _events(url, str(signed_in["token"]))
    lot = owner.records("lot")[0].id
    share = owner.request("POST", "/api/v1/shares/", body={"lot": lot, "shows": "report"})
    with _browser().open(f"{url}{urllib.parse.urlsplit(share['link']).path}") as page:
        if b"<article" not in page.read():
            yield "a shared link"
    yield from _sign_in_page(url, username)


def _events(url: str, token: str) -> Iterator[str]:
    request = urllib.request.Request(  # noqa: S310 - our own server, here and below
        f"{url}/api/v1/events", headers={"Authorization": f"Bearer {token}", "Last-Event-ID": "0"}
    )
    with urllib.request.urlopen(request, timeout=20) as stream:  # noqa: S310
        lines = [stream.readline() for _ in range(4)]
    if not any(line.startswith(b"id: ") for line in lines):
        yield f"live events: {lines}"


def _sign_in_page(url: str, username: str) -> Iterator[str]:
    if not is_signed_in(browser_signed_in(url, username), url, username):
        yield "the sign-in page"


def browser_signed_in(url: str, username: str) -> urllib.request.OpenerDirector:
    """Return a browser in which somebody has filled in the sign-in page."""
    browser = _browser()
    with browser.open(f"{url}/sign-in/") as page:
        found = re.search(rb'name="csrfmiddlewaretoken" value="(\w+)"', page.read())
    form = {"username": username, "password": PASSWORD, "csrfmiddlewaretoken": found[1].decode() if found else ""}
    with browser.open(f"{url}/sign-in/", data=urllib.parse.urlencode(form).encode()) as page:
        page.read()
    return browser


def is_signed_in(browser: urllib.request.OpenerDirector, url: str, username: str) -> bool:
    """Whether a browser gets the page of the account."""
    with browser.open(f"{url}/account/") as page:
        return "/sign-in/" not in page.geturl() and username.encode() in page.read()


def _browser() -> urllib.request.OpenerDirector:
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
    browser.addheaders = [("Accept", "text/html")]
    return browser


def _post(url: str, body: object) -> dict[str, Any]:
    request = urllib.request.Request(url, json.dumps(body).encode(), {"Content-Type": "application/json"})  # noqa: S310
    try:
        with urllib.request.urlopen(request, timeout=20) as answer:  # noqa: S310
            return dict(json.load(answer))
    except urllib.error.HTTPError as error:
        return dict(json.load(error))
