"""What a field of an answer means, for the OpenAPI document."""

from typing import Any


def help_text(text: str, **options: Any) -> dict[str, Any]:  # noqa: ANN401 - arguments of a serializer field
    """Return the metadata of a dataclass field that carries its meaning.

    >>> help_text("points, 0 to 10")
    {'serializer_kwargs': {'help_text': 'points, 0 to 10'}}
    """
    return {"serializer_kwargs": {"help_text": text, **options}}
