"""Addresses of what is computed of lots and tasters."""

from django.urls import path

from api.lots.comparison import LotComparison
from api.lots.computed import LotArrivalCheck, LotBodyFeeling, LotDevelopment, LotOtherHarvests, TeamNextTastings
from api.lots.guide import LotBrewGuide
from api.lots.other_vessel import LotOtherVessel
from api.lots.panel import CalibrationView, PanelView
from api.lots.readiness import ReadinessView
from api.lots.triangles import OneTrial, OneTriangleTest, Trials, TriangleTasters, TriangleTests

urlpatterns = [
    path("lots/<str:lot_id>/development", LotDevelopment.as_view()),
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
]
