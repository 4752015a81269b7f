"""Addresses of blind flights."""

from django.urls import path

from api.flights.flights import FlightPouringPlan, Flights, OneFlight
from api.flights.outcome import AdmitLateScore, FlightAnswerView, FlightDecisionView, FlightReveal

urlpatterns = [
    path("flights/", Flights.as_view()),
    path("flights/<str:flight_id>/", OneFlight.as_view()),
    path("flights/<str:flight_id>/pouring", FlightPouringPlan.as_view()),
    path("flights/<str:flight_id>/reveal", FlightReveal.as_view()),
    path("flights/<str:flight_id>/answer", FlightAnswerView.as_view()),
    path("flights/<str:flight_id>/late/<str:session_id>/admit", AdmitLateScore.as_view()),
    path("flights/<str:flight_id>/decision", FlightDecisionView.as_view()),
]
