"""What the OpenAPI document says of computed answers."""

from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers as s

from api.http.openapi import an_object, fields_of
from tastings.maths.guide.pots import STYLES
from tastings.maths.guide.target import FROM_LIKING, FROM_SECOND
from tastings.schemas import MATERIALS, TRIAL, TRIANGLE_TEST

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

_REMEDY = an_object(
    "BrewRemedy",
    steep_s=s.FloatField(allow_null=True, help_text="change of that infusion's steep, signed"),
    leaf_g=s.FloatField(allow_null=True, help_text="or of the leaf, signed"),
    detail=s.CharField(),
)
_MILLIGRAMS = an_object("CaffeineRange", low=s.FloatField(), high=s.FloatField())
GUIDE = an_object(
    "BrewGuide",
    style=s.ChoiceField(choices=list(STYLES)),
    pot=an_object(
        "BrewPot",
        leaf_g=s.FloatField(help_text="as told, as the lot was tasted, as the standard says, or worked out for a mug"),
        vessel_ml=s.FloatField(help_text="to the brim"),
        water_ml=s.FloatField(help_text="of one infusion"),
        kettle_c=s.FloatField(
            help_text="as told or as the lot was tasted, but never above the boiling point of the place"
        ),
        vessel_material=s.CharField(),
        vessel_g=s.FloatField(allow_null=True, help_text="null when it was estimated"),
        warmed=s.BooleanField(),
        altitude_m=s.FloatField(),
    )(),
    rinse_s=s.FloatField(
        allow_null=True,
        help_text="contact of a rinse that is thrown away; null for none, as when most sessions of the lot had none",
    ),
    infusions=an_object(
        "GuidedInfusion",
        number=s.IntegerField(),
        steep_s=s.FloatField(help_text="3 to 300: to 1 s below 15, 5 s below 60, 10 s below 120, 15 s above"),
        pour_s=s.FloatField(),
        contact_s=s.FloatField(help_text="the steep and half the pour"),
        expected_strength=s.FloatField(allow_null=True, help_text="null only by a standard, of an unrated lot"),
        low=s.FloatField(allow_null=True),
        high=s.FloatField(allow_null=True),
        likely_miss_pct=s.FloatField(
            allow_null=True, help_text="root mean square miss of the target over what the leaf may be like"
        ),
        weaker_steep_s=s.FloatField(allow_null=True, help_text="for a cup one point weaker"),
        stronger_steep_s=s.FloatField(allow_null=True, help_text="for a cup one point stronger"),
    )(many=True),
    last_at_target=s.IntegerField(allow_null=True, help_text="the last one that reaches the target within 300 s"),
    last_sure=s.IntegerField(
        allow_null=True, help_text="up to here no likely miss is above 20 %; the times beyond are guesses"
    ),
    last_worthwhile=s.IntegerField(allow_null=True),
    target_strength=s.FloatField(allow_null=True),
    target_from=s.ChoiceField(choices=[FROM_LIKING, FROM_SECOND], allow_null=True),
    target_evidence=an_object(
        "TargetEvidence",
        low=s.FloatField(help_text="central 80 % of the target"),
        high=s.FloatField(),
        probability=s.FloatField(
            allow_null=True, help_text="that liking has its top within the strengths tasted; null when not asked"
        ),
        cups=s.IntegerField(help_text="rated for liking"),
        sessions=s.IntegerField(),
        reason=s.CharField(help_text="which strength was taken and why"),
    )(allow_null=True),
    change=an_object(
        "BrewChange",
        points=s.FloatField(help_text="by how many points of strength"),
        infusion=s.IntegerField(help_text="whose steep is spoken of"),
        too_strong=_REMEDY(),
        too_thin=_REMEDY(),
    )(allow_null=True),
    serving=an_object(
        "BrewServing",
        guests=s.IntegerField(),
        cup_ml=s.FloatField(help_text="for each guest, of each round"),
        pots=s.IntegerField(help_text="portions of leaf, brewed side by side or one after the other"),
        rounds=s.IntegerField(allow_null=True, help_text="infusions worth drinking"),
        leaf_g=s.FloatField(help_text="for all pots"),
        round_ml=s.FloatField(help_text="water of one round, all pots"),
        rinse_ml=s.FloatField(),
        warming_ml=s.FloatField(),
        total_ml=s.FloatField(allow_null=True, help_text="water to heat for everything"),
    )(allow_null=True, help_text="null for an evaluation"),
    caffeine=an_object(
        "BrewCaffeine",
        per_cup_mg=_MILLIGRAMS(help_text="weakest to strongest cup"),
        per_pot_mg=_MILLIGRAMS(help_text="all worthwhile infusions of one portion of leaf"),
        per_guest_mg=_MILLIGRAMS(help_text="a cup of each of them"),
        source=s.CharField(),
    )(allow_null=True, help_text="an estimate, never a measurement; null for a herbal or an unrated lot"),
    cost=an_object(
        "BrewCost",
        per_cup=s.FloatField(allow_null=True),
        per_litre=s.FloatField(allow_null=True),
        per_pot=s.FloatField(),
        currency=s.CharField(allow_null=True),
    )(allow_null=True, help_text="of the leaf; null while the lot has no price"),
    source=s.CharField(
        allow_null=True, help_text="the standard, and what of it is from memory; null when worked out here"
    ),
    notes=s.ListField(
        child=s.CharField(), help_text="where the times deserve less trust, or the pot should be another"
    ),
    cautions=s.ListField(child=s.CharField(), help_text="what to be careful about, and the notes"),
)
POT = (
    OpenApiParameter(
        "style",
        str,
        enum=STYLES,
        description=(
            "small_pot (default): many infusions; long_mug: one, with little leaf; standard_bowl: ISO 3103;"
            " covered_bowl: GB/T 23776. The last two take altitude_m only (standard_bowl also vessel_ml, 310 or 150)"
        ),
    ),
    OpenApiParameter("vessel_ml", float, description="default 110, for long_mug 300"),
    OpenApiParameter(
        "leaf_g",
        float,
        description="default as the lot was tasted, to half a gram, below 60 ml to a tenth; for long_mug worked out",
    ),
    OpenApiParameter("kettle_c", float, description="50 to 100, default as the lot was tasted: the median"),
    OpenApiParameter("vessel_material", str, enum=MATERIALS, description="default porcelain"),
    OpenApiParameter("vessel_g", float, description="with lid; estimated from volume and material when left out"),
    OpenApiParameter("warmed", bool, description="default true, for long_mug false"),
    OpenApiParameter("pour_s", float, description="how long a small_pot takes to empty, at most 300; default 5"),
    OpenApiParameter("altitude_m", float, description="lowers the boiling point"),
    OpenApiParameter("guests", int, description="1 to 200, default 1; small_pot and long_mug"),
    OpenApiParameter(
        "cup_ml",
        float,
        description="what each guest of a small_pot gets of each infusion; default all of it for one, 50 for more",
    ),
)

