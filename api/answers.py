"""What the OpenAPI document says of computed answers."""

from rest_framework import serializers as s

from api.http.openapi import inline_object, schema_fields
from tastings.schemas import TRIAL, TRIANGLE_TEST

_PROFILE = inline_object(
    "Profile",
    label=s.ChoiceField(choices=["build_up", "steady", "quick_fade", "undecided"]),
    probability=s.DictField(child=s.FloatField()),
    peak_infusion=s.IntegerField(allow_null=True),
    rise=s.FloatField(),
    half_strength_infusion=s.IntegerField(allow_null=True),
)
_POINT = inline_object(
    "CurvePoint",
    infusion=s.IntegerField(),
    mean=s.FloatField(),
    low=s.FloatField(),
    high=s.FloatField(),
    observed=s.FloatField(allow_null=True),
    n=s.IntegerField(),
)
DEVELOPMENT = inline_object(
    "Development",
    lot=s.UUIDField(),
    revision=s.IntegerField(),
    computed_at=s.DateTimeField(allow_null=True),
    stale=s.BooleanField(),
    evidence=s.DictField(),
    even_brew=s.DictField(),
    profile=_PROFILE(),
    steeps=s.DictField(),
    curves=inline_object("Curve", descriptor=s.CharField(), points=_POINT(many=True), profile=_PROFILE())(many=True),
    layers=s.ListField(child=s.DictField()),
    sentence=s.CharField(help_text="what changes from cup to cup, to say to a guest"),
    departures=s.ListField(child=s.DictField()),
    otherwise=inline_object(
        "Otherwise",
        descriptor=s.CharField(),
        points=s.ListField(child=s.DictField(), help_text="ratings as given, and without the departures"),
        sentence=s.CharField(),
    )(),
    next=s.CharField(),
    cautions=s.ListField(child=s.CharField()),
)

_TASTER_ROW = inline_object(
    "TasterFigures",
    descriptor=s.CharField(),
    gain=s.FloatField(help_text="1: as the panel; above 1 spreads more"),
    gain_sd=s.FloatField(),
    offset=s.FloatField(help_text="points above the panel"),
    offset_sd=s.FloatField(),
    sessions=s.IntegerField(),
    lots=s.IntegerField(),
    repeatability_sd=s.FloatField(allow_null=True, help_text="of the same infusion of the same lot, points"),
    agreement=s.FloatField(allow_null=True, help_text="correlation with the others' mean over lots"),
    discrimination_p=s.FloatField(allow_null=True, help_text="small when the taster tells lots apart"),
)
CALIBRATION = inline_object(
    "Calibration",
    revision=s.IntegerField(),
    computed_at=s.DateTimeField(allow_null=True),
    stale=s.BooleanField(),
    taster=s.UUIDField(),
    descriptors=_TASTER_ROW(many=True),
)
PANEL = inline_object(
    "Panel",
    revision=s.IntegerField(),
    computed_at=s.DateTimeField(allow_null=True),
    stale=s.BooleanField(),
    finish_line=inline_object("FinishLine", mean=s.FloatField(), sd=s.FloatField())(),
    agreement=inline_object(
        "PanelAgreement",
        descriptor=s.CharField(),
        tasters=s.IntegerField(),
        lots=s.IntegerField(),
        icc_single=s.FloatField(allow_null=True, help_text="ICC(2,1), Shrout and Fleiss 1979"),
        icc_mean=s.FloatField(allow_null=True, help_text="ICC(3,k)"),
        kendall_w=s.FloatField(allow_null=True),
    )(many=True),
    tasters=inline_object("PanelTaster", taster=s.UUIDField(), descriptors=_TASTER_ROW(many=True))(many=True),
)


