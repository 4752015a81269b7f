"""What every refusal looks like."""

MEMBERS = {"type", "title", "status", "detail", "problems"}


def refusal(response):
    """Return status, problem type and the fields and codes named, once the answer has the shape of RFC 9457."""
    body = response.json()
    assert response["Content-Type"] == "application/problem+json"
    assert body.keys() == MEMBERS
    assert body["status"] == response.status_code
    assert body["title"]
    assert "{" not in body["title"]
    return response.status_code, body["type"].removeprefix("/problems/"), named(body)


def named(body):
    """Return which fields a problem document or a verdict names, each with its code."""
    assert all(problem.keys() == {"field", "code", "detail"} and problem["detail"] for problem in body["problems"])
    return {(problem["field"], problem["code"]) for problem in body["problems"]}
