"""Merging two descriptors of a team that mean one thing."""

from dataclasses import replace

from django.utils import timezone
from django.utils.translation import gettext_lazy
from drf_spectacular.utils import extend_schema_serializer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import device_id, member_of
from api.http.bodies import BodySerializer, Key, validated_body
from api.http.conditional import id_from_path
from api.http.openapi import operation
from api.records.records import serialize_record
from api.records.serializers import record_serializer
from tastings.actions.merging import check_may_merge, merge_descriptor
from tastings.queries.records import record_for
from tastings.schemas import DESCRIPTOR, NOTE


@extend_schema_serializer(component_name="MergeWord")
class MergeDescriptorSerializer(BodySerializer):
    """Into which descriptor another is merged."""

    unknown = gettext_lazy("into alone")
    into = Key(replace(NOTE.by_name()["descriptor"], required=True), help_text="the key of the word that stays")


class MergeDescriptor(APIView):
    """A descriptor of the team that means what another means."""

    @operation(
        {200: record_serializer(DESCRIPTOR)},
        [403, 404],
        operation_id="descriptor_merge",
        request=MergeDescriptorSerializer,
    )
    def post(self, request: Request, record_id: str) -> Response:
        """Merge a descriptor into another, whose key is ``into``; return that one."""
        member, descriptor = member_of(request), id_from_path(record_id)
        check_may_merge(member, descriptor)
        into = validated_body(request, MergeDescriptorSerializer)["into"]
        target = merge_descriptor(
            member, descriptor=descriptor, into=into, device=device_id(request), now=timezone.now()
        )
        merged = record_for(member, "descriptor", target)
        return Response(serialize_record(merged), headers={"ETag": f'"{merged.revision}"'})
