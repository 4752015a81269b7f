"""The team's shops."""

from __future__ import annotations

from django.db import transaction
from rest_framework import serializers as s
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.bodies import BodySerializer, StrictIdField, StrictNameField, body_of, validated_body
from api.http.conditional import conditional_response, id_from_path
from api.http.openapi import conditional_get, operation, paginated
from tastings.actions.shops import check_may_choose_pots, choose_usual_pot
from teams.actions.people import check_may_change_shops, create_shop, rename_shop
from teams.queries.people import shop_for, shops_of


class ShopSerializer(s.Serializer[object]):
    """One of a team's shops."""

    id = s.UUIDField()
    name = s.CharField()
    usual_pot = s.UUIDField(allow_null=True, help_text="the pot that its guides and cards are for")


class ShopNameSerializer(BodySerializer):
    """What a shop is called."""

    name = StrictNameField(max_length=120)


class ShopChangeSerializer(BodySerializer):
    """What may be changed of a shop."""

    name = StrictNameField(max_length=120, required=False)
    usual_pot = StrictIdField(required=False, allow_null=True, help_text="one of the team's pots; null for none")


class Shops(APIView):
    """The team's shops."""

    @conditional_get(paginated(ShopSerializer, "ShopPage"), operation_id="shop_list")
    def get(self, request: Request) -> Response:
        """List the shops by name."""
        shops = ShopSerializer(shops_of(member_of(request)), many=True)
        return conditional_response(request, {"results": shops.data, "next": None})

    @operation({201: ShopSerializer}, [403], request=ShopNameSerializer)
    def post(self, request: Request) -> Response:
        """Add a shop; owners only."""
        member = member_of(request)
        check_may_change_shops(member)
        data = validated_body(request, ShopNameSerializer)
        return Response(ShopSerializer(create_shop(member, **data)).data, status=201)


class ShopDetail(APIView):
    """One shop."""

    @conditional_get(ShopSerializer, [404], operation_id="shop_read")
    def get(self, request: Request, shop_id: str) -> Response:
        """Show a shop."""
        return conditional_response(request, ShopSerializer(shop_for(member_of(request), id_from_path(shop_id))).data)

    @operation({200: ShopSerializer}, [403, 404], request=ShopChangeSerializer)
    def patch(self, request: Request, shop_id: str) -> Response:
        """Rename a shop, which only owners may, or choose its usual pot, which owners and buyers may."""
        member, shop = member_of(request), id_from_path(shop_id)
        shop_for(member, shop)
        check_may_choose_pots(member)
        sent = body_of(request)
        if "name" in sent:
            check_may_change_shops(member)
        data = validated_body(request, ShopChangeSerializer)
        with transaction.atomic():
            if "usual_pot" in sent:
                choose_usual_pot(member, shop_id=shop, pot=data.get("usual_pot"))
            if "name" in data:
                rename_shop(member, shop_id=shop, name=data["name"])
        return Response(ShopSerializer(shop_for(member, shop)).data)
