"""Addresses of the caller's own account."""

from django.urls import path

from api.account.me import Me
from api.account.passwords import Email, EmailVerificationView, ForgottenPassword, Password, PasswordReset
from api.account.tokens import SignInCodes, TokenDetail, TokenFromSession, Tokens

urlpatterns = [
    path("auth/tokens", Tokens.as_view()),
    path("auth/tokens/from-session", TokenFromSession.as_view()),
    path("auth/codes", SignInCodes.as_view()),
    path("auth/tokens/<str:token_id>", TokenDetail.as_view()),
    path("auth/reset", ForgottenPassword.as_view()),
    path("auth/reset/password", PasswordReset.as_view()),
    path("me", Me.as_view()),
    path("me/password", Password.as_view()),
    path("me/email", Email.as_view()),
    path("me/email/verification", EmailVerificationView.as_view()),
]
