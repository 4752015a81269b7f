"""What a field of an answer means, for the OpenAPI document."""


def help_text(text: str, **options: object) -> dict[str, dict[str, object]]:
    """Return the metadata of a dataclass field that carries its meaning; options are of its serializer field.

    >>> help_text("points, 0 to 10")
    {'serializer_kwargs': {'help_text': 'points, 0 to 10'}}
    """
    return {"serializer_kwargs": {"help_text": text, **options}}
