"""All routes of ``manage.py admin``."""

from django.contrib import admin
from django.urls import path

urlpatterns = [path("", admin.site.urls)]
