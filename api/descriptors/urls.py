"""URLs of reading texts and merging descriptors."""

from django.urls import path

from api.descriptors.merging import MergeDescriptor
from api.descriptors.reading import AcceptSuggestions, ReadText, SuggestionsOfNote

urlpatterns = [
    path("read", ReadText.as_view()),
    path("notes/<str:record_id>/suggestions", SuggestionsOfNote.as_view()),
    path("notes/<str:record_id>/suggestions/accept", AcceptSuggestions.as_view()),
    path("descriptors/<str:record_id>/merge", MergeDescriptor.as_view()),
]
