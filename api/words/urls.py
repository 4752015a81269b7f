"""Addresses of reading texts and merging words."""

from django.urls import path

from api.words.merging import MergeWord
from api.words.reading import AcceptSuggestions, Read, SuggestionsOf

urlpatterns = [
    path("read", Read.as_view()),
    path("notes/<str:record_id>/suggestions", SuggestionsOf.as_view()),
    path("notes/<str:record_id>/suggestions/accept", AcceptSuggestions.as_view()),
    path("descriptors/<str:record_id>/merge", MergeWord.as_view()),
]
