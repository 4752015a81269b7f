"""Addresses of links for people outside the team."""

from django.urls import path

from api.shares.shares import KeepShare, ShareDetail, Shares

urlpatterns = [
    path("shares/", Shares.as_view()),
    path("shares/<str:share_id>/", ShareDetail.as_view()),
    path("shares/<str:share_id>/keep", KeepShare.as_view()),
]
