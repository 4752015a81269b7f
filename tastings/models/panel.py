"""What a team's tastings say about its tasters, its finish line and its fatigue."""

from django.db import models

from tastings.models.computed import Computed
from teams.models import Team


class TeamPanel(Computed):
    """One team's calibration. ``version`` counts when what the curves use has moved enough to matter.

    ``scales`` holds, by descriptor and taster, gain, offset and their standard deviations; ``figures`` by descriptor
    what `tastings.maths.panel.panel` found, ``slopes`` what is believed of the order of the cups
    (`tastings.maths.curve.order_slope`).
    """

    team = models.OneToOneField(Team, on_delete=models.CASCADE, primary_key=True, related_name="+")
    version = models.IntegerField(default=0)
    line_mean = models.FloatField(default=2.5)
    line_sd = models.FloatField(default=1.0)
    slopes = models.JSONField(default=dict)
    scales = models.JSONField(default=dict)
    figures = models.JSONField(default=dict)

    def __str__(self) -> str:
        return f"panel of {self.team_id}"
