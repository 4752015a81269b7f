"""What the OpenAPI document says of invitations, roles and passwords."""

from typing import Any

from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers as s

from api.account import AskForReset, Email, Password, Reset
from api.audit import Audit
from api.http import openapi
from api.http.openapi import an_object, described, problem
from api.invitations import AcceptInvitation, Invitations, OneInvitation
from api.people import HandOver
from teams.actions.invitations import MOST_DAYS, USUAL_DAYS
from teams.queries.access import WHAT

ROLES = ["owner", "buyer", "taster", "viewer"]
_INVITATION: dict[str, Any] = {
    "id": s.UUIDField(),
    "role": s.ChoiceField(choices=ROLES),
    "shop": s.UUIDField(),
    "by": s.UUIDField(help_text="the login of the owner who made it"),
    "state": s.ChoiceField(choices=["open", "used", "revoked", "expired"]),
    "created_at": s.DateTimeField(),
    "expires_at": s.DateTimeField(),
    "used_by": s.UUIDField(allow_null=True, help_text="the login that came in by it"),
}
INVITATION = an_object("Invitation", **_INVITATION)
NEW_INVITATION = an_object(
    "NewInvitation",
    role=s.ChoiceField(choices=ROLES),
    shop=s.UUIDField(),
    expires_at=s.DateTimeField(
        required=False, allow_null=True, help_text=f"at most {MOST_DAYS} days ahead; {USUAL_DAYS} days when absent"
    ),
)
INVITATION_MADE = an_object(
    "InvitationMade",
    **_INVITATION,
    token=s.CharField(help_text="told only this once"),
    link=s.URLField(help_text="the page to come in by; works once"),
)
ACCEPTING = an_object(
    "AcceptingInvitation",
    token=s.CharField(),
    username=s.CharField(max_length=80),
    password=s.CharField(help_text="of a new login to be, of one that exists its own"),
    device=s.CharField(required=False, allow_null=True, max_length=200, help_text="also sign this device in"),
    existing=s.BooleanField(
        required=False, allow_null=True, help_text="true: the login must exist; false: it must not; absent: either"
    ),
)
JOINED = an_object(
    "Joined",
    token=s.CharField(allow_null=True, help_text="null unless a device was named"),
    expires_at=s.DateTimeField(allow_null=True),
    user=s.UUIDField(),
    team=s.UUIDField(),
    shop=s.UUIDField(allow_null=True),
    role=s.ChoiceField(choices=ROLES),
)
MEMBER_CHANGE = an_object(
    "MemberChange", role=s.ChoiceField(required=False, choices=ROLES), shop=s.UUIDField(required=False)
)
HAND_OVER = an_object("HandOver", to=s.UUIDField(help_text="the login of the owner to be; the caller becomes a buyer"))
PASSWORDS = an_object("Passwords", password=s.CharField(help_text="the present one"), new_password=s.CharField())
EMAIL = an_object("Email", email=s.CharField(allow_blank=True))
NEW_EMAIL = an_object(
    "NewEmail", email=s.CharField(allow_blank=True, max_length=254, help_text="empty for none"), password=s.CharField()
)
FORGOTTEN = an_object("ForgottenPassword", username=s.CharField(max_length=254, help_text="or e-mail address"))
ASKED = an_object("ResetAsked", detail=s.CharField(help_text="the same whether there is such a login or not"))
NEW_PASSWORD = an_object("NewPassword", token=s.CharField(help_text="out of the mailed link"), password=s.CharField())
AUDIT_ENTRY = an_object(
    "AuditEntry",
    id=s.UUIDField(),
    at=s.DateTimeField(),
    who=s.UUIDField(allow_null=True, help_text="the login that did it"),
    name=s.CharField(allow_null=True),
    what=s.ChoiceField(choices=WHAT),
    about=s.DictField(help_text="what it was done to; of a sign-in the device and the address it came from"),
)
_BODY = problem(400, 413, 415, 422)

DESCRIBED: dict[Any, Any] = {
    Invitations: {
        "get": described(
            operation_id="invitation_list",
            parameters=[*openapi.PAGING, openapi.ETAG],
            responses={200: openapi.page(INVITATION, "InvitationPage"), **openapi.NOT_MODIFIED, **problem(403, 422)},
        ),
        "post": described(
            operation_id="invitation_create",
            request=NEW_INVITATION,
            responses={201: INVITATION_MADE, **_BODY, **problem(403)},
        ),
    },
    OneInvitation: {"delete": described(responses={204: None, **problem(403, 404)})},
    AcceptInvitation: {
        "post": described(
            operation_id="invitation_accept",
            request=ACCEPTING,
            responses={201: JOINED, **_BODY, **problem(404)},
            auth=[],
        )
    },
    Password: {"post": described(operation_id="password_change", request=PASSWORDS, responses={204: None, **_BODY})},
    Email: {"post": described(operation_id="email_change", request=NEW_EMAIL, responses={200: EMAIL, **_BODY})},
    AskForReset: {
        "post": described(
            operation_id="password_reset_ask", request=FORGOTTEN, responses={202: ASKED, **_BODY}, auth=[]
        )
    },
    Reset: {
        "post": described(
            operation_id="password_reset", request=NEW_PASSWORD, responses={204: None, **_BODY, **problem(404)}, auth=[]
        )
    },
    Audit: {
        "get": described(
            operation_id="audit_list",
            parameters=[
                OpenApiParameter("what", str, description="only what was done of this kind", enum=WHAT),
                *openapi.PAGING,
                openapi.ETAG,
            ],
            responses={200: openapi.page(AUDIT_ENTRY, "AuditPage"), **openapi.NOT_MODIFIED, **problem(403, 422)},
        )
    },
    HandOver: {
        "post": described(
            operation_id="team_hand_over", request=HAND_OVER, responses={204: None, **_BODY, **problem(403, 404)}
        )
    },
}
"""What each view says of its operations."""
