"""Addresses of version 1. Django tries them in this order."""

from django.urls import path

from api.account.me import Me
from api.account.passwords import Email, EmailVerificationView, ForgottenPassword, Password, PasswordReset
from api.account.tokens import SignInCodes, TokenDetail, TokenFromSession, Tokens
from api.descriptors.merging import MergeDescriptor
from api.descriptors.reading import AcceptSuggestions, ReadText, SuggestionsOfNote
from api.flights.flights import FlightPouringPlan, Flights, OneFlight
from api.flights.outcome import AdmitLateScore, FlightAnswerView, FlightDecisionView, FlightReveal
from api.http.addresses import with_either_slash
from api.lots.comparison import LotComparison
from api.lots.computed import (
    CalibrationView,
    DevelopmentView,
    LotArrivalCheck,
    LotBodyFeeling,
    LotOtherHarvests,
    PanelView,
    TeamNextTastings,
)
from api.lots.guide import LotBrewGuide, LotOtherVessel
from api.lots.readiness import ReadinessView
from api.lots.triangles import OneTrial, OneTriangleTest, Trials, TriangleTasters, TriangleTests
from api.operations.events import Events
from api.operations.export import TeamExport
from api.people.audit import Audit
from api.people.invitations import AcceptInvitation, InvitationDetail, Invitations
from api.people.logo import LogoView, TeamLogoImage
from api.people.members import MemberDetail, Members
from api.people.shops import ShopDetail, Shops
from api.people.team import HandOver, TeamDetail, TeamUsage
from api.photos.colour import PhotoColour
from api.photos.content import PhotoContentUpload
from api.photos.photos import PhotoDetail, Photos
from api.photos.pictures import PhotoImage, PhotoThumbnail
from api.records.records import record_routes
from api.shares.shares import KeepShare, ShareDetail, Shares
from api.sync.sync import Sync, SyncStream
from tastings.schemas import RECORD_SCHEMAS

_ROUTES = [
    path("sync", Sync.as_view()),
    path("sync/stream", SyncStream.as_view()),
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
    path("shops/", Shops.as_view()),
    path("shops/<str:shop_id>/", ShopDetail.as_view()),
    path("members/", Members.as_view()),
    path("members/<str:user_id>/", MemberDetail.as_view()),
    path("invitations/", Invitations.as_view()),
    path("invitations/accept", AcceptInvitation.as_view()),
    path("invitations/<str:invitation_id>/", InvitationDetail.as_view()),
    path("team", TeamDetail.as_view()),
    path("team/usage", TeamUsage.as_view()),
    path("team/logo", LogoView.as_view()),
    path("team/logo/image", TeamLogoImage.as_view()),
    path("team/owner", HandOver.as_view()),
    path("audit", Audit.as_view()),
    path("read", ReadText.as_view()),
    path("notes/<str:record_id>/suggestions", SuggestionsOfNote.as_view()),
    path("notes/<str:record_id>/suggestions/accept", AcceptSuggestions.as_view()),
    path("descriptors/<str:record_id>/merge", MergeDescriptor.as_view()),
    *(route for schema in RECORD_SCHEMAS.values() for route in record_routes(schema)),
    path("lots/<str:lot_id>/development", DevelopmentView.as_view()),
    path("lots/<str:lot_id>/body-feeling", LotBodyFeeling.as_view()),
    path("lots/<str:lot_id>/brew-guide", LotBrewGuide.as_view()),
    path("lots/<str:lot_id>/other-harvests", LotOtherHarvests.as_view()),
    path("lots/<str:lot_id>/other-vessel", LotOtherVessel.as_view()),
    path("lots/<str:lot_id>/readiness", ReadinessView.as_view()),
    path("lots/<str:lot_id>/arrival-check", LotArrivalCheck.as_view()),
    path("compare", LotComparison.as_view()),
    path("tasters/<str:taster_id>/calibration", CalibrationView.as_view()),
    path("next-tastings", TeamNextTastings.as_view()),
    path("panel", PanelView.as_view()),
    path("triangle-tests/", TriangleTests.as_view()),
    path("triangle-tests/<str:test_id>/", OneTriangleTest.as_view()),
    path("triangle-tests/<str:test_id>/tasters", TriangleTasters.as_view()),
    path("triangle-tests/<str:test_id>/trials", Trials.as_view()),
    path("triangle-tests/<str:test_id>/trials/<str:trial_id>", OneTrial.as_view()),
    path("flights/", Flights.as_view()),
    path("flights/<str:flight_id>/", OneFlight.as_view()),
    path("flights/<str:flight_id>/pouring", FlightPouringPlan.as_view()),
    path("flights/<str:flight_id>/reveal", FlightReveal.as_view()),
    path("flights/<str:flight_id>/answer", FlightAnswerView.as_view()),
    path("flights/<str:flight_id>/late/<str:session_id>/admit", AdmitLateScore.as_view()),
    path("flights/<str:flight_id>/decision", FlightDecisionView.as_view()),
    path("photos/", Photos.as_view()),
    path("photos/<str:photo_id>/", PhotoDetail.as_view()),
    path("photos/<str:photo_id>/content", PhotoContentUpload.as_view()),
    path("photos/<str:photo_id>/image", PhotoImage.as_view()),
    path("photos/<str:photo_id>/thumbnail", PhotoThumbnail.as_view()),
    path("photos/<str:photo_id>/colour", PhotoColour.as_view()),
    path("shares/", Shares.as_view()),
    path("shares/<str:share_id>/", ShareDetail.as_view()),
    path("shares/<str:share_id>/keep", KeepShare.as_view()),
    path("events", Events.as_view()),
    path("team/export", TeamExport.as_view()),
]
urlpatterns = list(with_either_slash(_ROUTES))
