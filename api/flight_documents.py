"""What the OpenAPI document says of blind flights."""

from rest_framework import serializers as s

from api.flights import AnswerOf, Decision, Flights, OneFlight, PouringPlanOf, Reveal
from api.http import openapi
from api.http.openapi import inline_object, operation, problem_responses, schema_fields
from tastings.schemas import CHOSEN, FLIGHT


def _counted(name: str, *of: str) -> s.Serializer[object]:
    ids = {one: s.UUIDField(allow_null=True) for one in of}
    return inline_object(name, **ids, planned=s.IntegerField(), tasted=s.IntegerField())(many=True)


_PLAN = inline_object(
    "ServingPlan",
    state=s.ChoiceField(choices=["making", "made", "failed"]),
    version=s.IntegerField(help_text="counts up with each new plan; printed on its sheets"),
    progress=s.FloatField(help_text="of the plan being made, 0 to 1"),
    failure=s.CharField(allow_null=True),
    quality=inline_object(
        "ServingPlanQuality",
        cups=s.IntegerField(),
        kept=s.IntegerField(help_text="tasted before this plan was made"),
        efficiency=s.FloatField(help_text="of comparing two lots, against the same cups in complete sittings"),
        bound=s.FloatField(help_text="the most that any plan of this size can reach"),
        connected=s.BooleanField(help_text="whether every lot can be compared with every other"),
        position_spread=s.IntegerField(help_text="0 or 1: every lot stands equally often at every place"),
        carry_over_spread=s.IntegerField(help_text="0 or 1: every lot follows every other equally often"),
    )(allow_null=True),
)
_CUP = inline_object(
    "FlightCup",
    id=s.UUIDField(help_text="goes into a session's `flight_cup`"),
    code=s.IntegerField(min_value=100, max_value=999),
    taster=s.UUIDField(),
    sitting=s.IntegerField(),
    position=s.IntegerField(help_text="in the sitting, 1 is the first"),
    tasted=s.BooleanField(),
    lot=s.UUIDField(allow_null=True, help_text="null before the reveal"),
)
_CHOSEN = inline_object("Chosen", **schema_fields(CHOSEN))
_FIELDS = schema_fields(FLIGHT)
NEW_FLIGHT = inline_object("NewFlight", id=s.UUIDField(help_text="made by the client; version 7 advised"), **_FIELDS)
FLIGHT_CHANGE = inline_object("FlightChange", **openapi.optional_schema_fields(FLIGHT))
FLIGHT_READ = inline_object(
    "Flight",
    id=s.UUIDField(),
    **schema_fields(FLIGHT),
    state=s.ChoiceField(choices=["set_up", "tasting", "revealed", "decided", "called_off"]),
    plan=_PLAN(),
    progress=inline_object(
        "FlightProgress",
        planned=s.IntegerField(),
        tasted=s.IntegerField(),
        shops=_counted("ShopProgress", "shop"),
        tasters=_counted("TasterProgress", "taster"),
    )(),
    cups=_CUP(many=True, help_text="the caller's own; everyone's after the reveal"),
    by=s.UUIDField(),
    created_at=s.DateTimeField(),
    revealed_at=s.DateTimeField(allow_null=True),
    revealed_by=s.UUIDField(allow_null=True),
    reveal_reason=s.CharField(allow_null=True, help_text="why it was revealed before every cup was tasted"),
    decision=inline_object(
        "FlightDecision",
        reason=s.CharField(),
        chosen=_CHOSEN(many=True),
        at=s.DateTimeField(),
        by=s.UUIDField(),
    )(allow_null=True),
)
POURING_PLAN = inline_object(
    "PouringPlan",
    flight=s.UUIDField(),
    version=s.IntegerField(),
    pours=inline_object(
        "Pour",
        taster=s.CharField(),
        sitting=s.IntegerField(),
        position=s.IntegerField(),
        code=s.IntegerField(),
        lot=s.UUIDField(),
        lot_name=s.CharField(),
        tasted=s.BooleanField(),
    )(many=True),
)


def _figure(name: str, help_text: str = "") -> s.Serializer[object]:
    fields = {part: s.FloatField() for part in ("mean", "low", "high")}
    return inline_object(name, **fields)(allow_null=True, help_text=help_text)


