"""Makers of brews for the tests: an even brew by default."""

from dataclasses import replace

from tastings.maths.brewing.brews import Pour
from tastings.maths.brewing.even_brew import even_brew
from tastings.maths.curve.estimate import estimate_development

RINSE = even_brew().pours[0]


def pour_of(
    number, *, steep_s=17.5, pour_s=5.0, kettle_c=100.0, water_ml=None, rest_s=None, noted=(), tasted=True, **ratings
):
    return Pour(
        number=number,
        steep_s=steep_s,
        pour_s=pour_s,
        kettle_c=kettle_c,
        water_ml=water_ml,
        rest_s=rest_s,
        ratings={key: float(value) for key, value in ratings.items()},
        noted=frozenset(noted),
        tasted=tasted,
    )


def brew_of(session, *, taster="t", shop="shop", pours=None, rinse=True, strength=(), **changed):
    """Return a session; ``strength`` rates infusions 1, 2, ... unless ``pours`` are given."""
    if pours is None:
        pours = tuple(pour_of(number, strength=rating) for number, rating in enumerate(strength, start=1))
    pours = ((RINSE,) if rinse else ()) + tuple(pours)
    return replace(even_brew(), session=session, taster=taster, shop=shop, pours=pours, **changed)


def developed(brews, *, rated=("strength",), **known):
    return estimate_development(brews, rated=rated, **known)