NEW_TRIAL = inline_object("NewTrial", id=s.UUIDField(help_text="made by the client"), **schema_fields(TRIAL))
NEW_TRIANGLE_TEST = inline_object(
    "NewTriangleTest", id=s.UUIDField(help_text="made by the client"), **schema_fields(TRIANGLE_TEST)
)
TRIANGLE_TEST_READ = inline_object(
    "TriangleTest",
    id=s.UUIDField(),
    **schema_fields(TRIANGLE_TEST),
    by=s.UUIDField(),
    trials=inline_object("Trial", id=s.UUIDField(), **schema_fields(TRIAL), at=s.DateTimeField())(many=True),
    result=inline_object(
        "TriangleResult",
        n_correct=s.IntegerField(),
        n_tests=s.IntegerField(),
        p=s.FloatField(help_text="exact binomial, one third by guessing (ISO 4120)"),
        alpha=s.FloatField(),
        least_correct=s.IntegerField(allow_null=True),
        different=s.BooleanField(),
        distinguishers=s.FloatField(),
        power=s.FloatField(),
        target_power=s.FloatField(),
        needed=s.IntegerField(allow_null=True),
        found_distinguishers=s.FloatField(),
    )(allow_null=True),
)

COMPARISON = inline_object(
    "Comparison",
    level=s.FloatField(),
    first_infusions=s.IntegerField(),
    groups=s.ListField(child=s.DictField()),
    pairs=inline_object(
        "ComparedPair",
        first=s.CharField(),
        second=s.CharField(),
        shared_tasters=s.IntegerField(),
        probability=inline_object(
            "ComparedProbability",
            outlasts=s.FloatField(allow_null=True),
            outlasted=s.FloatField(allow_null=True),
            stronger=s.FloatField(allow_null=True),
            liked_more=s.FloatField(allow_null=True),
        )(),
        differences=inline_object(
            "ComparedDescriptor",
            descriptor=s.CharField(),
            mean=s.FloatField(),
            low=s.FloatField(),
            high=s.FloatField(),
            probability_more=s.FloatField(),
        )(many=True),
    )(many=True),
)

_DAY_POINT = inline_object(
    "RoastPoint",
    day=s.IntegerField(),
    date=s.DateField(),
    mean=s.FloatField(),
    low=s.FloatField(),
    high=s.FloatField(),
)
READINESS = inline_object(
    "Readiness",
    lot=s.UUIDField(),
    verdict=s.ChoiceField(choices=["ready", "resting", "cannot_tell"]),
    reason=s.CharField(),
    level=s.FloatField(),
    roasted_on=s.DateField(allow_null=True),
    probability=s.FloatField(required=False, allow_null=True),
    expected=inline_object(
        "ExpectedDay",
        date=s.DateField(allow_null=True),
        low=s.DateField(allow_null=True),
        high=s.DateField(allow_null=True),
        level=s.FloatField(),
    )(required=False),
    today=_DAY_POINT(required=False, allow_null=True),
    curve=_DAY_POINT(many=True, required=False),
    tastings=s.ListField(child=s.DictField(), required=False),
    liking=inline_object(
        "LikingTrend",
        per_30_days=s.FloatField(),
        low=s.FloatField(),
        high=s.FloatField(),
        probability_rising=s.FloatField(),
    )(required=False, allow_null=True),
    next=s.CharField(required=False),
    left_out=s.ListField(child=s.DictField(), required=False),
)
ARRIVAL = inline_object(
    "ArrivalCheck",
    lot=s.UUIDField(),
    sample=s.UUIDField(allow_null=True),
    verdict=s.ChoiceField(choices=["same", "different", "cannot_tell"]),
    reason=s.CharField(),
    alpha=s.FloatField(required=False),
    noticeable=s.FloatField(required=False),
    level=s.FloatField(required=False),
    first_infusions=s.IntegerField(required=False),
    sessions=s.DictField(required=False),
    shared_tasters=s.IntegerField(required=False),
    descriptors=inline_object(
        "ArrivalDescriptor",
        descriptor=s.CharField(),
        sample=s.FloatField(),
        arrived=s.FloatField(),
        difference=s.FloatField(),
        low=s.FloatField(),
        high=s.FloatField(),
        p=s.FloatField(),
        p_adjusted=s.FloatField(),
        different=s.BooleanField(),
        detectable=s.FloatField(),
        within_noticeable=s.BooleanField(),
    )(many=True, required=False),
    not_compared=s.ListField(child=s.CharField(), required=False),
    next=s.CharField(required=False),
    triangle_tests=TRIANGLE_TEST_READ(many=True),
)