_TASTER_ROW = an_object(
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
CALIBRATION = an_object(
    "Calibration",
    revision=s.IntegerField(),
    computed_at=s.DateTimeField(allow_null=True),
    stale=s.BooleanField(),
    taster=s.UUIDField(),
    descriptors=_TASTER_ROW(many=True),
)
PANEL = an_object(
    "Panel",
    revision=s.IntegerField(),
    computed_at=s.DateTimeField(allow_null=True),
    stale=s.BooleanField(),
    finish_line=an_object("FinishLine", mean=s.FloatField(), sd=s.FloatField())(),
    agreement=an_object(
        "PanelAgreement",
        descriptor=s.CharField(),
        tasters=s.IntegerField(),
        lots=s.IntegerField(),
        icc_single=s.FloatField(allow_null=True, help_text="ICC(2,1), Shrout and Fleiss 1979"),
        icc_mean=s.FloatField(allow_null=True, help_text="ICC(3,k)"),
        kendall_w=s.FloatField(allow_null=True),
    )(many=True),
    tasters=an_object("PanelTaster", taster=s.UUIDField(), descriptors=_TASTER_ROW(many=True))(many=True),
)


NEW_TRIAL = an_object("NewTrial", id=s.UUIDField(help_text="made by the client"), **fields_of(TRIAL))
NEW_TRIANGLE_TEST = an_object(
    "NewTriangleTest", id=s.UUIDField(help_text="made by the client"), **fields_of(TRIANGLE_TEST)
)
TRIANGLE_TEST_READ = an_object(
    "TriangleTest",
    id=s.UUIDField(),
    **fields_of(TRIANGLE_TEST),
    by=s.UUIDField(),
    trials=an_object("Trial", id=s.UUIDField(), **fields_of(TRIAL), at=s.DateTimeField())(many=True),
    result=an_object(
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

_DAY_POINT = an_object(
    "RoastPoint",
    day=s.IntegerField(),
    date=s.DateField(),
    mean=s.FloatField(),
    low=s.FloatField(),
    high=s.FloatField(),
)
READINESS = an_object(
    "Readiness",
    lot=s.UUIDField(),
    verdict=s.ChoiceField(choices=["ready", "resting", "cannot_tell"]),
    reason=s.CharField(),
    level=s.FloatField(),
    roasted_on=s.DateField(allow_null=True),
    probability=s.FloatField(required=False, allow_null=True),
    expected=an_object(
        "ExpectedDay",
        date=s.DateField(allow_null=True),
        low=s.DateField(allow_null=True),
        high=s.DateField(allow_null=True),
        level=s.FloatField(),
    )(required=False),
    today=_DAY_POINT(required=False, allow_null=True),
    curve=_DAY_POINT(many=True, required=False),
    tastings=s.ListField(child=s.DictField(), required=False),
    liking=an_object(
        "LikingTrend",
        per_30_days=s.FloatField(),
        low=s.FloatField(),
        high=s.FloatField(),
        probability_rising=s.FloatField(),
    )(required=False, allow_null=True),
    next=s.CharField(required=False),
    left_out=s.ListField(child=s.DictField(), required=False),
)
ARRIVAL = an_object(
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
    descriptors=an_object(
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
