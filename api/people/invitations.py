"""One-time links into a team: making them, revoking them, joining by one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING
from uuid import UUID

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy
from drf_spectacular.utils import extend_schema_field, extend_schema_serializer
from rest_framework import serializers as s
from rest_framework.authentication import BaseAuthentication
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.account.tokens import SignedInSerializer, token_response
from api.http.addresses import created_response
from api.http.auth import caller_of, member_of
from api.http.bodies import (
    BodySerializer,
    StrictBooleanField,
    StrictChoiceField,
    StrictDateTimeField,
    StrictIdField,
    StrictNameField,
    StrictTextField,
    validated_body,
)
from api.http.conditional import id_from_path, paginated_response
from api.http.openapi import LOCATION, PAGING, conditional_get, operation, paginated
from teams.actions.invitations import (
    DEFAULT_DAYS,
    MAX_DAYS,
    Newcomer,
    accept_invitation,
    create_invitation,
    revoke_invitation,
)
from teams.queries.access import invitation_for, invitations_of
from teams.queries.people import ROLES

if TYPE_CHECKING:
    from teams.models import Invitation


class InvitationSerializer(s.Serializer[object]):
    """A one-time link, without its token."""

    id = s.UUIDField()
    role = s.ChoiceField(choices=ROLES)
    shop = s.UUIDField(source="shop_id")
    by = s.UUIDField(source="by_id", help_text="the login of the owner who made it")
    state = s.SerializerMethodField()
    created_at = s.DateTimeField()
    expires_at = s.DateTimeField()
    used_by = s.UUIDField(source="used_by_id", allow_null=True, help_text="the login that came in by it")

    @extend_schema_field(s.ChoiceField(choices=["open", "used", "revoked", "expired"]))
    def get_state(self, invitation: Invitation) -> str:
        """Return what has become of it by now."""
        if invitation.used_at is not None:
            return "used"
        if invitation.revoked_at is not None:
            return "revoked"
        return "open" if invitation.expires_at > timezone.now() else "expired"


@extend_schema_serializer(component_name="InvitationMade")
class CreatedInvitationSerializer(InvitationSerializer):
    """A one-time link that was just made."""

    token = s.CharField(help_text="shown only this once")
    link = s.URLField(help_text="the page to come in by; works once")


class NewInvitationSerializer(BodySerializer):
    """What makes a link."""

    unknown = gettext_lazy("is not part of an invitation")
    role = StrictChoiceField(choices=ROLES)
    shop = StrictIdField()
    expires_at = StrictDateTimeField(
        required=False, allow_null=True, help_text=f"at most {MAX_DAYS} days ahead; {DEFAULT_DAYS} days when absent"
    )


class AcceptingInvitationSerializer(BodySerializer):
    """Who comes in by a link."""

    token = StrictTextField()
    username = StrictNameField(max_length=80)
    password = StrictTextField(help_text="of a new login to be, of one that exists its own")
    device = StrictNameField(required=False, allow_null=True, max_length=200, help_text="also sign this device in")
    existing = StrictBooleanField(
        required=False, allow_null=True, help_text="true: the login must exist; false: it must not; absent: either"
    )


class JoinedSerializer(SignedInSerializer):
    """A new membership."""

    token = s.CharField(allow_null=True, help_text="null unless a device was named")
    expires_at = s.DateTimeField(allow_null=True)
    must_sign_in_by = s.DateTimeField(allow_null=True)


class Invitations(APIView):
    """The team's invitations."""

    @conditional_get(
        paginated(InvitationSerializer, "InvitationPage"), [403, 422], operation_id="invitation_list", parameters=PAGING
    )
    def get(self, request: Request) -> Response:
        """List invitations, the newest first, those that ended included; owners only."""
        member = member_of(request)

        def page(after: UUID | None, limit: int) -> list[dict[str, object]]:
            return list(InvitationSerializer(invitations_of(member, after=after, limit=limit), many=True).data)

        return paginated_response(request, page)

    @operation(
        {201: CreatedInvitationSerializer},
        [403],
        operation_id="invitation_create",
        parameters=[LOCATION],
        request=NewInvitationSerializer,
    )
    def post(self, request: Request) -> Response:
        """Invite somebody with a link that works once; owners only. Token and link are shown only this once."""
        data = {"expires_at": None, **validated_body(request, NewInvitationSerializer)}
        token, invitation = create_invitation(member_of(request), **data, now=timezone.now())
        link = request.build_absolute_uri(reverse("join", args=[token]))
        payload = {**InvitationSerializer(invitation).data, "token": token, "link": link}
        return created_response(request, invitation.id, payload, headers={"Cache-Control": "no-store"})


class InvitationDetail(APIView):
    """One invitation."""

    @operation({204: None}, [403, 404])
    def delete(self, request: Request, invitation_id: str) -> Response:
        """Revoke an invitation, so that its link opens nothing any more; owners only."""
        member, invitation = member_of(request), id_from_path(invitation_id)
        invitation_for(member, invitation)
        revoke_invitation(member, invitation=invitation, now=timezone.now())
        return Response(status=204)


class AcceptInvitation(APIView):
    """Coming in by a link."""

    authentication_classes: Sequence[type[BaseAuthentication]] = ()
    permission_classes = [AllowAny]

    @operation(
        {201: JoinedSerializer}, [404], operation_id="invitation_accept", request=AcceptingInvitationSerializer, auth=[]
    )
    def post(self, request: Request) -> Response:
        """Accept an invitation with a new login, or with one's own name and password; with ``device`` sign in too."""
        data = validated_body(request, AcceptingInvitationSerializer)
        newcomer = Newcomer(username=data["username"], password=data["password"], existing=data.get("existing"))
        member, token, record = accept_invitation(
            token=data["token"],
            newcomer=newcomer,
            device=data.get("device"),
            caller=caller_of(request),
            now=timezone.now(),
        )
        return token_response(member, token=token, record=record)
