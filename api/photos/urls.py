"""Addresses of photos."""

from django.urls import path

from api.photos.colour import PhotoColour
from api.photos.content import PhotoContentUpload
from api.photos.photos import PhotoDetail, Photos
from api.photos.pictures import PhotoImage, PhotoThumbnail

urlpatterns = [
    path("photos/", Photos.as_view()),
    path("photos/<str:photo_id>/", PhotoDetail.as_view()),
    path("photos/<str:photo_id>/content", PhotoContentUpload.as_view()),
    path("photos/<str:photo_id>/image", PhotoImage.as_view()),
    path("photos/<str:photo_id>/thumbnail", PhotoThumbnail.as_view()),
    path("photos/<str:photo_id>/colour", PhotoColour.as_view()),
]
