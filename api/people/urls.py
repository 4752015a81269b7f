"""Addresses of a team's people: shops, members, invitations, the team itself and its audit log."""

from django.urls import path

from api.people.audit import Audit
from api.people.invitations import AcceptInvitation, InvitationDetail, Invitations
from api.people.logo import LogoView, TeamLogoImage
from api.people.members import MemberDetail, Members
from api.people.shops import ShopDetail, Shops
from api.people.team import HandOver, TeamDetail
from api.people.usage import TeamUsage

urlpatterns = [
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
]
