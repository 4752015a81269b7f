"""Addresses of a team's people: shops, members, invitations, the team itself and its audit log."""

from django.urls import path

from api.people.audit import Audit
from api.people.invitations import AcceptInvitation, Invitations, OneInvitation
from api.people.members import Members, OneMember
from api.people.shops import OneShop, Shops
from api.people.team import HandOver, OneTeam

urlpatterns = [
    path("shops/", Shops.as_view()),
    path("shops/<str:shop_id>/", OneShop.as_view()),
    path("members/", Members.as_view()),
    path("members/<str:user_id>/", OneMember.as_view()),
    path("invitations/", Invitations.as_view()),
    path("invitations/accept", AcceptInvitation.as_view()),
    path("invitations/<str:invitation_id>/", OneInvitation.as_view()),
    path("team", OneTeam.as_view()),
    path("team/owner", HandOver.as_view()),
    path("audit", Audit.as_view()),
]
