"""Addresses of lots, sessions, infusions, notes and descriptors."""

from api.records.records import record_routes
from tastings.schemas import RECORD_SCHEMAS

urlpatterns = [route for schema in RECORD_SCHEMAS.values() for route in record_routes(schema)]
