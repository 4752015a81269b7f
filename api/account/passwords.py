"""The password, the address for a forgotten one, and a forgotten password."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils import timezone
from drf_spectacular.utils import extend_schema_serializer
from rest_framework import serializers as s
from rest_framework.authentication import BaseAuthentication
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import client_ip, device_token, member_of
from api.http.bodies import BodySerializer, StrictNameField, StrictTextField, validated_body
from api.http.openapi import operation
from api.http.resets import mail_verification_again, request_reset, reset_requested_text, set_email
from teams.actions.emails import verify_email
from teams.actions.login_throttle import Caller
from teams.actions.passwords import change_password
from teams.actions.resets import reset_password


class PasswordsSerializer(BodySerializer):
    """The password and the one to come."""

    password = StrictTextField(help_text="the present one")
    new_password = StrictTextField()


class NewEmailSerializer(BodySerializer):
    """An address for a forgotten password."""

    email = StrictTextField(allow_blank=True, max_length=254, help_text="empty for none")
    password = StrictTextField()


class EmailSerializer(s.Serializer[object]):
    """The address as it is stored."""

    email = s.CharField(allow_blank=True)
    email_verified = s.BooleanField(
        source="has_verified_email", read_only=True, help_text="without that it receives no link for a password"
    )


class VerificationSerializer(BodySerializer):
    """What verifies an address."""

    token = StrictTextField(help_text="out of the mailed link")


class ForgottenPasswordSerializer(BodySerializer):
    """Whose password is forgotten."""

    username = StrictNameField(max_length=254, help_text="or e-mail address")


@extend_schema_serializer(component_name="ResetAsked")
class ResetRequestedSerializer(s.Serializer[object]):
    """What happens now."""

    detail = s.CharField(help_text="the same whether there is such a login or not")


class NewPasswordSerializer(BodySerializer):
    """A password by a mailed link."""

    token = StrictTextField(help_text="out of the mailed link")
    password = StrictTextField()


class Password(APIView):
    """The caller's password."""

    @operation({204: None}, operation_id="password_change", request=PasswordsSerializer)
    def post(self, request: Request) -> Response:
        """Change one's own password; the present one must be given. Every other device and browser is signed out."""
        data = validated_body(request, PasswordsSerializer)
        user, device = member_of(request).user, device_token(request)
        caller = Caller(address=client_ip(request), login=user.id, device=str(device.id))
        change_password(user, **data, caller=caller, token=device, now=timezone.now())
        return Response(status=204)


class Email(APIView):
    """The address to which a link goes when the caller forgets the password."""

    @operation({200: EmailSerializer}, operation_id="email_change", request=NewEmailSerializer)
    def post(self, request: Request) -> Response:
        """Set one's own e-mail address; empty: none. The password must be given. A link to verify it is mailed."""
        data = validated_body(request, NewEmailSerializer)
        user, device = member_of(request).user, device_token(request)
        caller = Caller(address=client_ip(request), login=user.id, device=str(device.id))
        set_email(request, user, **data, caller=caller)
        return Response(EmailSerializer(user).data)


class EmailVerificationView(APIView):
    """Verifying the caller's address."""

    @operation({202: EmailSerializer}, operation_id="email_verification_mail", request=None)
    def post(self, request: Request) -> Response:
        """Mail the link for verification again; a verified address gets none. 422 for a login without an address."""
        user = member_of(request).user
        mail_verification_again(request, user)
        return Response(EmailSerializer(user).data, status=202)

    @operation({200: EmailSerializer}, [404], operation_id="email_verify", request=VerificationSerializer)
    def put(self, request: Request) -> Response:
        """Verify the e-mail address with the token in the mailed link, as the login that it was mailed for."""
        data, user = validated_body(request, VerificationSerializer), member_of(request).user
        verify_email(data["token"], user=user, address=client_ip(request), now=timezone.now())
        user.refresh_from_db(fields=["email_verified_at"])
        return Response(EmailSerializer(user).data)


class ForgottenPassword(APIView):
    """A forgotten password."""

    authentication_classes: Sequence[type[BaseAuthentication]] = ()
    permission_classes = [AllowAny]

    @operation(
        {202: ResetRequestedSerializer}, operation_id="password_reset_ask", request=ForgottenPasswordSerializer, auth=[]
    )
    def post(self, request: Request) -> Response:
        """Ask for a link to set a forgotten password, by name or e-mail address. The answer is always the same."""
        data = validated_body(request, ForgottenPasswordSerializer)
        request_reset(request, data["username"])
        return Response(ResetRequestedSerializer({"detail": reset_requested_text()}).data, status=202)


class PasswordReset(APIView):
    """A new password by a mailed link."""

    authentication_classes: Sequence[type[BaseAuthentication]] = ()
    permission_classes = [AllowAny]

    @operation({204: None}, [404], operation_id="password_reset", request=NewPasswordSerializer, auth=[])
    def post(self, request: Request) -> Response:
        """Set a new password with the mailed token, which works once; every device and browser is signed out."""
        data = validated_body(request, NewPasswordSerializer)
        reset_password(**data, address=client_ip(request), now=timezone.now())
        return Response(status=204)