_Spread = inline_object("SpreadFigure", mean=s.FloatField(), low=s.FloatField(), high=s.FloatField())
_STANDING = inline_object(
    "Standing",
    lot=s.UUIDField(),
    cups=s.IntegerField(),
    mean=s.FloatField(help_text="adjusted for taster, position and the cup before"),
    low=s.FloatField(),
    high=s.FloatField(help_text="`low` to `high`: the central 80 %"),
    raw_mean=s.FloatField(allow_null=True),
    p_best=s.FloatField(),
    p_top_three=s.FloatField(),
)
_MEASURE = inline_object(
    "FlightMeasure",
    measure=s.ChoiceField(choices=["liking", "weighted"]),
    scale=s.FloatField(help_text="highest score"),
    sentence=s.CharField(),
    standings=_STANDING(many=True, help_text="the best first"),
    controls=_STANDING(many=True, help_text="the known reference, which cannot be chosen"),
    settled=s.BooleanField(),
    settled_at=s.FloatField(help_text="probability of being best from which on it is"),
    expected_loss=s.FloatField(allow_null=True, help_text="what choosing the leader now gives away, points"),
    next=inline_object(
        "FurtherCups",
        lots=s.ListField(child=s.UUIDField()),
        times=s.IntegerField(),
        tasters=s.ListField(child=s.UUIDField()),
        cups=s.IntegerField(),
        gain=s.FloatField(help_text="points that the lot chosen then is expected to be better"),
        p_right=s.FloatField(),
        gain_p_right=s.FloatField(),
    )(many=True, help_text="further sittings by what they would bring"),
    spreads=inline_object(
        "FlightSpreads",
        **{f"{name}_sd": _Spread(allow_null=True) for name in ("lots", "shift", "gain", "sitting", "taste", "noise")},
    )(allow_null=True),
    tasters=inline_object(
        "FlightTaster",
        taster=s.UUIDField(),
        cups=s.IntegerField(),
        shift=_figure("ShiftFigure", "points above the team"),
        gain=_figure("GainFigure", "share of a difference between lots that shows"),
        noise=_figure("NoiseFigure"),
        repeatability_sd=s.FloatField(allow_null=True),
    )(many=True),
    carry_over=_figure("CarryOver"),
    position=_figure("PositionEffect"),
    first_cup=_figure("FirstCup"),
    repeatability_sd=s.FloatField(allow_null=True, help_text="of hidden duplicates, points"),
    friedman=inline_object(
        "Friedman",
        name=s.CharField(),
        statistic=s.FloatField(),
        degrees_of_freedom=s.IntegerField(),
        p=s.FloatField(),
        tasters=s.IntegerField(),
        lots=s.IntegerField(),
    )(allow_null=True),
    kendall_w=s.FloatField(allow_null=True),
    rank_sums=s.DictField(child=s.FloatField(), allow_null=True),
    rank_sum_difference=s.FloatField(allow_null=True, help_text="by which two rank sums must differ, ISO 8587"),
    page=inline_object(
        "PageTest",
        statistic=s.FloatField(),
        p=s.FloatField(),
        tasters=s.IntegerField(),
        lots=s.IntegerField(),
    )(allow_null=True),
    least_significant_difference=s.FloatField(allow_null=True, help_text="points"),
    differ=s.ListField(child=s.ListField(child=s.UUIDField()), help_text="pairs told apart, the better first"),
    alpha=s.FloatField(),
    currency=s.CharField(allow_null=True),
    worth=inline_object(
        "Worth",
        lot=s.UUIDField(),
        price=s.FloatField(allow_null=True, help_text="per kg"),
        mean=s.FloatField(),
        on_frontier=s.BooleanField(allow_null=True, help_text="no other lot is as good and as cheap"),
        p_on_frontier=s.FloatField(allow_null=True),
        beaten_by=s.UUIDField(allow_null=True),
    )(many=True),
)
ANSWER = inline_object(
    "FlightAnswer",
    flight=s.UUIDField(),
    stale=s.BooleanField(help_text="true while a worker has not got to what is known by now"),
    answered_at=s.DateTimeField(allow_null=True),
    failure=s.CharField(allow_null=True),
    measures=_MEASURE(many=True),
    left_out=inline_object(
        "LeftOut",
        session=s.UUIDField(),
        reason=s.ChoiceField(choices=["private", "after_the_reveal", "no_liking", "factors_missing"]),
    )(many=True),
)
NEW_REVEAL = inline_object(
    "NewReveal", reason=s.CharField(required=False, allow_null=True, help_text="needed while cups are not tasted")
)
NEW_DECISION = inline_object(
    "NewDecision",
    reason=s.CharField(help_text="kept for next year"),
    chosen=_CHOSEN(many=True, help_text="at most 20; none is a decision, too"),
)
_BODY = problem_responses(400, 413, 415, 422)

DESCRIBED = {
    Flights: {
        "get": operation(
            operation_id="flight_list",
            parameters=[*openapi.PAGING, openapi.ETAG],
            responses={
                200: openapi.paginated(FLIGHT_READ, "FlightPage"),
                **openapi.NOT_MODIFIED,
                **problem_responses(422),
            },
        ),
        "post": operation(
            operation_id="flight_create",
            request=NEW_FLIGHT,
            responses={201: FLIGHT_READ, **_BODY, **problem_responses(403)},
        ),
    },
    OneFlight: {
        "get": operation(
            operation_id="flight_read",
            parameters=[openapi.ETAG],
            responses={200: FLIGHT_READ, **openapi.NOT_MODIFIED, **problem_responses(404)},
        ),
        "patch": operation(
            operation_id="flight_change",
            request=FLIGHT_CHANGE,
            responses={200: FLIGHT_READ, **_BODY, **problem_responses(403, 404, 409)},
        ),
        "delete": operation(operation_id="flight_call_off", responses={204: None, **problem_responses(403, 404, 409)}),
    },
    PouringPlanOf: {
        "get": operation(
            operation_id="flight_pouring",
            parameters=[openapi.ETAG],
            responses={200: POURING_PLAN, **openapi.NOT_MODIFIED, **problem_responses(403, 404, 409)},
        )
    },
    Reveal: {
        "post": operation(
            operation_id="flight_reveal",
            request=NEW_REVEAL,
            responses={200: FLIGHT_READ, **_BODY, **problem_responses(403, 404, 409)},
        )
    },
    AnswerOf: {
        "get": operation(
            operation_id="flight_answer",
            parameters=[openapi.ETAG],
            responses={200: ANSWER, **openapi.NOT_MODIFIED, **problem_responses(404, 409)},
        )
    },
    Decision: {
        "post": operation(
            operation_id="flight_decide",
            request=NEW_DECISION,
            responses={201: FLIGHT_READ, **_BODY, **problem_responses(403, 404, 409)},
        )
    },
}
