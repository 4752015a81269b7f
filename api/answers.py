"""What the OpenAPI document says of computed answers."""

from rest_framework import serializers as s

from api.http.openapi import an_object

_PROFILE = an_object(
    "Profile",
    label=s.ChoiceField(choices=["build_up", "steady", "quick_fade", "undecided"]),
    probability=s.DictField(child=s.FloatField()),
    peak_infusion=s.IntegerField(allow_null=True),
    rise=s.FloatField(),
    half_strength_infusion=s.IntegerField(allow_null=True),
)
_POINT = an_object(
    "CurvePoint",
    infusion=s.IntegerField(),
    mean=s.FloatField(),
    low=s.FloatField(),
    high=s.FloatField(),
    observed=s.FloatField(allow_null=True),
    n=s.IntegerField(),
)
DEVELOPMENT = an_object(
    "Development",
    lot=s.UUIDField(),
    revision=s.IntegerField(),
    computed_at=s.DateTimeField(allow_null=True),
    stale=s.BooleanField(),
    evidence=s.DictField(),
    even_brew=s.DictField(),
    profile=_PROFILE(),
    steeps=s.DictField(),
    curves=an_object("Curve", descriptor=s.CharField(), points=_POINT(many=True), profile=_PROFILE())(many=True),
    layers=s.ListField(child=s.DictField()),
    sentence=s.CharField(help_text="what changes from cup to cup, to say to a guest"),
    departures=s.ListField(child=s.DictField()),
    otherwise=an_object(
        "Otherwise",
        descriptor=s.CharField(),
        points=s.ListField(child=s.DictField(), help_text="ratings as given, and without the departures"),
        sentence=s.CharField(),
    )(),
    next=s.CharField(),
    cautions=s.ListField(child=s.CharField()),
)

COMPARISON = an_object(
    "Comparison",
    level=s.FloatField(),
    first_infusions=s.IntegerField(),
    groups=s.ListField(child=s.DictField()),
    pairs=an_object(
        "ComparedPair",
        first=s.CharField(),
        second=s.CharField(),
        shared_tasters=s.IntegerField(),
        probability=an_object(
            "ComparedProbability",
            outlasts=s.FloatField(allow_null=True),
            outlasted=s.FloatField(allow_null=True),
            stronger=s.FloatField(allow_null=True),
            liked_more=s.FloatField(allow_null=True),
        )(),
        differences=an_object(
            "ComparedDescriptor",
            descriptor=s.CharField(),
            mean=s.FloatField(),
            low=s.FloatField(),
            high=s.FloatField(),
            probability_more=s.FloatField(),
        )(many=True),
    )(many=True),
)
